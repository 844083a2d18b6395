"""Changing a part in the sheet changes every number that depends on it, and no other."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from crashworthy.build.quad import Quad

CRASHES = 96
"""Enough that each part of the demo's quad is struck; nothing here is a statistical statement."""


def _mass(quad: Quad) -> object:
    return [quad.mass, np.asarray(quad.mass_properties.cog), np.asarray(quad.mass_properties.inertia)]


def _exposure(quad: Quad) -> object:
    from crashworthy.placement.hits import OBSTACLES, Approaches, hit_shares
    from crashworthy.placement.skin import skin_of

    found = hit_shares(skin_of(quad), OBSTACLES[2], Approaches.uniform(40))
    return [found[p.name] for p in quad.parts if len(p.faces)]


def _strength(quad: Quad) -> object:
    from crashworthy.strength.capacity import capacities

    return [(c.part, c.mode, c.median, c.beta) for c in capacities(quad)]


def _crash(quad: Quad) -> object:
    from crashworthy.impact.batch import ARRAYS
    from crashworthy.impact.campaign import simulate

    batch = simulate(quad, CRASHES, seed=3)
    return [np.asarray(getattr(batch, name)) for name in ARRAYS]


def _torque(quad: Quad) -> object:
    from crashworthy.strength.torque import torque_card

    return _nameless(torque_card(quad).to_json())


def _budget(quad: Quad) -> object:
    from crashworthy.strength.flight import flight_budget

    return _nameless(flight_budget(quad).to_json())


def _nameless(plain: dict[str, Any]) -> dict[str, Any]:
    """Without what carries the quad's name in words."""
    return {key: value for key, value in plain.items() if key not in ("quad", "summary")}


def _view(quad: Quad) -> object:
    from crashworthy.placement.camera import CameraBench

    bench = CameraBench(quad)
    return bench.cage_share(bench.camera.at.recess, bench.camera.at.tilt, 120)


def _link(quad: Quad) -> object:
    from crashworthy.placement.antennas import Radio

    return Radio(quad).coverage("video").to_json()


def _arms(quad: Quad) -> object:
    """Stiffness and tone of each arm, with what was measured on it."""
    from crashworthy.strength.beam import arm_beam

    beams = [arm_beam(a) for a in quad.arms]
    return [[*b.stiffness, *b.ideal, *b.frequency, *b.belief.sd_ln, b.tip_mass, b.twist] for b in beams]


def _grip(quad: Quad) -> object:
    """Thickness that the screws of each group clamp."""
    from crashworthy.strength.torque import torque_card

    return [[row.group, row.grip] for row in torque_card(quad).rows]


def _due(quad: Quad) -> object:
    """Intervals of a journal without an entry: what the priors say of these joints."""
    from crashworthy.upkeep.due import due
    from crashworthy.upkeep.priors import load_priors
    from crashworthy.upkeep.state import fold, screws_of

    priors = load_priors()
    history = fold("q", [], screws_of(quad.joints), priors=priors)
    return [d.to_json() for d in due(history, quad.joints, priors)]


def _kit(quad: Quad) -> object:
    """The list of what may be carried, by weight and money, with one hazard for every part."""
    from crashworthy.upkeep.kit import kit
    from crashworthy.upkeep.priors import load_priors
    from crashworthy.upkeep.state import fold, screws_of

    priors = load_priors()
    history = fold("q", [], screws_of(quad.joints), priors=priors)
    hazards = {p.name: (0.001, 0.01, 0.05) for p in quad.parts}
    plan = kit(quad, history, hazards, priors, packs=20, grams=400.0, coins=200.0, seed=1, owned={})
    return [(r.item, r.count, r.grams, r.coins) for r in (*plan.lines, *plan.left)]


GROUPS: dict[str, Callable[[Quad], object]] = {
    "mass": _mass,
    "exposure": _exposure,
    "strength": _strength,
    "crash": _crash,
    "arms": _arms,
    "grip": _grip,
    "torque": _torque,
    "budget": _budget,
    "view": _view,
    "link": _link,
    "due": _due,
    "kit": _kit,
}
"""Every group of numbers that a page shows of one build."""

EDITS: dict[str, tuple[str, Any, str]] = {
    "prop mass": ("props.mass", 5.0, "mass crash arms budget kit"),
    "arm thickness": ("arms.t", 6, "mass exposure strength crash arms grip torque budget link kit"),
    "antenna place": ("antennas.video.at", [-60, 0, 40], "mass exposure crash budget link"),
    "antenna length": ("antennas.video.length", 36, "mass exposure crash budget link"),
    "camera recess": (
        "camera.at",
        {"edge_x": 80, "recess": 4, "z": 25, "tilt": 30},
        "mass exposure crash budget view",
    ),
    "camera view": (
        "camera.view",
        {"fov": 110, "of": "h", "aspect": 1.3333, "projection": "equidistant"},
        "view",
    ),
    "battery mass": ("battery.mass", 230, "mass crash budget"),
    "motor mass": ("motors.mass", 38, "mass crash arms budget kit"),
    "arm screws": ("screws.arm.thread", "M2.5", "mass exposure crash arms torque budget kit"),
    "thread lock": ("screws.motor.threadlock", False, "torque"),
    "screws of the stack": ("screws.stack.per", 2, "mass crash torque budget due kit"),
    "name": ("name", "Gannet renamed", ""),
    "pull on an arm": ("arms.pull_up", {"n": 9.81, "mm": 0.6}, "arms crash"),
    "tap on an arm": ("arms.tap_side", {"hz": 240.0, "prop": True}, "arms crash"),
    "picture of the camera": ("camera.pupil", 4.0, "view"),
    "scales": ("weighed", 720, "budget"),
}
"""Edit: (field, value, the groups that must change); every other group must stay to the last bit.

The budget holds the centre of gravity beside the watts, so it follows whatever moves; heads of screws are
shapes that can be touched, and arms of carbon stand in the way of the link.
"""


def _mark(value: object) -> str:
    """A digest of any nest of numbers, text and arrays."""
    if isinstance(value, np.ndarray):
        return hashlib.sha256(np.ascontiguousarray(value).tobytes()).hexdigest()
    if isinstance(value, list):
        return hashlib.sha256("".join(map(_mark, value)).encode()).hexdigest()
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=repr).encode()).hexdigest()


@lru_cache(maxsize=1)
def _before(sheet: Path) -> tuple[Quad, dict[str, str]]:
    from crashworthy.build.assemble import load

    quad = load(sheet)
    return quad, {name: _mark(make(quad)) for name, make in GROUPS.items()}


def changed(sheet: Path, field: str, value: Any) -> set[str]:
    """The groups of numbers that an edit of a sheet changes."""
    from crashworthy.build.assemble import assemble
    from crashworthy.placement.moves import with_field

    quad, before = _before(sheet)
    after = assemble(with_field(quad.sheet, field, value), sheet.parent)
    return {name for name, make in GROUPS.items() if _mark(make(after)) != before[name]}


@pytest.mark.parametrize("edit", EDITS)
def test_an_edit_changes_what_depends_on_it_and_nothing_else(gannet_sheet: Path, edit: str) -> None:
    """Each edit of the sheet changes exactly the groups of numbers that follow from it."""
    field, value, groups = EDITS[edit]
    assert changed(gannet_sheet, field, value) == set(groups.split())


PRICED = "[price]\nantenna = 77.0\n"

OWN = """schema = 1
name = "Small"
arms = { wheelbase = 226, t = 5, w_root = 17, w_tip = 11.5, r0 = 22 }
[motors]
d = 28
h = 19
mass = 33
[props]
d = 127
mass = 4.2
[antennas]
video = { at = [-70, 0, 37], dir = [0, 0, 1], length = 46, d = 3, mass = 7 }
[screws]
arm = { thread = "M3", length = 12, per = 2 }
"""


def test_no_bench_answers_from_before_an_edit(tmp_path: Path) -> None:
    """After a saved sheet, whatever keeps answers gives those of the new build, and campaigns are stale."""
    from crashworthy.workshop import Workshop

    with Workshop(tmp_path / "data") as shop:
        slug = shop.add_quad(OWN)
        campaign = shop.crash_test(slug, 64, 1, fracture=False)
        before = (shop.placement(slug), shop.torque_card(slug), shop.flight_budget(slug), shop.quad(slug))
        assert shop.known_agreement(slug) is not None
        shop.save_sheet(slug, OWN.replace("[-70, 0, 37]", "[-60, 0, 30]").replace("t = 5", "t = 6"))
        after = (shop.placement(slug), shop.torque_card(slug), shop.flight_budget(slug), shop.quad(slug))
        for one, two in zip(before, after, strict=True):
            assert one is not two
        assert before[0].digest != after[0].digest == after[3].digest
        assert before[1].to_json() != after[1].to_json()
        assert before[2].mass < after[2].mass
        assert shop.campaign(campaign.key).stale
        assert shop.known_agreement(slug) is None
        assert shop.slip_shares(slug, after[1]) == {}


def test_prices_and_minutes_reorder_what_is_worth_hiding(tmp_path: Path) -> None:
    """A price in the fleet's priors.toml is in the exposure list at once, and leaves the shares alone."""
    from crashworthy.workshop import Workshop

    with Workshop(tmp_path / "data") as shop:
        slug = shop.add_quad(OWN)
        before = shop.placement(slug)
        priors = tmp_path / "data" / "priors.toml"
        priors.write_text(PRICED, encoding="utf-8")
        after = shop.placement(slug)
        one, two = (next(e for e in p.exposures if e.part == "video") for p in (before, after))
        assert two.price == 77.0
        assert two.price != one.price
        assert two.share == one.share


def test_the_demo_journal_speaks_of_vibration_as_the_logs_do(gannet_sheet: Path, tmp_path: Path) -> None:
    """The clean level of the invented journal is what a simulated flight without a fault is found to have."""
    from crashworthy.build.assemble import load
    from crashworthy.demo.flight import simulate_flight
    from crashworthy.demo.journal import CLEAN_RMS
    from crashworthy.vibration.readers.registry import read_log
    from crashworthy.vibration.report import analyse

    quad = load(gannet_sheet)
    flight = simulate_flight(quad, 12.0, 31, (2.0, 2.8, 2.2, 2.4), track_n=(0.02, 0.02, 0.02, 0.02))
    report = analyse(read_log(flight.write_csv(tmp_path / "clean.csv")), quad).to_json()
    assert report["v_rms_mm_s"] == pytest.approx(CLEAN_RMS, rel=0.1)
