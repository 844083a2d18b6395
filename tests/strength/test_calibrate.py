"""What a pull and a tap teach about the arms, and that it reaches sheet and crash."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from crashworthy.build.assemble import assemble, parse
from crashworthy.build.measured import with_tests
from crashworthy.errors import SheetError
from crashworthy.impact.limbs import limbs_of
from crashworthy.strength.beam import arm_beam
from crashworthy.strength.capacity import capacities

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "examples" / "dunlin.toml").read_text(encoding="utf-8")


def _quad(**tests: dict) -> object:
    return assemble(parse(with_tests(TEXT, tests)), ROOT / "examples", 64)


def test_without_a_test_the_prior_stands() -> None:
    """An arm that nobody measured has the tabled factors and spread."""
    belief = arm_beam(_quad().arms[0]).belief
    assert belief.factor == pytest.approx((0.35, 0.5))
    assert belief.sd_ln == (0.3, 0.3)
    assert belief.shift == pytest.approx((1.0, 1.0))


def test_a_pull_moves_its_direction_most_and_narrows_it() -> None:
    """The measured direction comes near to the pull, the other follows in part, both get surer."""
    ideal = arm_beam(_quad().arms[0]).ideal[1]
    way = 9.81 / (0.7 * ideal) * 1e3
    belief = arm_beam(_quad(pull_up={"n": 9.81, "mm": round(way, 4)}).arms[0]).belief
    assert 0.6 < belief.factor[1] < 0.7
    assert 0.35 < belief.factor[0] < 0.35 * 1.4
    assert belief.sd_ln[1] < 0.2 < belief.sd_ln[0] < 0.3


def test_pull_and_tap_of_one_spring_agree() -> None:
    """The tone that belongs to a stiffness gives the same factor as the pull of that stiffness."""
    beam = arm_beam(_quad().arms[0])
    k, mass = 0.6 * beam.ideal[1], beam.tip_mass
    tests = {
        "pull_up": {"n": 20.0, "mm": 20.0 / k * 1e3},
        "tap_up": {"hz": math.sqrt(k / mass) / (2 * math.pi), "prop": True},
    }
    belief = arm_beam(_quad(**tests).arms[0]).belief
    assert [t.factor for t in belief.tests] == pytest.approx([0.6, 0.6], rel=1e-6)
    assert belief.doubts == ()
    one = arm_beam(_quad(pull_up=tests["pull_up"]).arms[0]).belief
    assert belief.sd_ln[1] < one.sd_ln[1]


def test_tests_that_disagree_are_told() -> None:
    """A pull and a tap far apart raise a doubt that says what to do."""
    doubts = arm_beam(_quad(pull_up={"n": 9.81, "mm": 0.5}, tap_up={"hz": 60.0}).arms[0]).belief.doubts
    assert any("disagree" in d and "repeat" in d for d in doubts)


def test_the_crash_model_takes_the_calibrated_stiffness() -> None:
    """Springs of the crash model and the spread of the arms' strength follow the test; antennas do not."""
    before, after = _quad(), _quad(tap_up={"hz": 130.0})
    a, b = limbs_of(before), limbs_of(after)
    shift = arm_beam(after.arms[0]).belief.shift
    assert b[0].stiffness[1] / a[0].stiffness[1] == pytest.approx(shift[1])
    assert b[0].stiffness[2] / a[0].stiffness[2] == pytest.approx(shift[0])
    assert b[-1].stiffness == pytest.approx(a[-1].stiffness)
    spread = [next(c.spread for c in capacities(q) if c.mode == "root bending") for q in (before, after)]
    assert spread[1] < spread[0]


def test_the_sheet_keeps_everything_else_as_it_was_typed() -> None:
    """Only the arms row changes; taking the tests out again gives the first text back."""
    written = with_tests(TEXT, {"pull_up": {"n": 9.81, "mm": 0.7}, "tap_side": {"hz": 200.0, "prop": False}})
    changed = [
        i for i, (a, b) in enumerate(zip(TEXT.split("\n"), written.split("\n"), strict=True)) if a != b
    ]
    assert len(changed) == 1
    assert parse(with_tests(written, {})) == parse(TEXT)
    assert parse(written).arms.pull_up.mm == 0.7


def test_a_sheet_with_an_arms_section_is_changed_too() -> None:
    """Where the arms stand under a heading the sheet is written anew."""
    row = next(line for line in TEXT.split("\n") if line.startswith("arms"))
    text = 'schema = 1\nname = "W"\n[arms]\nwheelbase = 220\n'
    assert row
    assert parse(with_tests(text, {"tap_up": {"hz": 90.0}})).arms.tap_up.hz == 90.0


def test_an_impossible_test_is_refused() -> None:
    """A way of nothing cannot be a stiffness."""
    with pytest.raises(SheetError, match="out of range"):
        with_tests(TEXT, {"pull_up": {"n": 9.81, "mm": 0.0}})
