"""Whatever is entered can be taken back, by web and by command, and then counts as never made."""

from __future__ import annotations

import itertools
import re
import shutil
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid4

import pytest
from typer.testing import CliRunner

from crashworthy.upkeep.payloads import KINDS
from crashworthy.web.app import create_app
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ENTRIES: dict[str, dict[str, Any]] = {
    "pack": {"minutes": 3.5, "crashes": 0},
    "crash": {"severity": "slam", "obstacle": "concrete", "broke": ["arm_fl"]},
    "check": {"group": "arm", "looked": 8, "loose": 1, "reason": "scheduled"},
    "tighten": {"group": "motor"},
    "swap": {"part": "arm_fl", "why": "broke"},
    "repair": {"part": "arm_fr", "why": "broke", "text": "glued"},
    "tap": {"part": "arm_fl", "hz": [182.0, 181.0, 183.0]},
    "finding": {"part": "prop_fl", "state": "worn"},
    "photo": {"file": "0123456789abcdef.png", "sha256": "0123456789abcdef" * 4, "part": "arm_fl"},
    "note": {"text": "new motor screws"},
}
QUAD = "gannet"
NUMBER = itertools.count(1)
"""Each entry of the device has a number of its own."""


@pytest.fixture(scope="module")
def folder(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo fleet's data folder; each test leaves the quad as it found it."""
    made = tmp_path_factory.mktemp("undo") / "data"
    shutil.copytree(demo_folder, made)
    return made


@pytest.fixture(scope="module")
def shop(folder: Path) -> Iterator[Workshop]:
    """A workshop on that copy."""
    with Workshop(folder) as workshop:
        yield workshop


def state(shop: Workshop) -> tuple[Any, ...]:
    """All that the journal says about the quad, and what follows from it."""
    said = shop.history(QUAD)
    due = [(d.group, d.state, round(d.age, 9), d.checks, d.forced) for d in shop.due(QUAD)]
    return (said.packs, len(said.crashes), dict(said.swaps), dict(said.breaks), len(said.findings),
            len(said.photos), len(said.taps), len(said.notes), len(said.builds), due)  # fmt: skip


def enter(ask: Any, kind: str) -> UUID:
    """Enter one as a browser does."""
    event = uuid4()
    body = {
        "id": str(event),
        "device": "web-test",
        "device_seq": next(NUMBER),
        "kind": kind,
        "occurred": datetime.now(UTC).isoformat(),
        "payload": ENTRIES[kind],
    }
    answer = ask("POST", f"/api/quads/{QUAD}/events", json=body)
    assert answer.status_code == 201, answer.text
    return event


def test_every_kind_is_tried() -> None:
    """A new kind of entry must say here how it is taken back."""
    assert set(ENTRIES) | {"build", "retraction"} == set(KINDS)


@pytest.mark.parametrize("kind", ENTRIES)
def test_an_entry_of_each_kind_is_taken_back_from_the_web(shop: Workshop, ask: Any, kind: str) -> None:
    """The journal offers it on the entry; after that the quad's state is the one before."""
    asked = ask(create_app(shop, ("testserver",)))
    before = state(shop)
    event = enter(asked, kind)
    assert state(shop) != before
    page = asked("GET", f"/quads/{QUAD}/journal").text
    entry = page.partition(f'id="e-{event}"')[2].partition("</li>")[0]
    assert re.search(r'data-kind="retraction".*Take back', entry, re.S), entry
    target = re.search(r'name="target" value="([^"]+)"', entry)
    assert target is not None
    body = {
        "id": str(uuid4()),
        "device": "web-test",
        "device_seq": next(NUMBER),
        "kind": "retraction",
        "occurred": datetime.now(UTC).isoformat(),
        "payload": {"target": target[1]},
    }
    assert asked("POST", f"/api/quads/{QUAD}/events", json=body).status_code == 201
    assert state(shop) == before
    entry = asked("GET", f"/quads/{QUAD}/journal").text.partition(f'id="e-{event}"')[2].partition("</li>")[0]
    assert "taken back" in entry
    assert "data-kind" not in entry


@pytest.mark.parametrize("kind", ENTRIES)
def test_an_entry_of_each_kind_is_taken_back_from_the_command_line(
    shop: Workshop, ask: Any, kind: str, folder: Path
) -> None:
    """`journal undo` with the end of its id does the same."""
    from crashworthy.cli.app import app

    before = state(shop)
    event = enter(ask(create_app(shop, ("testserver",))), kind)
    told = CliRunner().invoke(app, ["journal", "undo", event.hex[-10:], "--data", str(folder)])
    assert told.exit_code == 0, told.output
    assert told.output.startswith(f"Taken back: {kind}")
    assert state(shop) == before


def changed(shop: Workshop, thickness: str) -> str:
    """The sheet with arms of that thickness, saved; gives the text from before."""
    text = shop.folder.sheet(QUAD).read_text(encoding="utf-8")
    shop.save_sheet(QUAD, re.sub(r"\bt = [\d.]+", f"t = {thickness}", text, count=1))
    return text


def test_the_last_change_of_a_build_is_taken_back_with_its_sheet(shop: Workshop, ask: Any) -> None:
    """From the web: the sheet from before returns, byte for byte, and the build counts as never changed."""
    asked = ask(create_app(shop, ("testserver",)))
    before, digest = state(shop), shop.quad(QUAD).digest
    text = changed(shop, "6")
    assert shop.quad(QUAD).digest != digest
    page = asked("GET", f"/quads/{QUAD}/journal").text
    action = re.search(r'action="(/quads/gannet/journal/[^"]+/back)"', page)
    assert action is not None
    assert asked("POST", action[1]).status_code == 303
    assert shop.folder.sheet(QUAD).read_text(encoding="utf-8") == text
    assert shop.quad(QUAD).digest == digest
    assert state(shop) == before
    assert "/back" not in asked("GET", f"/quads/{QUAD}/journal").text


def test_an_older_change_of_a_build_is_refused_with_the_way_out(shop: Workshop, ask: Any) -> None:
    """Only the last change has its sheet from before; another is refused in words and nothing changes."""
    changed(shop, "6")
    older = next(e for e in shop.events(QUAD) if e.kind == "build")
    changed(shop, "7")
    digest = shop.quad(QUAD).digest
    answer = ask(create_app(shop, ("testserver",)))("POST", f"/quads/{QUAD}/journal/{older.id}/back")
    assert answer.status_code == 400
    assert "only the last change of a build" in answer.text.lower()
    assert shop.quad(QUAD).digest == digest
    taken = {e.payload.target for e in shop.events(QUAD) if e.kind == "retraction"}  # type: ignore[attr-defined] # by its kind
    assert older.id not in taken


def test_a_sheet_edited_by_hand_since_is_not_overwritten(shop: Workshop, ask: Any) -> None:
    """What was typed into the file after the last change is worth more than taking the change back."""
    changed(shop, "6")
    last = next(e for e in shop.events(QUAD) if e.kind == "build")
    sheet = shop.folder.sheet(QUAD)
    for typed in ("t = 8", "t = "):
        by_hand = re.sub(r"\bt = [\d.]+", typed, sheet.read_text(encoding="utf-8"), count=1)
        sheet.write_text(by_hand, encoding="utf-8")
        answer = ask(create_app(shop, ("testserver",)))("POST", f"/quads/{QUAD}/journal/{last.id}/back")
        assert answer.status_code == 400
        assert sheet.read_text(encoding="utf-8") == by_hand


@pytest.fixture
def ask() -> Any:
    """Ask an app without a socket, in a thread of its own."""
    import asyncio
    from concurrent.futures import ThreadPoolExecutor

    import httpx

    def over(app: Any) -> Any:
        async def once(method: str, path: str, **more: Any) -> httpx.Response:
            transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://testserver") as client:
                return await client.request(method, path, headers={"sec-fetch-site": "same-origin"}, **more)

        def asked(method: str, path: str, **more: Any) -> httpx.Response:
            with ThreadPoolExecutor(1) as own:
                return own.submit(lambda: asyncio.run(once(method, path, **more))).result()

        return asked

    return over
