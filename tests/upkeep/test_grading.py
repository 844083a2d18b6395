"""Pilots who call the same crash by other names, and the speed that severities tell."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.impact.scenario import Scenario
from crashworthy.impact.scenario_file import from_plain, to_toml
from crashworthy.upkeep.counts import PilotCounts, QuadCounts, read_counts
from crashworthy.upkeep.crew import crew
from crashworthy.upkeep.grading import PilotCount, fit_grading
from crashworthy.upkeep.speeds import ENOUGH, fitted_speed

ITEMS = ("prop", "arm", "motor", "video")


def counts(rng, factors, quads=("a", "b"), size=6.0):
    """Breaks of pilots with these factors, on quads they all fly."""
    rows = []
    for pilot, g in factors.items():
        for quad in quads:
            for item in ITEMS:
                e = size * rng.uniform(0.3, 2.0)
                rows.append(PilotCount(pilot, quad, item, int(rng.poisson(e * g)), e))
    return rows


CRASHES = {"p": (60, 30, 10), "q": (60, 30, 10), "r": (60, 30, 10)}


def test_equal_graders_stay_equal():
    """Without a difference the factors of twelve crews lie about 1, seldom far from it."""
    rng = np.random.Generator(np.random.Philox(1))
    same = {"p": 1.0, "q": 1.0, "r": 1.0}
    ln = [np.log(p.factor) for _ in range(12) for p in fit_grading(counts(rng, same), CRASHES).pilots]
    assert abs(np.mean(ln)) < 0.05
    assert np.mean(np.abs(ln)) < 0.15


def test_a_light_grader_is_found_whatever_the_model_level():
    """One calls slams hits, all breaks are half as simulated: the pilot stands out, the level does not."""
    rng = np.random.Generator(np.random.Philox(2))
    found = fit_grading(counts(rng, {"p": 0.5, "q": 0.5, "r": 1.1}, size=12.0), CRASHES)
    assert found.factor("r") > 1.25
    assert found.factor("p") < 1.0
    assert found.factor("nobody") == 1.0
    product = np.prod([p.factor for p in found.pilots])
    assert product == pytest.approx(1.0, rel=0.4)


def test_a_lone_pilot_has_nothing_to_be_held_against():
    """One pilot: factor 1, and the sentence says why."""
    found = fit_grading([PilotCount("p", "a", "prop", 9, 3.0)], {"p": (5, 3, 1)})
    assert found.factor("p") == 1.0
    assert "nothing to be held against" in found.summary()


def test_intervals_of_graders_hold_the_truth():
    """Over 60 simulated crews of three about nine in ten intervals hold the factors they were drawn with."""
    rng = np.random.Generator(np.random.Philox(4))
    inside = total = 0
    for _ in range(60):
        truth = {p: float(np.exp(rng.normal(0.0, 0.4))) for p in CRASHES}
        rows = counts(rng, truth)
        share = {p: sum(c.expected for c in rows if c.pilot == p) for p in truth}
        mean = sum(share[p] * np.log(truth[p]) for p in truth) / sum(share.values())
        for p in fit_grading(rows, CRASHES).pilots:
            inside += p.low <= truth[p.pilot] / np.exp(mean) <= p.high
            total += 1
    assert 0.82 <= inside / total <= 0.98


def test_impossible_counts_are_refused():
    """Negative or unending numbers are an error with words."""
    with pytest.raises(JournalError):
        fit_grading([PilotCount("p", "a", "prop", -1, 1.0)], {"p": (1, 0, 0)})


def quad(label, pilots):
    """A quad flown by pilots with (breaks, expected) of one item each."""
    mine = {name: PilotCounts((20, 10, 5), {"prop": row}) for name, row in pilots.items()}
    n, e = (sum(row[i] for row in pilots.values()) for i in (0, 1))
    return QuadCounts(label, 40, (20, 10, 5), {"prop": (n, e)}, {}, mine)


def test_pools_take_the_grading_out_and_say_how_much_it_moved():
    """A light grader's quad has more exposure than named; the report says by how much, and keeps both."""
    report = crew(
        [quad("x", {"p": (10, 20.0), "q": (9, 20.0)}), quad("y", {"q": (10, 20.0), "r": (40, 20.0)})]
    )
    pool = report.items[0]
    assert pool.as_named == (40.0, 40.0)
    assert pool.expected[1] > 40.0 > pool.expected[0]
    assert report.grading.moved > 1.05
    # The two quads are less different once the grading is out.
    assert pool.pooled[1] / pool.pooled[0] < pool.ungraded[1] / pool.ungraded[0]
    assert "grades" in report.grading.summary()


def test_pilots_of_another_file_are_other_people():
    """Pilot 1 of two fleets is not one person."""
    import json

    text = json.dumps([quad("x", {"pilot 1": (3, 5.0)}).to_json()])
    one, other = (read_counts(text)[0].told_by(who) for who in ("north", "south"))
    assert set(one.pilots) == {"north: pilot 1"}
    assert set(one.pilots).isdisjoint(other.pilots)


def simulated(rng, n=6000):
    """Invented crashes whose shock goes with their speed."""
    s = Scenario.default().speed
    speed = np.clip(s.median * np.exp(s.sd_ln * rng.standard_normal(n)), s.low, s.high)
    return speed, 30.0 * speed * np.exp(0.3 * rng.standard_normal(n))


@pytest.mark.parametrize("true_median", [5.0, 8.0, 12.0])
def test_severities_tell_the_speed(true_median):
    """Severities of crashes at another median speed move the estimate towards it, with the truth inside."""
    rng = np.random.Generator(np.random.Philox(7))
    speed, shock = simulated(rng)
    edges = np.quantile(shock, [1 / 3, 2 / 3])
    real = true_median / 8.0 * shock[rng.integers(0, len(shock), 200)]
    named = np.bincount(np.searchsorted(edges, real), minlength=3)
    found = fitted_speed(tuple(int(x) for x in named), speed, shock, Scenario.default())
    assert found.low < true_median < found.high
    assert abs(np.log(found.median / true_median)) <= abs(np.log(8.0 / true_median)) + 0.05


@given(st.tuples(*[st.integers(0, 60)] * 3))
@settings(max_examples=25, deadline=None)
def test_any_counts_leave_a_speed_that_can_be_drawn(named):
    """Whatever was named, the median stays in its range, between its ends; too little changes nothing."""
    rng = np.random.Generator(np.random.Philox(9))
    found = fitted_speed(named, *simulated(rng, 500), Scenario.default())
    assert 2.0 <= found.low <= found.median <= found.high <= 35.0
    assert found.fitted == (sum(named) >= ENOUGH)
    if not found.fitted:
        assert found.median == 8.0


def test_more_slams_mean_more_speed():
    """Moving crashes from scuff to slam never lowers the speed."""
    rng = np.random.Generator(np.random.Philox(3))
    speed, shock = simulated(rng, 2000)
    medians = [
        fitted_speed((40 - k, 20, k), speed, shock, Scenario.default()).median for k in (0, 10, 20, 40)
    ]
    assert medians == sorted(medians)


def test_a_scenario_comes_back_from_plain_data_and_from_its_file():
    """What a campaign keeps, and what is written to edit, are the scenario again."""
    prior = Scenario.default()
    assert from_plain(prior.to_json()) == prior
    again = Scenario.parse(to_toml(prior, "edit me"))
    assert again.digest == prior.digest
