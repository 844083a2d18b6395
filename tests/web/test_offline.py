"""A day at a spot without signal: the page opens, nothing is lost, nothing is doubled."""

from __future__ import annotations

import json
import random
import shutil
import struct
import subprocess
import sys
import threading
import time
import zlib
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import pytest

from crashworthy.web.pages.offline import SHELL
from crashworthy.web.serve import bind
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page, Playwright, Route

pytestmark = pytest.mark.browser

ENTRIES = 40


class Server:
    """The program itself in a process of its own, on one port, over one data folder."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder, self.port = folder, port
        self.process: subprocess.Popen[str] | None = None

    @property
    def site(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [sys.executable, "-m", "crashworthy", "serve", "--no-browser", "--json"]
        command += ["--data", str(self.folder), "--port", str(self.port)]
        with (self.folder / "server.log").open("a") as told:
            self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=told, text=True)
        assert self.process.stdout is not None
        first = []
        reader = threading.Thread(target=lambda: first.append(self.process.stdout.readline()), daemon=True)
        reader.start()
        reader.join(timeout=40)
        assert first, "the server did not answer within 40 s"
        assert first[0].strip(), (self.folder / "server.log").read_text()

    def kill(self) -> None:
        """End it as a flat battery would: SIGKILL, no goodbye."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(timeout=10)
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None


@pytest.fixture
def server(demo_folder: Path, tmp_path: Path) -> Iterator[Server]:
    """A server over a copy of the demo fleet, started."""
    folder = tmp_path / "data"
    shutil.copytree(demo_folder, folder)
    listener = bind("127.0.0.1", 0)
    port = listener.getsockname()[1]
    listener.close()
    made = Server(folder, port)
    made.start()
    yield made
    made.kill()


class Phone:
    """A phone's browser with a profile that stays on the disk while the app is closed and opened again."""

    def __init__(self, play: Playwright, options: dict[str, Any], profile: Path) -> None:
        self.play, self.options, self.profile = play, options, profile

    def open(self) -> tuple[BrowserContext, Page]:
        """Open the app."""
        context = self.play.chromium.launch_persistent_context(
            str(self.profile), viewport={"width": 360, "height": 740}, **self.options
        )
        page = context.pages[0] if context.pages else context.new_page()
        page.set_default_timeout(15_000)
        page.set_default_navigation_timeout(30_000)
        return context, page


@pytest.fixture
def phone(play: Playwright, chromium_options: dict[str, Any], tmp_path: Path) -> Phone:
    """A phone."""
    return Phone(play, chromium_options, tmp_path / "profile")


def enter(page: Page, number: int) -> None:
    """One entry by two taps, a different one each time."""
    if number % 3:
        page.get_by_role("button", name="Pack", exact=True).click()
        page.locator("#pad-pack button").first.click()
    else:
        page.get_by_role("button", name="Crash", exact=True).click()
        page.locator("#pad-crash button").nth(number // 3 % 3).click()
    page.locator("#said", has_text="kept on this device").wait_for()
    page.locator("#outbox", has_text=f"{number + 1} entr").wait_for()


def kept(page: Page) -> list[dict[str, str]]:
    """What the phone holds."""
    found: list[dict[str, str]] = page.evaluate(
        """async () => {
            const { openDB } = await import('/static/vendor/idb.js');
            const db = await openDB('crashworthy', 1);
            const rows = await db.getAll('entries');
            db.close();
            return rows;
        }"""
    )
    return found


def test_forty_entries_survive_everything_exactly_once(server: Server, phone: Phone) -> None:
    """Offline for 40 entries, app closed, server killed in uploads, answers lost: each arrives once."""
    field = f"{server.site}/quads/dunlin/field"
    context, page = phone.open()
    page.goto(field)
    page.locator("#reach", has_text="opens without a network").wait_for()
    server.kill()
    for number in range(ENTRIES):
        enter(page, number)
    ids = {e["id"] for e in kept(page)}
    assert len(ids) == ENTRIES
    context.close()

    context, page = phone.open()
    page.goto(field)  # nobody serves it: it comes from the phone
    page.locator("#outbox", has_text=f"{ENTRIES} entries wait").wait_for()
    assert "not sent yet" in page.locator("#recent").inner_text()
    assert {e["id"] for e in kept(page)} == ids

    chance = random.Random(20261125)  # noqa: S311 - when to pull the plug, no secret
    asked = []

    def plug_pulled(route: Route) -> None:
        asked.append(route.request.url)
        pause = chance.uniform(0.0, 0.08)
        threading.Timer(pause, server.kill).start()
        route.continue_()

    page.route("**/api/events", plug_pulled)
    for turn in range(3):
        server.start()
        page.evaluate("dispatchEvent(new Event('online'))")
        deadline = time.monotonic() + 20
        while len(asked) <= turn and time.monotonic() < deadline:
            page.wait_for_timeout(50)
        assert len(asked) > turn
        while server.process is not None and time.monotonic() < deadline:
            page.wait_for_timeout(50)
    page.unroute("**/api/events")

    lost = []

    def answer_lost(route: Route) -> None:
        with suppress(Exception):  # the server may be away just now
            lost.append(route.fetch().status)
        route.abort()

    page.route("**/api/events", answer_lost)
    server.start()
    deadline = time.monotonic() + 30
    while not lost and time.monotonic() < deadline:
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_timeout(200)
    page.unroute("**/api/events")
    for _ in range(6):  # the network comes and goes
        context.set_offline(True)
        page.wait_for_timeout(chance.uniform(10, 60))
        context.set_offline(False)
        page.wait_for_timeout(chance.uniform(10, 60))
    page.evaluate("dispatchEvent(new Event('online'))")
    page.locator("#outbox").wait_for(state="hidden")
    assert kept(page) == []
    context.close()
    server.kill()
    with Workshop(server.folder) as workshop:
        arrived = [str(e.id) for e in workshop.events("dunlin", limit=2000) if str(e.id) in ids]
        assert sorted(arrived) == sorted(ids)
        assert workshop.verify().ok


def chunk(name: bytes, body: bytes) -> bytes:
    """One piece of a PNG."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def shot(grey: int, place: bytes = b"51.4778 N") -> bytes:
    """A picture of 40 x 30 pixels that says where it was taken."""
    rows = b"".join(b"\0" + bytes([grey] * 40) for _ in range(30))
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", 40, 30, 8, 0, 0, 0, 0))
        + chunk(b"tEXt", b"Place\0" + place)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def photograph(page: Page, pad: str, data: bytes, kind: str = "image/png") -> None:
    """An entry by two taps, and a picture of it."""
    page.get_by_role("button", name=pad, exact=True).click()
    page.locator(f"#pad-{pad.lower()} button").first.click()
    page.locator("#said", has_text="will be sent").wait_for()
    page.locator("#shoot input").set_input_files({"name": "shot", "mimeType": kind, "buffer": data})
    page.locator("#said", has_text="Picture of").wait_for()
    page.locator("#said", has_text="kept on this device").wait_for()


def test_pictures_taken_without_a_network_arrive_once_after_their_entries(
    server: Server, phone: Phone
) -> None:
    """Offline, app closed, an answer lost, server killed, one that is no picture: each arrives once."""
    field = f"{server.site}/quads/dunlin/field"
    context, page = phone.open()
    page.goto(field)
    page.locator("#reach", has_text="opens without a network").wait_for()
    server.kill()
    photograph(
        page, "Crash", b"\xff\xd8\xff no picture at all", "image/jpeg"
    )  # first, so that it could block
    photograph(page, "Crash", shot(10))
    photograph(page, "Found", shot(20))
    assert "Picture: Crash, scuff" in page.locator("#recent").inner_text()
    page.locator("#shoot input").set_input_files(
        {"name": "a.gif", "mimeType": "image/gif", "buffer": b"GIF89a"}
    )
    page.locator("#said", has_text="Not kept").wait_for()
    context.close()

    context, page = phone.open()
    page.goto(field)  # nobody serves it: it comes from the phone
    page.locator("#outbox", has_text="3 pictures wait").wait_for()
    asked: list[str] = []

    def trouble(route: Route) -> None:
        asked.append(route.request.url)
        if len(asked) == 2:  # the server has it, and the phone never hears of it
            with suppress(Exception):
                route.fetch()
            route.abort()
        elif len(asked) == 3:  # the plug is pulled in the middle of an upload
            server.kill()
            route.abort()
        else:
            route.continue_()

    page.route("**/api/photos", trouble)
    server.start()
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and len(asked) < 6:
        if server.process is None:
            server.start()
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_timeout(200)
        if len(asked) > 3 and "wait" not in page.locator("#outbox").inner_text():
            break
    page.locator("#outbox", has_text="breaks off before its end").wait_for()
    assert "wait" not in page.locator("#outbox").inner_text()
    page.get_by_role("button", name="Discard it").click()
    page.locator("#outbox").wait_for(state="hidden")
    page.locator("#recent li:not(.waits)", has_text="Picture: ").nth(1).wait_for(state="attached")
    context.close()
    server.kill()
    assert len(asked) >= 4
    with Workshop(server.folder) as workshop:
        events = workshop.store.events("dunlin")
        mine = [e for e in events if e.device.startswith("web-")]
        assert sorted(e.kind for e in mine) == ["check", "crash", "crash", "photo", "photo"]
        numbers = {e.id: n for n, e in enumerate(mine)}
        for picture in (e for e in mine if e.kind == "photo"):
            assert any(numbers[e.id] < numbers[picture.id] for e in mine if e.kind != "photo")
            kept = workshop.photo(picture.payload.file)
            assert kept is not None
            assert b"51.4778" not in kept.read_bytes()
        assert workshop.photo_state().ok
        assert workshop.photo_state().stray == ()
        assert workshop.verify().ok


def test_the_page_of_another_quad_and_an_unknown_page_open_without_a_network(
    server: Server, phone: Phone
) -> None:
    """Every quad's field page is kept though only one was opened; other pages say what was kept."""
    context, page = phone.open()
    page.goto(f"{server.site}/quads/dunlin/field")
    page.locator("#reach", has_text="opens without a network").wait_for()
    server.kill()
    page.get_by_role("navigation", name="Quads").get_by_role("link", name="Gannet").click()
    page.locator("h1", has_text="Gannet").wait_for()
    page.get_by_role("button", name="Pack", exact=True).click()
    page.locator("#pad-pack button").first.click()
    page.locator("#said", has_text="kept on this device").wait_for()
    page.goto(f"{server.site}/evidence")
    page.locator(".answer", has_text="was not kept").wait_for()
    page.get_by_role("link", name="Field, gannet").click()
    page.locator("#outbox", has_text="1 entry waits").wait_for()
    context.close()


def test_the_shelf_holds_all_that_the_field_page_loads(server: Server, phone: Phone) -> None:
    """No file that the field page asks for is missing from the list of what is kept."""
    context, page = phone.open()
    page.goto(f"{server.site}/quads/dunlin/field")
    page.locator("#reach", has_text="opens without a network").wait_for()
    loaded = page.evaluate("performance.getEntriesByType('resource').map(e => new URL(e.name).pathname)")
    context.close()
    missing = {p for p in loaded if p.startswith("/static/")} - {f"/static/{name}" for name in SHELL}
    assert missing == set()


def test_on_plain_http_under_a_network_name_the_page_says_its_limits(server: Server, phone: Phone) -> None:
    """Where the browser keeps no page, the field page says so; entries made while it is open still wait."""
    context, page = phone.open()
    server.kill()
    command = [sys.executable, "-c", PLAIN, str(server.folder), str(server.port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert json.loads(process.stdout.readline())["ready"]
    try:
        page.goto(f"http://field.test:{server.port}/quads/dunlin/field")
        page.locator("#reach", has_text="only while it stays open").wait_for()
        process.kill()
        process.wait(timeout=10)
        enter(page, 0)
        assert len(kept(page)) == 1
    finally:
        process.kill()
        process.stdout.close()
    context.close()


PLAIN = """
import json, sys
from pathlib import Path
from crashworthy.web.serve import serve
from crashworthy.workshop import Workshop
with Workshop(Path(sys.argv[1])) as workshop:
    told = lambda address: print(json.dumps({"ready": address}), flush=True)
    serve(workshop, port=int(sys.argv[2]), open_browser=False, allowed_hosts=("field.test",), ready=told)
"""
