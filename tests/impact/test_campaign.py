"""Campaigns: the same crashes whatever runs them, answers with intervals, no silent nonsense."""

from __future__ import annotations

import dataclasses
import json
import pickle
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from boxes import make_quad

from crashworthy.build.quad import MassProperties
from crashworthy.errors import CrashworthyError, NotFoundError, ScenarioError
from crashworthy.impact import CampaignCancelled, CrashBatch, Scenario, simulate
from crashworthy.impact.batch import ARRAYS
from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.damage import break_chance, interval, part_chances, wilson

N = 48


@pytest.fixture(scope="module")
def batch(quad):
    """A small campaign."""
    return simulate(quad, N, 7)


def test_chunks_and_threads_change_no_bit(quad, batch):
    """One crash at a time, all at once, on two threads: the same bytes."""
    small = simulate(quad, N, 7, chunk=5)
    with ThreadPoolExecutor(2) as pool:
        threaded = simulate(quad, N, 7, chunk=7, map_chunks=pool.map)
    assert batch.save() == small.save() == threaded.save()
    assert json.dumps(batch.summarise().to_json()) == json.dumps(threaded.summarise().to_json())


def test_a_longer_campaign_begins_with_the_shorter_one(quad, batch):
    """A crash depends on its number, not on how many there are."""
    short = simulate(quad, 11, 7)
    np.testing.assert_array_equal(short.part_peak, batch.part_peak[:, :11])


def test_a_chunk_can_run_in_another_process(quad, batch):
    """The unit of work survives pickling and then gives the same arrays."""

    def through_bytes(run, chunks):
        run = pickle.loads(pickle.dumps(run))  # noqa: S301 - our own bytes
        return (pickle.loads(pickle.dumps(run(c))) for c in chunks)  # noqa: S301 - as above

    assert simulate(quad, N, 7, chunk=20, map_chunks=through_bytes).save() == batch.save()


def test_another_seed_gives_other_crashes(quad, batch):
    """Seeds matter."""
    other = simulate(quad, N, 8)
    assert not np.array_equal(other.speed, batch.speed)
    assert other.digest != batch.digest


def test_two_builds_meet_the_same_crashes(batch):
    """Common random numbers: speed, obstacle and attitude do not depend on the build."""
    other = simulate(make_quad(thickness=0.006), N, 7)
    np.testing.assert_array_equal(other.obstacle, batch.obstacle)
    np.testing.assert_array_equal(other.speed, batch.speed)
    assert other.digest != batch.digest


def test_a_batch_survives_the_trip_through_bytes(batch):
    """Saving and loading gives the same arrays and the same answers."""
    again = CrashBatch.load(batch.save())
    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(again, name), getattr(batch, name))
    assert again.summarise().to_json() == batch.summarise().to_json()
    assert again.capacities == batch.capacities


@pytest.mark.parametrize("data", [b"", b"nonsense", b"PK\x03\x04broken"])
def test_broken_bytes_are_refused_in_words(data):
    """A damaged result says so."""
    with pytest.raises(ScenarioError, match="no saved crash campaign"):
        CrashBatch.load(data)


def test_results_hang_together(batch):
    """First touch has rank one, impulse needs a peak, nothing is missing but times never touched."""
    hit = batch.part_peak > 0.0
    assert ((batch.part_impulse > 0.0) == hit).all()
    assert not np.isnan(batch.part_tfirst[hit]).any()
    rank = batch.part_rank
    assert (rank.max(axis=0) >= 1).all()
    assert ((rank == 0) == np.isnan(batch.part_tfirst)).all()
    for name in set(ARRAYS) - {"part_tfirst"}:
        assert np.isfinite(getattr(batch, name)).all(), name
    first = batch.part_tfirst[batch.first_part, np.arange(N)]
    np.testing.assert_array_equal(first, np.nanmin(batch.part_tfirst, axis=0))
    assert (batch.arm_moment > 0.0).any()
    assert (np.abs(batch.audit) < 0.01).all()


def test_the_summary_answers_in_one_sentence_and_in_json(batch):
    """Numbers come first, JSON is plain and finite, every share lies in its interval."""
    s = batch.summarise()
    assert s.summary().startswith("In 100 crashes like these: ")
    data = json.loads(json.dumps(s.to_json(), allow_nan=False))
    assert data["n"] == N
    assert next(iter(data)) == "summary"
    for part in s.parts:
        assert 0.0 <= part.hit_low <= part.hit <= part.hit_high <= 1.0
        assert 0.0 <= part.breaks_low <= part.breaks <= part.breaks_high <= 1.0
        assert all(h >= 0.0 for h in part.hazard)
        assert all(m.source and m.access for m in part.modes)
    assert sum(p.first for p in s.parts) == pytest.approx(1.0)
    assert sum(o.crashes for o in s.obstacles) == N
    assert s.hazards["arm_0"] == s.part("arm_0").hazard
    with pytest.raises(KeyError):
        s.part("tail")
    assert s.unreliable <= 0.05


def test_hazards_are_consistent_with_chances(batch):
    """A third of the crashes each: the mean of 1 - exp(-hazard) is the chance over all."""
    for part in batch.summarise().parts:
        back = np.mean([1.0 - np.exp(-h) for h in part.hazard])
        assert back == pytest.approx(part.breaks, abs=0.02)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"n": 0}, "n"),
        ({"n": -3}, "n"),
        ({"seed": -1}, "seed"),
        ({"dt": 0.0}, "dt"),
        ({"dt": float("nan")}, "dt"),
        ({"chunk": 0}, "chunk"),
    ],
)
def test_impossible_requests_are_refused_with_their_field(quad, change, field):
    """Zero crashes, negative seeds and absurd steps get a message, not a traceback."""
    arguments = {"n": 3, "seed": 1} | change
    with pytest.raises(ScenarioError) as caught:
        simulate(quad, **arguments)
    assert caught.value.problems[0].field == field
    assert caught.value.problems[0].remedy


def test_one_crash_is_enough(quad):
    """A campaign of one has a summary, with wide intervals."""
    s = simulate(quad, 1, 5).summarise()
    assert s.n == 1
    assert all(p.hit_high - p.hit_low > 0.5 for p in s.parts)


def test_progress_is_told_and_cancelling_stops(quad):
    """Progress counts up to n; a cancelled campaign ends with its own error."""
    seen: list[tuple[int, int]] = []
    simulate(quad, 9, 1, chunk=4, progress=lambda done, total: seen.append((done, total)))
    assert seen == [(4, 9), (8, 9), (9, 9)]
    with pytest.raises(CampaignCancelled):
        simulate(quad, 9, 1, chunk=4, cancelled=lambda: True)


def test_builds_that_cannot_be_crashed_are_refused(quad):
    """No skin, no mass, no thickness, not finite: each a message in words."""
    zero = make_quad(thickness=0.0)
    with pytest.raises(CrashworthyError, match="thickness"):
        simulate(zero, 2)
    points = quad.points
    bare = dataclasses.replace(
        points,
        position=points.position[:0], area=points.area[:0], normal=points.normal[:0], part=points.part[:0],
        arm=points.arm[:0], station=points.station[:0],
    )  # fmt: skip
    with pytest.raises(ScenarioError, match="no shape"):
        simulate(dataclasses.replace(quad, points=bare), 2)
    wild = dataclasses.replace(points, position=points.position * np.nan)
    with pytest.raises(ScenarioError, match="not finite"):
        simulate(dataclasses.replace(quad, points=wild), 2)
    whole = quad.mass_properties
    light = MassProperties(0.17, whole.cog, whole.inertia)
    with pytest.raises(ScenarioError, match="nothing is left for the core"):
        simulate(dataclasses.replace(quad, mass_properties=light), 2)
    heavy = MassProperties(float("inf"), whole.cog, whole.inertia)
    with pytest.raises(ScenarioError, match="mass"):
        simulate(dataclasses.replace(quad, mass_properties=heavy), 2)
    odd = tuple(dataclasses.replace(a, material="cheese") for a in quad.arms)
    with pytest.raises(NotFoundError, match="cheese"):
        simulate(dataclasses.replace(quad, arms=odd), 2)


def test_numbers_that_blow_up_are_flagged_not_passed_on(quad, monkeypatch):
    """A crash that leaves the real numbers is zeroed, flagged and left out of the answers."""
    from crashworthy.impact import chunk

    honest = chunk.sample

    def broken(*arguments):
        starts = honest(*arguments)
        starts.state[10, 0] = np.nan
        return starts

    monkeypatch.setattr(chunk, "sample", broken)
    batch = simulate(quad, 6, 2)
    assert batch.flags[0] & FLAG_INVALID
    assert not (batch.flags[1:] & FLAG_INVALID).any()
    for name in set(ARRAYS) - {"part_tfirst"}:
        assert np.isfinite(getattr(batch, name)).all(), name
    assert batch.summarise().unreliable == pytest.approx(1 / 6)


def test_harder_crashes_break_more(quad):
    """Doubling every speed raises the chance to break arms and motors."""
    text = "[speed]\nmedian = {}\nlow = 2\nhigh = 60\n"
    slow, fast = (simulate(quad, 64, 3, Scenario.parse(text.format(v))).summarise() for v in (6, 14))
    chance = [{g.kind: g.breaks for g in s.groups} for s in (slow, fast)]
    for kind in ("arm", "motor", "prop"):
        assert chance[1][kind] > chance[0][kind]


def test_intervals_know_how_little_is_known(batch):
    """Stronger medians break less, and the interval spans both."""
    arms = [c for c in batch.capacities if c.part == batch.arm_parts[0]]
    weak, mid, strong = (part_chances(batch, arms, z)[batch.arm_parts[0]] for z in (-1.645, 0.0, 1.645))
    assert weak.mean() > mid.mean() > strong.mean()
    mean, low, high = interval(mid, weak, strong)
    assert low < strong.mean() < mean < weak.mean() < high


def test_chance_of_breaking_follows_load():
    """Half break at the median, none without load, all in the end."""
    chance = break_chance(np.array([0.0, 50.0, 100.0, 1e9]), 100.0, 0.3)
    assert chance[0] == 0.0
    assert chance[1] == pytest.approx(0.0104, abs=1e-3)
    assert chance[2] == pytest.approx(0.5)
    assert chance[3] == pytest.approx(1.0)


def test_wilson_interval_of_a_known_case():
    """10 of 100: 5.52 % to 17.44 % (statsmodels' proportion_confint, method wilson)."""
    assert wilson(10, 100) == pytest.approx((0.0552, 0.1744), abs=1e-4)
    assert wilson(0, 0) == (0.0, 1.0)
