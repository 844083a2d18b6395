"""Replays, learned strengths, shapes of obstacles."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import ScenarioError
from crashworthy.impact import Scenario, replay, simulate, worst
from crashworthy.impact.learn import damage_sum, learn_strength, weakened
from crashworthy.impact.obstacle import BOX, CYLINDER, GAP, PLANE, RUBBLE, SPIKE, Shape, gap_normal

small = st.floats(-0.3, 0.3)


@pytest.fixture(scope="module")
def batch(quad: Any) -> Any:
    """A small campaign."""
    return simulate(quad, 24, 7)


def test_a_crash_comes_back_from_seed_and_number(quad: Any, batch: Any) -> None:
    """The replay hits the same parts at the same time with the same force, and tells it in plain data."""
    number = worst(batch)
    got = replay(quad, batch, number)
    index = {name: i for i, (name, _, _) in enumerate(batch.parts)}
    for name, force, _ in got.peaks:
        assert force == pytest.approx(float(batch.part_peak[index[name], number]), rel=1e-5)
    for name, time in got.touched:
        assert time == pytest.approx(float(batch.part_tfirst[index[name], number]), abs=1e-6)
    assert got.touched[0][0] == batch.parts[batch.first_part[number]][0]
    assert got.speed == pytest.approx(float(batch.speed[number]), rel=1e-6)
    data = json.loads(json.dumps(got.to_json(), allow_nan=False))
    assert len(data["time"]) == len(data["place"]) == len(data["attitude"]) == len(data["tips"])
    assert data["time"] == sorted(data["time"])
    np.testing.assert_allclose(np.linalg.norm(got.attitude, axis=1), 1.0, rtol=1e-9)
    # The origin moves no faster than quad and spin allow.
    step = np.linalg.norm(np.diff(got.place, axis=0), axis=1) / np.diff(got.time)
    assert step[0] == pytest.approx(got.speed, rel=0.5)


def test_a_replay_of_nothing_is_refused(quad: Any, batch: Any) -> None:
    """Wrong numbers, parts and builds get a message."""
    with pytest.raises(ScenarioError, match="no crash 24"):
        replay(quad, batch, 24)
    with pytest.raises(ScenarioError, match="no part"):
        worst(batch, "tail")
    with pytest.raises(ScenarioError, match="changed"):
        replay(dataclasses.replace(quad, digest="other"), batch, 0)
    assert batch.part_peak[3, worst(batch, batch.parts[3][0])] == batch.part_peak[3].max()


def test_everything_can_be_crashed_into(quad: Any) -> None:
    """Each kind of obstacle alone gives crashes that touch, whose account closes."""
    kinds = (
        ("edge", "concrete", ""),
        ("rail", "steel", "size = [0.01, 0.02]"),
        ("spike", "steel", "radius = [0.004, 0.006]"),
        ("rubble", "concrete", "size = [0.1, 0.2]"),
        ("net", "steel", "mass = 0.5\nstiffness = 3000"),
        ("gap", "wood", "size = [0.15, 0.3]"),
        ("branch", "wood", "free_length = [0.5, 1.0]"),
    )
    for kind, surface, more in kinds:
        text = f'[obstacles.it]\nkind = "{kind}"\nsurface = "{surface}"\nweight = 1\n{more}\n'
        batch = simulate(quad, 16, 3, Scenario.parse(text))
        # A spike is narrower than the coarse skin of this quad and may slip between its points.
        assert (batch.part_peak.max(axis=0) > 0.0).mean() >= (0.8 if kind == "spike" else 1.0), kind
        # A turning quad may already be leaving what it grazes.
        assert (batch.closing > 0.0).mean() >= 0.9, kind
        assert np.abs(batch.audit).max() < 0.012, kind


def test_what_gives_is_kinder_than_what_does_not(quad: Any) -> None:
    """A net that moves along shakes the boards less than a wall of its surface."""
    shock = {}
    for kind, more in (("wall", ""), ("net", "mass = 0.3\nstiffness = 1000")):
        text = f'[obstacles.it]\nkind = "{kind}"\nsurface = "steel"\nweight = 1\n{more}\n'
        shock[kind] = float(np.median(simulate(quad, 24, 3, Scenario.parse(text)).shock))
    assert shock["net"] < shock["wall"]


@settings(deadline=None)
@given(st.sampled_from((PLANE, CYLINDER, BOX, SPIKE, RUBBLE, GAP)), small, small, small)
def test_the_normal_is_the_slope_of_the_gap(kind: int, x: float, y: float, z: float) -> None:
    """Gap grows by a step along the normal as far as the step, and the normal has length one."""
    shape = Shape((0.01, -0.02, 0.03), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 0.02, 0.11, 0.05)
    gap, n = gap_normal(kind, shape, (x, y, z))
    assert math.hypot(*n) == pytest.approx(1.0, abs=1e-6)
    if gap < 1e-3:
        return
    h = 1e-7
    further = gap_normal(kind, shape, (x + h * n[0], y + h * n[1], z + h * n[2]))[0]
    nearer = gap_normal(kind, shape, (x - h * n[0], y - h * n[1], z - h * n[2]))[0]
    # Where two stones, posts or sides are equally near, only the way back is straight.
    assert min(abs(further - gap - h), abs(gap - nearer - h)) < 1e-3 * h + 1e-15


@settings(deadline=None)
@given(
    st.sampled_from((PLANE, CYLINDER, BOX, SPIKE, RUBBLE, GAP)),
    st.tuples(small, small, small),
    st.tuples(small, small, small),
)
def test_no_point_is_nearer_than_its_gap(kind: int, a: Any, b: Any) -> None:
    """The gap changes no faster than the point moves: what lets a quad be marched to first touch."""
    shape = Shape((0.01, -0.02, 0.03), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 0.02, 0.11, 0.05)
    change = abs(gap_normal(kind, shape, a)[0] - gap_normal(kind, shape, b)[0])
    assert change <= math.dist(a, b) * (1 + 1e-9) + 1e-9


def test_survivals_and_breaks_move_a_strength() -> None:
    """Breaks weaken, survivals strengthen, vague loads teach less, and nothing teaches nothing."""
    nothing = learn_strength(45.0, 0.3, 0.15, [], [])
    assert nothing.median == pytest.approx(45.0, rel=1e-3)
    assert nothing.high / 45.0 == pytest.approx(math.exp(1.645 * 0.3), rel=2e-3)
    assert learn_strength(45.0, 0.3, 0.15, [40.0], [True]).median < 45.0
    assert learn_strength(45.0, 0.3, 0.15, [50.0], [False]).median > 45.0
    sharp = learn_strength(45.0, 0.3, 0.15, [30.0], [True])
    vague = learn_strength(45.0, 0.3, 0.15, [30.0], [True], 1.0)
    assert sharp.median < vague.median < 45.0
    with pytest.raises(ScenarioError):
        learn_strength(45.0, 0.3, 0.15, [30.0], [])


@given(st.lists(st.floats(0.0, 100.0), max_size=20), st.floats(1.0, 50.0), st.floats(1.0, 10.0))
def test_damage_grows_with_every_hit(loads: list[float], median: float, power: float) -> None:
    """Damage is at most one a hit, grows by each, and never takes more than half of the strength."""
    total = damage_sum(np.array(loads), median, power)
    assert 0.0 <= total <= len(loads) + 1e-9
    assert damage_sum(np.array([*loads, median]), median, power) == pytest.approx(total + 1.0)
    assert 0.5 * median <= weakened(median, total) <= median
