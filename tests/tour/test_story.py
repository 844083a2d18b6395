"""The loop proves itself: once round on the demo fleet, in a real browser, without leaving the pages."""

from __future__ import annotations

import io
import re
import zipfile
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from crashworthy.workshop import Workshop

pytestmark = [pytest.mark.browser, pytest.mark.slow]

QUAD = "gannet"


class Story:
    """What is asserted at each stop, with what was seen at the stops before."""

    def __init__(self, walk: Any, shop: Workshop) -> None:
        self.walk, self.page, self.shop = walk, walk.page, shop
        self.packs, self.done = shop.history(QUAD).packs, 0

    def answer(self) -> str:
        """The first sentence of the page."""
        return str(self.page.locator("main .answer").first.text_content())

    def arm(self) -> Any:
        """What is due of the arm screws."""
        return next(d for d in self.shop.due(QUAD) if d.upkeep == "arm")

    def start(self) -> None:
        """What the demo itself did is ticked off, what a pilot has to do is open."""
        steps = {s.key: s for s in self.shop.tour().steps}
        assert [k for k, s in steps.items() if s.done] == ["crash", "compare"]
        assert self.page.locator(".tour > li").count() == len(steps)
        assert self.page.locator(".tour > li[aria-current=step]").count() == 1
        assert "2 of 10 steps done with Gannet" in self.answer()

    def crashed(self) -> None:
        """The rear antenna is what is touched first of everything that is better hidden."""
        summary = self.shop.latest_campaign(QUAD).summary
        touched = {p["name"]: p["first"] for p in summary["parts"] if p["kind"] in HIDDEN}
        order = sorted(touched, key=lambda name: -touched[name])
        assert order[0] == "video"
        assert touched["video"] > 1.3 * touched[order[1]]

    def exposed(self) -> None:
        """By geometry alone, too, no antenna, lead, board or lens is touched first as often."""
        shares = {e.part: e.share for e in self.shop.placement(QUAD).exposures if e.kind in HIDDEN}
        assert max(shares, key=lambda name: shares[name]) == "video"
        row = self.page.get_by_role("row", name=re.compile("^Video antenna"))
        assert f"{100 * shares['video']:.1f} %" in str(row.first.text_content())

    def printed(self) -> None:
        """The mount is a 3MF with one closed body; every gate passed."""
        import trimesh

        data = self.walk.files["printed"].read_bytes()
        assert "3D/3dmodel.model" in zipfile.ZipFile(io.BytesIO(data)).namelist()
        body = trimesh.load_mesh(io.BytesIO(data), file_type="3mf")
        assert body.is_watertight
        self.mount = self.shop.printed(QUAD, "antenna-mount")
        assert self.mount.gates
        assert all(gate.passed for gate in self.mount.gates)

    def moved(self) -> None:
        """The copy has the antenna in the mount, is touched less there, and the cost in range is told."""
        copy = self.shop.quad(self.walk.copy)
        assert copy.sheet.antennas["video"].at != self.shop.quad(QUAD).sheet.antennas["video"].at
        assert copy.part("antenna_mount").mass == pytest.approx(self.mount.mass, 0.02)
        found = self.shop.latest_trial(QUAD, self.walk.copy)
        video = next(d for d in found.crashes.parts if d.name == "video")
        assert video.hit_high < 0
        told = [x.what for x in found.lines if "range" in x.what and "video" in x.what]
        assert told
        assert told[0].lower() in str(self.page.locator("main").text_content()).lower()

    def fewer(self) -> None:
        """The same crashes hit the antenna less often, the whole interval below nothing."""
        found = self.shop.latest_comparison(QUAD)
        video = next(d for d in found.parts if d.name == "video")
        assert found.n == 800
        assert video.hit_high < 0
        assert video.change < 0
        assert "antennas" in str(self.page.locator(".pair ul").text_content())

    def copy_crashed(self) -> None:
        """In its own campaign the copy's antenna is hit and breaks less."""
        one, two = (part(self.shop.latest_campaign(s).summary, "video") for s in (QUAD, self.walk.copy))
        assert two["hit_high"] < one["hit_low"]
        assert two["breaks"] < one["breaks"]

    def kit_after(self) -> None:
        """Break rates and kits start from the two predictions."""
        one, two = ({r.item: r for r in self.shop.break_rates(s)}["video"] for s in (QUAD, self.walk.copy))
        assert float(np.sum(two.hazards)) < float(np.sum(one.hazards))
        plans = [self.shop.kit(s, 40, 450.0, 90.0) for s in (QUAD, self.walk.copy)]
        assert plans[0].to_json() != plans[1].to_json()
        assert plans[1].summary() in self.answer()

    def packs_(self) -> None:
        """Ten taps are ten packs, on a screen 360 px wide without scrolling sideways."""
        assert self.shop.history(QUAD).packs == self.packs + self.walk.packs
        width, inner = self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert width <= inner == 360

    def log(self) -> None:
        """The front right motor is named, and no other."""
        kept = self.shop.logs(QUAD)[0]
        assert [m["corner"] for m in kept.report["motors"] if m["verdict"] == "stands out"] == ["fr"]
        assert "Front right" in self.answer() or "front right" in self.answer()
        self.before = self.arm()

    def dose(self) -> None:
        """Its pack weighs more than an ordinary one, so fewer packs are left to the check."""
        after = self.arm()
        assert after.age - self.before.age > 1.5
        assert after.whole_packs_left < self.before.whole_packs_left or after.state in ("due", "now")
        self.before = after

    def loose(self) -> None:
        """A loose screw after so few packs makes the interval shorter; the posterior moved."""
        after = self.arm()
        assert after.age == 0
        assert after.tau != self.before.tau

    def compared(self) -> None:
        """What both journals say is on the page, in the words of the library."""
        words = self.shop.tougher(QUAD, "dunlin")[0].summary()
        assert self.page.get_by_text(words).count() >= 1

    def kit(self) -> None:
        """What is at hand need not be bought, and the list is on paper."""
        assert self.shop.stock()["prop"] == 12
        assert self.walk.files["kit"].read_bytes().startswith(b"%PDF-")

    def end(self) -> None:
        """Every step is ticked off, each with numbers of its own."""
        tour = self.shop.tour()
        assert [s.key for s in tour.steps if not s.done] == []
        assert all(re.search(r"\d", s.changed) for s in tour.steps)
        assert "once round the loop" in self.answer()
        assert self.page.locator(".tour .state.solid").count() == len(tour.steps)


HIDDEN = ("antenna", "lead", "plug", "board", "lens", "camera")
"""Kinds that are hidden rather than strengthened, without the pack and boxes."""


def part(summary: dict[str, Any], name: str) -> dict[str, Any]:
    """The row of one part."""
    return next(p for p in summary["parts"] if p["name"] == name)


def test_once_round_the_loop(walk: Any, page: Page, base: str, workshop: Workshop, tmp_path: Path) -> None:
    """Crash, move, print, compare, journal, listen, check, pack: every link holds, in a real browser."""
    faults: list[str] = []
    page.on("pageerror", lambda e: faults.append(str(e)))
    going = walk.Walk(page, base, tmp_path)
    story = Story(going, workshop)
    at: dict[str, Callable[[], None]] = {
        name.rstrip("_").replace("_", "-"): getattr(story, name) for name in vars(Story) if name[0] != "_"
    }
    seen, broken = [], []
    for stop in going.stops():
        seen.append(stop)
        try:
            at.get(stop, lambda: None)()
        except Exception as problem:  # noqa: BLE001 - the stops after it are told too
            broken.append(f"{stop}: {problem!r}"[:600])
    assert broken == []
    assert set(seen) >= {s for s in at if s not in ("answer", "arm")}
    assert faults == []


def test_the_tour_is_offered_on_the_demo_alone(tmp_path: Path) -> None:
    """A fleet of one's own has no tour: no step is shown as done that nobody did."""
    from crashworthy.workshop import Workshop

    with Workshop(tmp_path / "own") as own:
        assert own.tour() is None
        own.add_quad('schema = 1\nname = "Own"\narms = { wheelbase = 226 }\n')
        assert own.tour() is None
        assert own.spare_log() is None
