"""No barrier off the beaten path either: faults, strangers, nothing there yet, what is handed on."""

from __future__ import annotations

import contextlib
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from crashworthy.build.questions import all_checked
from crashworthy.web.app import create_app
from crashworthy.web.lan import trust_app
from crashworthy.web.serve import bind
from crashworthy.web.views import SHEETS
from crashworthy.workshop import Workshop
from crashworthy.workshop.hall import Hall

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow]

AXE = (Path(__file__).parent / "vendor/axe.min.js").read_text(encoding="utf-8")
LOOK = """() => axe.run(document, { resultTypes: ["violations"] })
  .then(r => r.violations.filter(v => ['serious', 'critical'].includes(v.impact))
   .map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' ; ')))"""
SMALL = """[...document.querySelectorAll('button, select, .button, summary, nav a, textarea, input')]
  .filter(e => !['checkbox', 'radio', 'range', 'hidden', 'file'].includes(e.type))
  .filter(e => { const b = e.getBoundingClientRect(); return b.width && b.height && b.height < 43.5; })
  .map(e => 'small: ' + e.outerHTML.slice(0, 100))"""
NAMELESS = """[...document.querySelectorAll('button, a[href], select, textarea, input, summary')]
  .filter(e => e.type !== 'hidden' && e.checkVisibility())
  .filter(e => !(e.innerText?.trim() || e.ariaLabel || e.title || e.labels?.length ||
                 e.getAttribute('aria-labelledby') || e.querySelector('img[alt], title')))
  .map(e => 'nameless: ' + e.outerHTML.slice(0, 100))"""
SECRET = "robin at the quarry"  # noqa: S105 - of a person who does not exist
PILOT = "a quarry at noon"


@contextlib.contextmanager
def served(app: Any) -> Iterator[str]:
    """An app on a port of its own; gives its address without a slash at its end."""
    import uvicorn

    listener = bind("127.0.0.1", 0)
    server = uvicorn.Server(uvicorn.Config(app, log_level="critical", lifespan="off", ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < deadline, "the server did not start within 20 s"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=10)
    listener.close()


def barriers(page: Page) -> list[str]:
    """What is wrong with the page that is shown: by the checker, too small, without a name, too wide."""
    page.wait_for_load_state()
    page.evaluate(AXE)
    found: list[str] = page.evaluate(LOOK) + page.evaluate(SMALL) + page.evaluate(NAMELESS)
    if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        found.append("too wide")
    if not page.title():
        found.append("no title")
    return found


def looked_at(browser: Browser, addresses: dict[str, int], cookies: list[Any] = []) -> dict[str, list[str]]:  # noqa: B006 - never changed
    """Barriers of pages by address with status, at phone and desk size, in light and dark."""
    found: dict[str, list[str]] = {}
    for width, height in ((360, 780), (1280, 900)):
        context = browser.new_context(viewport={"width": width, "height": height}, service_workers="block")
        context.add_cookies(cookies)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.set_default_navigation_timeout(120_000)  # a report is worked out while it is waited for
        for address, status in addresses.items():
            answer = page.goto(address)
            assert answer is None or answer.status in (0, status), (address, answer and answer.status)
            deadline = time.monotonic() + 60
            while not (title := page.title()) or title.startswith("Being worked out"):
                assert time.monotonic() < deadline, f"{address} never came"
                page.wait_for_timeout(100)
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                if wrong := barriers(page):
                    found[f"{address} {width} {scheme}"] = wrong
        context.close()
    return found


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A fresh, empty folder, with one address that fails."""
    with Workshop(tmp_path_factory.mktemp("bare") / "data") as workshop:
        app = create_app(workshop)

        @app.get("/fault", include_in_schema=False)
        def fault() -> None:
            raise RuntimeError("on purpose")

        with served(app) as site:
            yield site


@pytest.fixture(scope="module")
def single(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """One described quad: no pack, no crash, no campaign, no flight."""
    with Workshop(tmp_path_factory.mktemp("single") / "data") as workshop:
        workshop.add_described(all_checked({"name": "Wren"}))
        with served(create_app(workshop)) as site:
            yield site


def test_an_empty_folder_and_faults_have_no_barrier(browser: Browser, bare: str) -> None:
    """What nobody has seen yet, and what went wrong: nothing there, no such page, no such quad, a fault."""
    pages = {f"{bare}{p}": 200 for p in ("/", "/new", "/crew", "/evidence", "/tour", "/static/offline.html")}
    pages |= {f"{bare}/nowhere": 404, f"{bare}/quads/nobody/field": 404, f"{bare}/fault": 500}
    assert looked_at(browser, pages) == {}


def test_a_quad_that_has_seen_nothing_has_no_barrier_and_leads_on(browser: Browser, single: str) -> None:
    """Every sheet of a fresh quad, and each says where to begin."""
    sheets = [s.key for s in SHEETS if s.per_quad] + ["bench/sheet", "build/calibrate", "flights/tap"]
    pages = {f"{single}/quads/wren/{s}": 200 for s in sheets}
    assert looked_at(browser, pages) == {}


def test_a_bad_file_is_refused_without_a_barrier(browser: Browser, bare: str, tmp_path: Path) -> None:
    """The page that refuses a drawing says what is wrong and keeps the form."""
    wrong = tmp_path / "plate.dxf"
    wrong.write_text("no drawing at all")
    context = browser.new_context(viewport={"width": 360, "height": 780}, service_workers="block")
    page = context.new_page()
    page.goto(f"{bare}/new")
    page.locator("input[type=file]").set_input_files(wrong)
    page.get_by_role("button", name="Take this file").click()
    page.get_by_role("alert").wait_for()
    assert "plate.dxf" in page.inner_text("main")
    assert barriers(page) == []
    context.close()


def test_strangers_and_crews_meet_no_barrier(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Sign in, a link that opens nothing, an invitation, the crew with an open invitation."""
    with Hall(tmp_path_factory.mktemp("hall") / "data") as hall:
        crew = hall.accounts.add_crew("Millrace")
        hall.accounts.add_person("robin", SECRET, crew, "lead")
        hall.accounts.add_person("wren", PILOT, crew)
        token = hall.accounts.sign_in("robin", SECRET, "127.0.0.1", "Laptop at home")
        with served(create_app(None, hall=hall)) as site:
            context = browser.new_context(viewport={"width": 360, "height": 780}, service_workers="block")
            context.add_cookies([{"name": "session", "value": token, "url": site}])
            page = context.new_page()
            page.goto(f"{site}/people")
            page.get_by_role("button", name="Make a link").click()
            link = page.locator("input.secret").input_value()
            assert barriers(page) == []
            context.close()
            invitation = f"{site}/join/{link.rpartition('/')[2]}"
            strangers = {f"{site}/sign-in": 200, f"{site}/join/nothing": 404, invitation: 200}
            assert looked_at(browser, strangers) == {}
            inside = {f"{site}/people": 200, f"{site}/": 200}
            assert looked_at(browser, inside, [{"name": "session", "value": token, "url": site}]) == {}


def test_what_is_handed_on_has_no_barrier(
    browser: Browser, shop: Workshop, site: str, tmp_path: Path
) -> None:
    """The shared page as a file, the sheets for paper, and the page that tells phones whom to trust."""
    from crashworthy.web.authority import Authority
    from crashworthy.web.viewer import viewer

    shared = tmp_path / "gannet.html"
    shared.write_text(shop.share("gannet", viewer=viewer()), encoding="utf-8")
    papers = ("bench/torque.html", "bench/inspection.html", "crash/report.html")
    pages = {shared.as_uri(): 200} | {f"{site}/quads/gannet/{p}": 200 for p in papers}
    assert looked_at(browser, pages) == {}
    with served(trust_app(Authority(tmp_path / "authority"), "https://192.0.2.5:8765/")) as trust:
        assert looked_at(browser, {f"{trust}/": 200}) == {}


def test_a_phone_shows_no_rows_of_dashes(browser: Browser, single: str) -> None:
    """What is not known of a part takes no line on the phone; on the desk its column has a dash."""
    seen = {}
    for width in (360, 1280):
        context = browser.new_context(viewport={"width": width, "height": 780}, service_workers="block")
        page = context.new_page()
        page.goto(f"{single}/quads/wren/lives")
        page.locator("#v-parts").wait_for(timeout=60_000)
        cells = page.locator("td.none")
        assert cells.count() > 8
        seen[width] = sum(cells.nth(i).is_visible() for i in range(8))
        context.close()
    assert seen == {360: 0, 1280: 8}
