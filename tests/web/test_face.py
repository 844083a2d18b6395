"""The quality of every page: weight, steadiness, barriers, targets, and the whole way by keyboard."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import pytest

from crashworthy.web.app import create_app

if TYPE_CHECKING:
    import httpx
    from playwright.sync_api import Page

    from conftest import Watched
    from crashworthy.workshop import Workshop

pytestmark = pytest.mark.browser

HERE = Path(__file__).parent
AXE = (HERE / "vendor/axe.min.js").read_text(encoding="utf-8")
LOOK = """rules => axe.run(document, { resultTypes: ["violations"], ...(rules && { runOnly: rules }) })
  .then(r => r.violations.filter(v => ['serious', 'critical'].includes(v.impact))
   .map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' ; ')))"""
SMALL = """[...document.querySelectorAll('button, select, .button, summary, nav a, textarea, input')]
  .filter(e => !['checkbox', 'radio', 'range', 'hidden', 'file'].includes(e.type))
  .filter(e => { const b = e.getBoundingClientRect(); return b.width && b.height && b.height < 43.5; })
  .map(e => e.outerHTML.slice(0, 100))"""
HEAVIEST = 100_000
STEADY = 0.05


@pytest.fixture(scope="module")
def bench(root: Path) -> ModuleType:
    """The script that measures pages: it knows them all."""
    spec = importlib.util.spec_from_file_location("bench_pages", root / "bench/pages.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def pages(bench: ModuleType, shop: Workshop, client: httpx.Client) -> list[str]:
    """Every page that is one, worked out once so that none is still on its way."""
    asked = {p: client.get(p, timeout=240) for p in bench.addresses(create_app(shop), shop)}
    found = [p for p, a in asked.items() if a.status_code == 200 and "<html" in a.text]  # not the pieces
    assert len(found) >= 20
    return found


def test_no_page_is_heavy(pages: list[str], bench: ModuleType, client: httpx.Client) -> None:
    """HTML, styles, scripts and pictures of each page are under 100 kB on the wire before the 3D view."""
    heavy = {p: w for p in pages if (w := bench.weight(client, client.get(p, timeout=240))) > HEAVIEST}
    assert heavy == {}


@pytest.mark.parametrize("watched", [(360, 740, "light"), (1280, 900, "light")], indirect=True, ids=str)
def test_every_page_stands_still_and_has_no_barrier(
    watched: Watched, bench: ModuleType, pages: list[str]
) -> None:
    """No layout shift, no serious fault in light or dark, no small target, nothing wider than the screen."""
    watched.page.add_init_script(bench.SHIFTS)
    found: dict[str, object] = {}
    for path in pages:
        page = watched.go(path)
        page.wait_for_timeout(250)  # what comes late would move things
        shift, wide = page.evaluate("[window.shift, document.documentElement.scrollWidth > innerWidth]")
        page.evaluate(AXE)
        faults = page.evaluate(LOOK, None)
        page.emulate_media(color_scheme="dark")
        faults += [f"dark {f}" for f in page.evaluate(LOOK, ["color-contrast"])]
        page.emulate_media(color_scheme="light")
        faults += [f"small: {e}" for e in page.evaluate(SMALL)]
        if faults or wide or shift > STEADY:
            found[path] = (f"shift {shift:.3f}", "too wide" * wide, *faults)
    assert found == {}


def tab_to(page: Page, name: str, most: int = 80, key: str = "Tab") -> None:
    """Press Tab (or back) until what is named has the focus, and see that the focus shows."""
    for _ in range(most):
        page.keyboard.press(key)
        words, outline = page.evaluate(
            "(e => [(e.innerText || e.value || '').trim().split('\\n')[0], getComputedStyle(e).outlineStyle])"
            "(document.activeElement)"
        )
        assert outline != "none", words
        if words == name:
            return
    pytest.fail(f"Tab does not reach {name!r}")


def test_the_field_is_used_by_keyboard_alone(watched: Watched, shop: Workshop) -> None:
    """Skip the list of sheets, log a crash and take it back with Tab and Enter."""
    before = len(shop.history("dunlin").crashes)
    page = watched.go("/quads/dunlin/field")
    page.locator("[data-pad=crash]:enabled").wait_for()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.innerText") == "Skip to the sheet"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    tab_to(page, "Crash")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.innerText").startswith("Scuff")
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.innerText") == "Crash"  # back to what had opened the row
    page.keyboard.press("Enter")
    tab_to(page, "Hit")
    page.keyboard.press("Enter")
    page.locator("#said", has_text="is in the journal").wait_for()
    assert len(shop.history("dunlin").crashes) == before + 1
    page.locator("#undo:visible").wait_for()
    assert page.evaluate("document.activeElement.innerText") == "Crash"  # where it was opened
    tab_to(page, "Undo", key="Shift+Tab")
    page.keyboard.press("Enter")
    page.locator("#said", has_text=re.compile("Undo of .* is in the journal")).wait_for()
    assert len(shop.history("dunlin").crashes) == before
    watched.clean()


def test_a_crash_test_is_run_by_keyboard_alone(watched: Watched, shop: Workshop) -> None:
    """From the page to a new campaign: open the form, write the number, start, read the answer."""
    page = watched.go("/quads/dunlin/crash")
    number = page.locator("input[name=n]")
    number.wait_for(state="attached", timeout=60_000)  # the page may still be worked out
    if not number.is_visible():
        tab_to(page, number.evaluate("e => e.closest('details').querySelector('summary').innerText.trim()"))
        page.keyboard.press("Enter")
    number.wait_for()
    number.evaluate("e => e.scrollIntoView()")
    for _ in range(120):
        page.keyboard.press("Tab")
        if number.evaluate("e => e === document.activeElement"):
            break
    page.keyboard.press("Control+A")
    page.keyboard.type("64")
    page.keyboard.press("Enter")
    page.get_by_text(re.compile(r"^\s*64 simulated crashes")).first.wait_for(timeout=60_000)
    found = shop.latest_campaign("dunlin")
    assert found is not None
    assert found.n == 64
    watched.clean()


@pytest.mark.parametrize("watched", [(360, 740, "light")], indirect=True)
def test_nothing_moves_for_whoever_asked_for_that(watched: Watched) -> None:
    """With reduced motion no element has an animation or a transition."""
    watched.page.emulate_media(reduced_motion="reduce")
    page = watched.go("/quads/gannet/field")
    moving = page.evaluate(
        "[...document.querySelectorAll('*')].map(e => getComputedStyle(e))"
        ".filter(s => s.animationName !== 'none' || parseFloat(s.transitionDuration) > 0).length"
    )
    assert moving == 0
