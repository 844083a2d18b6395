"""The whole tour without a mouse: Tab, Enter, Space, typing, and a focus that is seen all the way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Locator, Page

    from crashworthy.workshop import Workshop

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SEEN = """() => {
  const e = document.activeElement, s = getComputedStyle(e), box = e.getBoundingClientRect();
  const shown = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;
  return [shown && box.width > 0, e.outerHTML.slice(0, 120)];
}"""
MOST = 500
"""Presses of Tab after which a control counts as out of reach."""


class Keys:
    """A locator that is used by keyboard alone; what is not an act is handed on."""

    def __init__(self, inner: Locator, page: Page) -> None:
        self._inner, self._page = inner, page

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._inner, name)
        if name in ("get_by_role", "get_by_label", "get_by_text", "locator"):
            return lambda *args, **more: Keys(found(*args, **more), self._page)
        if name == "first":
            return Keys(found, self._page)
        assert name in ("wait_for", "evaluate", "inner_text", "count"), f"{name} is no way to use a keyboard"
        return found

    def reach(self) -> None:
        """Tab on until it has the focus; every stop on the way shows that it has it."""
        self._inner.wait_for()
        here = self._inner.element_handle()
        assert here is not None
        for _ in range(MOST):
            self._page.keyboard.press("Tab")
            if self._page.evaluate("e => e === document.activeElement", here):
                shown, what = self._page.evaluate(SEEN)
                assert shown, f"the focus does not show on {what}"
                return
        pytest.fail(f"Tab does not reach {self._inner}")

    def click(self) -> None:
        """Enter on it."""
        self.reach()
        self._page.keyboard.press("Enter")

    def fill(self, text: str) -> None:
        """Type over what is there."""
        self.reach()
        self._page.keyboard.press("Control+A")
        self._page.keyboard.type(text)

    def select_option(self, value: str) -> None:
        """Arrow down from the first choice until the value is chosen."""
        self.reach()
        self._page.keyboard.press("Home")
        for _ in range(60):
            if self._inner.input_value() == value:
                return
            self._page.keyboard.press("ArrowDown")
        pytest.fail(f"no choice is {value!r}")

    def set_input_files(self, file: Path) -> None:
        """Open the chooser from the field and take a file."""
        self._page.wait_for_load_state("networkidle")  # a page still on its way would take the key with it
        self.reach()
        with self._page.expect_file_chooser() as chooser:
            self._page.keyboard.press("Space")
        chooser.value.set_files(file)


class KeyPage:
    """A page whose locators are used by keyboard alone."""

    def __init__(self, inner: Page) -> None:
        self._inner = inner

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._inner, name)
        if name not in ("get_by_role", "get_by_label", "get_by_text", "locator"):
            return found

        def located(*args: Any, **more: Any) -> Keys:
            plain = {k: v._inner if isinstance(v, Keys) else v for k, v in more.items()}
            return Keys(found(*args, **plain), self._inner)

        return located


def test_the_whole_tour_is_walked_by_keyboard_alone(
    walk: Any, page: Page, base: str, tmp_path: Path, workshop: Workshop
) -> None:
    """Print, try, crash, compare, journal, drop a log, find a loose screw, pack: without a pointer."""
    before = workshop.history("gannet").packs
    way = walk.Walk(KeyPage(page), base, tmp_path, crashes=200, packs=2)
    stops = list(way.stops())
    assert stops[-1] == "end"
    assert way.files["printed"].stat().st_size > 1000
    assert workshop.history("gannet").packs == before + 3  # two on the field, one from the log
    found = workshop.latest_campaign(way.copy)
    assert found is not None
    assert found.n == 200


def _stops(page: Page) -> Iterator[tuple[str, bool]]:
    """What Tab comes by, from top to end: where it leads, and whether it is a door of the tour."""
    for _ in range(MOST):
        page.keyboard.press("Tab")
        if not page.evaluate("document.activeElement !== document.body"):
            return
        leads, door = page.evaluate(
            "(e => [e.getAttribute('href') ?? '', e.matches('.tour .doors a')])(document.activeElement)"
        )
        yield leads, door


def test_tab_comes_by_every_door_of_the_tour_in_their_order(page: Page, base: str) -> None:
    """From the skip link over the list of sheets to each step's doors, top to bottom."""
    page.goto(f"{base}/tour")
    page.locator(".tour .doors").first.wait_for()
    doors = page.eval_on_selector_all(".tour .doors a", "all => all.map(e => e.getAttribute('href'))")
    assert len(doors) > 10
    passed = list(_stops(page))
    assert passed[0] == ("#main", False)
    assert [leads for leads, door in passed if door] == doors
