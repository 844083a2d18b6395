"""Is it tougher, does it grow tougher, and what a crew knows."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.upkeep.counts import QuadCounts, read_counts
from crashworthy.upkeep.crew import crew
from crashworthy.upkeep.effects import beta_by_likelihood, common_effect, pool_effects
from crashworthy.upkeep.growth import fit_grouped, fit_power_law, growth, laplace
from crashworthy.upkeep.history import CrashRow, QuadHistory
from crashworthy.upkeep.lifetable import life_table
from crashworthy.upkeep.tougher import (
    Side,
    before_after,
    compare_builds,
    crashes_needed,
    severity_weights,
    side_of,
)

START = datetime(2026, 5, 1, tzinfo=UTC)


def crashes(*rows):
    """Crash rows a day apart from (severity, broken parts...)."""
    return tuple(CrashRow(START + timedelta(days=i), r[0], "", r[1:]) for i, r in enumerate(rows))


def test_a_clear_difference_is_said_in_words():
    """Two breaks in 300 crashes against nine: the sentence holds odds, ratio and both counts."""
    answer = compare_builds("arms", Side("the old one", 300, 9, 300.0), Side("the new one", 300, 2, 300.0))
    assert answer.verdict == "tougher"
    assert answer.summary().startswith("99 in 100 that the new one breaks fewer arms: 0.24 times as often")
    assert answer.probability == pytest.approx(0.985137, abs=1e-6)
    assert answer.ratio[0] == pytest.approx(0.2374, abs=1e-4)
    json.dumps(answer.to_json(), allow_nan=False)


def test_too_few_crashes_cannot_tell():
    """One break against two is no answer, and the number of crashes that would be one is told."""
    answer = compare_builds("arms", Side("old", 40, 2, 40.0), Side("new", 40, 1, 40.0))
    assert answer.verdict == "cannot tell yet"
    assert "Cannot tell yet" in answer.summary()
    assert answer.needed is not None
    assert f"about {answer.needed - 40} more" in answer.change()


@given(st.integers(0, 40), st.integers(0, 40), st.integers(1, 500), st.integers(1, 500))
@settings(max_examples=40, deadline=None)
def test_swapping_the_builds_turns_the_answer_round(a, b, m, n):
    """P(new < old) + P(old < new) = 1, and the ratio inverts."""
    one = compare_builds("x", Side("o", m, a, float(m)), Side("n", n, b, float(n)))
    two = compare_builds("x", Side("n", n, b, float(n)), Side("o", m, a, float(m)))
    assert one.probability + two.probability == pytest.approx(1.0, abs=1e-9)
    assert one.ratio[0] * two.ratio[0] == pytest.approx(1.0, rel=1e-6)
    assert one.ratio[1] <= one.ratio[0] <= one.ratio[2]


@pytest.mark.parametrize(
    ("rate", "ratio", "expected"),
    [(0.03, 0.5, 900), (0.03, 1 / 3, 450), (0.1, 0.5, 300), (0.0067, 0.5, 3950)],
)
def test_crashes_that_would_tell(rate, ratio, expected):
    """Crashes a build for nine chances in ten with 80 % power, as a separate calculation gave them."""
    assert crashes_needed(rate, ratio) == expected


def test_the_crashes_asked_for_are_enough_in_simulation():
    """Drawn with the very rates, the answer is clear in about the promised 80 of 100 trials."""
    n = crashes_needed(0.1, 0.5)
    rng = np.random.Generator(np.random.Philox(3))
    from crashworthy.upkeep.compare import p_fewer

    clear = [
        p_fewer(a, n, b, n) >= 0.9
        for a, b in zip(rng.poisson(n * 0.05, 600), rng.poisson(n * 0.1, 600), strict=True)
    ]
    assert 0.76 <= np.mean(clear) <= 0.9


def test_many_scuffs_do_not_look_like_toughness():
    """Weighed by severity, 30 harmless scuffs add next to nothing to the record."""
    weights = severity_weights({"arm": (0.0, 0.05, 0.5)}, ("arm",), np.array([0.6, 0.3, 0.1]))
    slams = crashes(*[("slam", "arm")] * 3)
    scuffs = crashes(*[("slam", "arm")] * 3, *[("scuff",)] * 30)
    few, many = (side_of("x", rows, ("arm",), weights).exposure for rows in (slams, scuffs))
    assert many == pytest.approx(few, rel=0.05)
    assert side_of("x", scuffs, ("arm",)).exposure == 33.0
    assert severity_weights({}, ("arm",), np.ones(3)) is None


def test_before_and_after_cut_at_the_moment():
    """A crash at the very moment belongs to the new build."""
    history = QuadHistory("q", 3, 3.0, crashes(("hit",), ("hit",), ("slam",)))
    before, after = before_after(history, START + timedelta(days=1))
    assert (len(before), len(after)) == (1, 2)
    with pytest.raises(JournalError, match="no crash"):
        compare_builds("x", side_of("o", (), ("arm",)), side_of("n", after, ("arm",)))


@given(st.lists(st.floats(0.01, 99.0), min_size=3, max_size=40), st.floats(0.1, 1000))
@settings(max_examples=50, deadline=None)
def test_a_power_law_does_not_mind_the_unit(times, unit):
    """Another unit of time leaves the shape as it is, and the expected count at the end."""
    one = fit_power_law(times, end=100.0)
    two = fit_power_law([t * unit for t in times], end=100.0 * unit)
    assert two.beta == pytest.approx(one.beta, rel=1e-9)
    assert two.expected(100.0 * unit) == pytest.approx(len(times), rel=1e-9)
    assert laplace([t * unit for t in times], 100.0 * unit) == pytest.approx(laplace(times, 100.0), abs=1e-9)


def test_fine_groups_agree_with_exact_times():
    """Grouped counts in 2000 cells give the shape of the exact times."""
    rng = np.random.Generator(np.random.Philox(5))
    times = np.sort(100.0 * rng.random(300) ** (1 / 0.7))
    edges = np.linspace(0, 100, 2001)
    counts, _ = np.histogram(times, edges)
    assert fit_grouped(edges[1:].tolist(), counts.tolist()).beta == pytest.approx(
        fit_power_law(times.tolist(), end=100.0).beta, rel=2e-2
    )


def test_growth_needs_enough_breaks_and_names_its_direction():
    """Seven breaks give no trend; early ones give growth, late ones its opposite."""
    assert growth([1, 2, 3, 4, 5, 6, 7], 100).fit is None
    better = growth([1, 1, 2, 3, 5, 8, 13, 25, 60], 200)
    worse = growth([200 - x for x in (1, 1, 2, 3, 5, 8, 13, 25, 60)], 200)
    assert "rarer" in better.summary()
    assert "more frequent" in worse.summary()
    json.dumps(better.to_json(), allow_nan=False)


def test_interval_of_a_constant_rate_covers_it():
    """Simulated without trend, the 80 % interval of the time between breaks holds the truth as often."""
    from crashworthy.upkeep.growth import growth_mtbf

    rng = np.random.Generator(np.random.Philox(7))
    inside = 0
    for _ in range(400):
        times = np.sort(rng.random(rng.poisson(25)) * 500.0)
        if len(times) > 2:
            _, low, high = growth_mtbf(times.tolist(), 500.0)
            inside += low <= 20.0 <= high
    assert 0.74 <= inside / 400 <= 0.88


def test_impossible_times_are_refused():
    """Times at 0, after the end, or too few get a message."""
    for times, end in (([0.0, 1.0], 2.0), ([1.0, 3.0], 2.0), ([1.0], 2.0)):
        with pytest.raises(JournalError):
            fit_power_law(times, end=end)


@given(st.lists(st.floats(-2, 2), min_size=2, max_size=8), st.floats(0.05, 2))
@settings(max_examples=40, deadline=None)
def test_pooling_pulls_inwards(values, error):
    """Every pooled estimate lies between its own and the crew's; they come closer together."""
    pool = pool_effects(values, [error] * len(values))
    y = np.array(values)
    low, high = np.minimum(y, min(y.min(), 0.0)), np.maximum(y, max(y.max(), 0.0))
    assert np.all((pool.mean >= low - 1e-9) & (pool.mean <= high + 1e-9))
    assert np.ptp(pool.mean) <= np.ptp(y) + 1e-9


def test_one_common_effect_is_the_weighted_mean():
    """Equal estimates have no spread between them."""
    found = common_effect([1.0, 1.0, 1.0], [0.5, 1.0, 2.0])
    assert found.mean == pytest.approx(1.0)
    assert found.q == pytest.approx(0.0, abs=1e-12)
    assert found.tau2 == 0.0


def test_shares_that_do_not_vary_are_refused():
    """A Beta needs shares that differ."""
    with pytest.raises(JournalError):
        beta_by_likelihood([2, 2, 2], [10, 10, 10])


def test_a_life_table_counts_those_who_leave():
    """Units that leave count half in their interval; nobody can leave twice."""
    table = life_table(10, [1, 2], [1, 1], [2, 0])
    assert table.failed[0] == pytest.approx(1 / 9)
    assert table.at_risk == (10, 7)
    with pytest.raises(JournalError):
        life_table(3, [1], [2], [2])


def quad(label, breaks, expected, screws=()):
    """Counts of one quad."""
    return QuadCounts(label, 100, (50, 30, 10), {"arm": (breaks, expected)}, dict(screws))


def test_a_crew_informs_each_of_its_quads():
    """Pooled rates lie between own and crew; a newcomer gets the crew's, less sure."""
    report = crew([quad("a", 9, 5.0), quad("b", 1, 5.0), quad("c", 0, 0.0)])
    pool = report.items[0]
    assert pool.raw[:2] == (1.8, 0.2)
    assert pool.raw[2] is None
    assert 0.2 < pool.pooled[1] < pool.pooled[0] < 1.8
    assert pool.newcomer[2] - pool.newcomer[1] > pool.high[0] - pool.low[0] - 1.0
    assert report.crashes == 270
    json.dumps(report.to_json(), allow_nan=False)


def test_what_leaves_home_is_counts_alone_and_comes_back_the_same():
    """An export reads back as it was written, and holds no other fields."""
    given_ = quad("a", 9, 5.0, {"arm": (0.2, 0.3, 12)}.items())
    text = json.dumps([given_.to_json()])
    assert read_counts(text) == (given_,)
    assert set(json.loads(text)[0]) == {"format", "label", "packs", "crashes", "items", "screws", "pilots"}


@pytest.mark.parametrize(
    "text",
    ["", "[]x", "{}", '{"format":"other"}', "[[]]", json.dumps(quad("a", 1, 1.0).to_json() | {"packs": -1})],
)
def test_files_that_are_no_counts_are_refused(text):
    """Each gets a message that names the file."""
    with pytest.raises(JournalError, match=r"x\.json"):
        read_counts(text, "x.json")
