"""Strike map, first touches, root moments, fracture beside demand, worst crashes, pushes of a replay."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import numpy as np
import pytest

from crashworthy.errors import ScenarioError
from crashworthy.impact import Scenario, beside, bring_back, replay, simulate, strike_map, worst_crashes
from crashworthy.impact.blocks import crash
from crashworthy.impact.campaign import SETTLE, WINDOW
from crashworthy.impact.contact import BED
from crashworthy.impact.craft import RESULT
from crashworthy.impact.frames import pushes, swings
from crashworthy.impact.model import model_of
from crashworthy.impact.start import sample
from crashworthy.impact.strikes import mean_depth
from crashworthy.impact.touches import arm_moments, first_touch
from crashworthy.pictures.matrix import first_touch_matrix

N = 120


@pytest.fixture(scope="module")
def batch(quad: Any) -> Any:
    """A campaign."""
    return simulate(quad, N, 5)


@pytest.fixture(scope="module")
def broken(quad: Any) -> Any:
    """The same crashes with fracture."""
    return simulate(quad, N, 5, fracture=True)


def test_the_push_on_a_flat_surface_sums_to_the_impulse_of_the_parts(quad: Any) -> None:
    """Newton: mass times the change of velocity along the normal is the normal impulse of all parts."""
    wall = Scenario.parse('[obstacles.wall]\nkind = "wall"\nsurface = "concrete"\nweight = 1\n')
    batch = simulate(quad, 16, 3, wall)
    compared = 0
    for number in range(16):
        found = replay(quad, batch, number)
        step = np.full(len(found.time), found.time[1] - found.time[0])
        step[0] /= 2.0
        if max(end for _, _, end in found.contacts) > found.time[-1] - 2 * step[1]:
            continue  # still pressed when the frames end: the last push has no frame after it
        compared += 1
        along = float((found.push @ found.row[3:6] * step).sum())
        assert along == pytest.approx(sum(i for _, _, i in found.peaks), rel=5e-3)
    assert compared >= 3


def test_the_travel_of_a_net_is_that_of_the_kernel(quad: Any) -> None:
    """The travel followed from frames reaches what the kernel found step by step."""
    text = '[obstacles.net]\nkind = "net"\nsurface = "steel"\nweight = 1\nmass = 0.5\nstiffness = 3000\n'
    model = model_of(quad)
    s = sample(Scenario.parse(text), model.craft, 3, np.arange(4))
    dt = 1e-5
    got = crash(
        model.craft, model.beds, BED, s.kinds, s.surfaces, s.rows, s.state, np.maximum(s.closing, 1.0), dt=dt,
        steps=round(WINDOW / dt), settle=SETTLE, every=10,
    )  # fmt: skip
    travel = got.scalars[RESULT.index("travel")]
    for c in range(4):
        frames = got.trace[: 1 + int(got.trace[:, 0, c].argmax()), :, c]
        push = pushes(model.craft, frames, s.state[:, c])
        moved = swings(int(s.kinds[c]), s.rows[:, c], frames[:, 0], push)
        assert np.linalg.norm(moved, axis=1).max() == pytest.approx(travel[c], rel=0.02)
        assert travel[c] > 1e-3


def test_the_strike_map_loses_no_impulse(quad: Any, batch: Any) -> None:
    """Points share out exactly what the parts took; each crash has one first point; hits are of crashes."""
    found = strike_map(quad, batch, 70)
    assert found.n == 70
    taken = batch.part_impulse[:, :70].astype(float).sum(axis=1)
    for index in range(len(batch.parts)):
        of_part = found.impulse[found.part == index].sum()
        assert of_part == pytest.approx(taken[index], rel=1e-9, abs=1e-12)
    assert found.first.sum() == 70
    assert (found.hits >= 0).all()
    assert (found.hits <= 70).all()
    hit = (batch.part_peak[:, :70] > 0).sum(axis=1)
    for index in np.unique(found.part):
        assert found.hits[found.part == index].max() <= hit[index]
        # A part that is hit has a point that is hit, in the same crash.
        assert found.hits[found.part == index].sum() >= hit[index]
    data = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert len(data["points"]) == len(found.part)
    assert all(p["hit_low"] <= p["hit"] <= p["hit_high"] for p in data["points"])
    again = strike_map(quad, batch, 70)
    np.testing.assert_array_equal(again.impulse, found.impulse)
    hardest = batch.parts[int(taken.argmax())][0]
    order = found.of_part(hardest)
    assert (np.diff(found.impulse[order]) <= 0).all()


def test_the_share_of_a_patch_is_the_mean_over_its_slices() -> None:
    """Tilted, level, a bare point, half in, crushed: what many slices give; level ones count too."""
    deepest = np.array([3e-3, 3e-3, 2e-4, 1e-3, -1e-4, 5e-3])
    wide = np.array([1e-3, 0.0, 0.0, 2e-3, 1e-3, 1e-12])
    yields = np.array([1.0, 1.0, 1.0, 5e-4, 1.0, 1e-3])
    slices = deepest - 2.0 * wide * (np.arange(4000)[:, None] + 0.5) / 4000
    expected = np.clip(slices, 0.0, yields).mean(axis=0)
    np.testing.assert_allclose(mean_depth(deepest, wide, yields), expected, rtol=1e-5)
    assert mean_depth(deepest, wide, yields)[1] == pytest.approx(3e-3, rel=1e-5)


def test_a_strike_map_of_another_build_is_refused(quad: Any, batch: Any) -> None:
    """A changed build, no crashes, or a part without points get a message."""
    with pytest.raises(ScenarioError, match="changed"):
        strike_map(dataclasses.replace(quad, digest="other"), batch)
    with pytest.raises(ScenarioError, match="0 crashes"):
        strike_map(quad, batch, 0)
    with pytest.raises(ScenarioError, match="no point"):
        strike_map(quad, batch, 2).of_part("tail")


def test_every_crash_is_counted_once_by_obstacle_and_part(batch: Any) -> None:
    """First touches add up to the crashes, and their intervals hold the share."""
    touch = first_touch(batch)
    assert sum(touch.crashes) == N
    counted = [sum(row) + m for row, m in zip(touch.counts, touch.missed, strict=True)]
    assert counted == list(touch.crashes)
    for o in range(len(touch.obstacles)):
        for p in range(len(touch.parts)):
            share, low, high = touch.share(o, p)
            assert low <= share <= high
    assert "first" in touch.summary()
    json.dumps(touch.to_json(), allow_nan=False)


def test_a_crash_that_touches_nothing_is_an_outcome_of_its_own(batch: Any) -> None:
    """It stays a crash, of its obstacle, and nothing is touched first in it."""
    peak = batch.part_peak.copy()
    gone = np.flatnonzero(batch.obstacle == batch.obstacle[0])[:3]
    peak[:, gone] = 0.0
    batch = dataclasses.replace(batch, part_peak=peak)
    before, told = batch.missed.sum(), batch.summarise()
    assert before >= len(gone)
    assert told.missed == pytest.approx(batch.missed.mean())
    touch, row = told.first_touch, int(batch.obstacle[0])
    assert sum(touch.missed) == before
    assert touch.missed[row] >= len(gone)
    assert sum(touch.crashes) == N
    assert sum(p.first for p in told.parts) == pytest.approx(1.0 - told.missed)
    assert told.obstacles[row].missed == pytest.approx(touch.missed[row] / touch.crashes[row])
    assert "nothing" in first_touch_matrix(touch.to_json())


def test_moment_histograms_hold_every_crash(batch: Any) -> None:
    """Each arm has two planes; classes add up to the crashes; the share past the strength is counted."""
    found = arm_moments(batch)
    assert len(found) == 2 * len(batch.arm_parts)
    for h in found:
        assert sum(h.counts) == h.n == N
        arm = [batch.parts[p][0] for p in batch.arm_parts].index(h.arm)
        m = batch.arm_moment[arm, 0 if h.plane == "in plane" else 1]
        assert h.above == pytest.approx(float((m > h.capacity).mean()))
        assert h.above_low <= h.above <= h.above_high
        assert h.plane in h.summary()


def test_demand_and_fracture_are_of_the_same_crashes(batch: Any, broken: Any) -> None:
    """Where nothing breaks in the run the loads agree crash by crash; the difference is that of the two."""
    both = beside(batch, broken)
    assert both.n == N
    whole = (broken.broken < 0).all(axis=(0, 1))
    np.testing.assert_array_equal(batch.part_peak[:, whole], broken.part_peak[:, whole])
    for row in (*both.parts, *both.kinds):
        assert row.difference == pytest.approx(row.fracture - row.demand, abs=1e-9)
        assert row.low <= row.difference <= row.high
    corners = [batch.parts[p][0] for p in batch.arm_parts]
    for a, name in enumerate(corners):
        row = both.part(name)
        assert row is not None
        assert row.fracture >= 100 * float((broken.broken[0, a] >= 0).mean()) - 1e-9
    summary = batch.summarise(broken=broken).to_json()
    assert summary["fracture"]["n"] == N
    assert "same crashes" in summary["fracture"]["meaning"]
    assert batch.summarise().fracture is None


def test_other_crashes_are_not_put_beside(quad: Any, batch: Any) -> None:
    """Another seed is refused: the difference would not be paired."""
    with pytest.raises(ScenarioError, match="same crashes"):
        beside(batch, simulate(quad, 4, 6, fracture=True))


def test_worst_crashes_come_worst_first(batch: Any) -> None:
    """By damage, by boards and by part; an unknown part is named."""
    damage = worst_crashes(batch, count=5)
    assert [w.breaks for w in damage] == sorted((w.breaks for w in damage), reverse=True)
    boards = worst_crashes(batch, "*boards", 3)
    assert boards[0].crash == int(batch.shock.argmax())
    name, label, _ = batch.parts[int(batch.part_peak.max(axis=1).argmax())]
    own = worst_crashes(batch, name, 4)
    assert all(w.hardest == label for w in own)
    assert str(own[0].crash) in own[0].summary()
    with pytest.raises(ScenarioError, match="no part"):
        worst_crashes(batch, "tail")


def test_seed_and_number_alone_bring_a_crash_back(quad: Any, batch: Any) -> None:
    """Without the campaign the same frames come back."""
    a, b = replay(quad, batch, 17), bring_back(quad, 17, 5)
    np.testing.assert_array_equal(a.place, b.place)
    assert a.peaks == b.peaks
    touched = {p for p, _, _ in a.contacts}
    assert touched == {p for p, _ in a.touched}
    assert all(start <= end for _, start, end in a.contacts)
    with pytest.raises(ScenarioError, match="no crash -1"):
        bring_back(quad, -1, 5)
