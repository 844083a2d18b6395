from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.upkeep.breakage import break_rates, crash_rate, severity_mix
from crashworthy.upkeep.history import SEVERITIES, CrashRow, QuadHistory
from crashworthy.upkeep.pooling import pool_counts
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.theta import gamma_theta, grid_theta, negative_binomial_pmf

PRIORS = load_priors()
START = datetime(2026, 4, 1, tzinfo=UTC)


def crashes(rows: list[tuple[str, tuple[str, ...]]]) -> QuadHistory:
    """A history of crashes with what broke in each."""
    breaks: dict[str, int] = {}
    for _, broke in rows:
        for name in broke:
            breaks[name] = breaks.get(name, 0) + 1
    made = tuple(CrashRow(START + timedelta(hours=i), s, "", b) for i, (s, b) in enumerate(rows))
    return QuadHistory("q", len(rows), float(len(rows)), made, breaks=breaks)


def test_without_crashes_the_simulation_speaks() -> None:
    """Before any crash each item breaks as simulated, and the interval is the prior's."""
    (row,) = break_rates(QuadHistory("q"), {"arm": (0.0, 0.01, 0.05)}, PRIORS)
    assert row.ratio == pytest.approx(1.0, rel=1e-12)
    assert row.low < 0.3 < 1.9 < row.high
    assert row.breaks == row.crashes == 0
    mix = severity_mix(QuadHistory("q"), PRIORS.breakage)
    np.testing.assert_allclose(mix, [0.6, 0.3, 0.1], rtol=1e-12)
    assert row.per_crash == pytest.approx(0.6 * 1e-4 + 0.3 * 0.01 + 0.1 * 0.05, rel=1e-9)


def test_two_arms_in_six_hundred_crashes() -> None:
    """Two broken arms where 7.2 were simulated: a tough frame, 0.43 times as often, 0.15 to 0.84."""
    history = crashes([("hit", ("arm_fl",))] * 2 + [("hit", ())] * 598)
    (row,) = break_rates(history, {"arm_fl": (0.0, 0.012, 0.1)}, PRIORS)
    assert row.ratio == pytest.approx(0.434783, abs=1e-6)
    assert (row.low, row.high) == pytest.approx((0.148513, 0.842789), abs=1e-6)
    assert row.breaks == 2
    assert row.expected == pytest.approx(600 * -math.expm1(-0.012), rel=1e-12)
    assert "2 broken in 600 crashes" in row.summary()
    json.dumps(row.to_json())


def test_interchangeable_parts_share_what_they_know() -> None:
    """Four arms as one item add their exposure and their breaks."""
    history = crashes([("hit", ("arm_fl",)), ("hit", ("arm_rr", "arm_rl")), *[("hit", ())] * 98])
    hazards = {f"arm_{c}": (0.0, 0.01, 0.1) for c in ("fl", "fr", "rl", "rr")}
    (row,) = break_rates(history, hazards, PRIORS, {"arm": tuple(hazards)})
    assert row.breaks == 3
    assert row.ratio == pytest.approx((2 + 3) / (2 + 400 * 0.01), rel=1e-12)


def test_breaks_without_a_crash_count_once() -> None:
    """A break found on the bench counts, and one that a crash names is not counted twice."""
    history = crashes([("hit", ("arm_fl",)), *[("hit", ())] * 9])
    bench = QuadHistory("q", 10, 10.0, history.crashes, breaks={"arm_fl": 2})
    (row,) = break_rates(bench, {"arm_fl": (0.0, 0.01, 0.1)}, PRIORS)
    assert row.breaks == 2


@given(st.permutations([("hit", ("p",)), ("scuff", ()), ("slam", ("p",)), ("hit", ()), ("scuff", ("p",))]))
@settings(max_examples=30, deadline=None)
def test_order_of_crashes_does_not_matter(rows: list[tuple[str, tuple[str, ...]]]) -> None:
    """Gamma and exact posterior alike depend on what happened, not on when."""
    for hazard in ((0.001, 0.01, 0.05), (0.05, 0.4, 1.0)):
        (row,) = break_rates(crashes(rows), {"p": hazard}, PRIORS)
        (base,) = break_rates(crashes(sorted(rows)), {"p": hazard}, PRIORS)
        assert row.ratio == pytest.approx(base.ratio, rel=1e-12)
        assert (row.low, row.high) == pytest.approx((base.low, base.high), rel=1e-12)


def test_exact_and_gamma_agree_on_rare_parts() -> None:
    """Where breaks are rare the exact posterior and the Gamma are the same to a few thousandths."""
    units = np.array([600.0, 0.0, 0.0])
    e = np.full((1, 3), 0.012)
    exact = grid_theta(2.0, np.array([[2.0, 0, 0]]), units, e, 0.0)
    rare = gamma_theta(2.0, 2.0, 7.2)
    assert exact.mean == pytest.approx(rare.mean, rel=3e-3)
    np.testing.assert_allclose(exact.interval(), rare.interval(), rtol=3e-3)


def test_frequent_parts_use_the_exact_posterior() -> None:
    """A prop that breaks in every slam as simulated is not called tougher than simulated for it."""
    rows = [("slam", ("prop_fl",))] * 60
    (row,) = break_rates(crashes(rows), {"prop_fl": (0.05, 0.5, 4.0)}, PRIORS)
    assert row.theta.exact
    assert row.low < 1.0 < row.high
    # The rare formula would say 60 broken of 240 expected.
    assert (2 + 60) / (2 + 240) < 0.3


@pytest.mark.parametrize(("e", "truth"), [(0.02, 0.5), (0.3, 1.7), (1.0, 1.0)])
def test_interval_covers(e: float, truth: float) -> None:
    """The 90 % interval holds the truth in about nine of ten simulated seasons."""
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(200):
        broke = rng.random(300) < -np.expm1(-truth * e)
        seen = np.array([[0.0, float(broke.sum()), 0.0]])
        low, high = grid_theta(2.0, seen, np.array([0.0, 300.0, 0.0]), np.array([[e, e, e]]), 0.0).interval()
        inside += low <= truth <= high
    assert 0.84 <= inside / 200 <= 0.97


@example(1.0, 1.0, 2.2e-309)  # the smallest numbers there are
@given(st.floats(0.5, 50.0), st.floats(0.5, 50.0), st.floats(0.0, 30.0))
@settings(max_examples=50, deadline=None)
def test_demand_is_a_distribution_with_its_mean(a: float, b: float, exposure: float) -> None:
    """The counts to come sum to one and have the mean that theta and exposure give."""
    top = 4000
    pmf = negative_binomial_pmf(a, b, exposure, top)
    mean = a / b * exposure
    if mean < 200:
        assert pmf.sum() == pytest.approx(1.0, abs=1e-6)
        assert pmf @ np.arange(top + 1) == pytest.approx(mean, rel=1e-3, abs=1e-9)


def test_crash_rate_moves_with_the_journal() -> None:
    """The crash rate starts at the assumed one and ends at the pilot's own."""
    shape, rate = crash_rate(QuadHistory("q"), PRIORS.breakage)
    assert shape / rate == pytest.approx(1.0, rel=1e-12)
    calm = QuadHistory("q", 200, 200.0, tuple(CrashRow(START, "scuff") for _ in range(20)))
    shape, rate = crash_rate(calm, PRIORS.breakage)
    assert shape / rate == pytest.approx(0.1, rel=0.1)


@pytest.mark.parametrize("bad", [(0.1, 0.2), (0.1, -0.2, 0.3), (0.1, math.nan, 0.3)])
def test_impossible_hazards_are_refused(bad: tuple[float, ...]) -> None:
    """A hazard that is not three numbers of 0 or more is refused with the part's name."""
    with pytest.raises(JournalError, match="arm_fl"):
        break_rates(QuadHistory("q"), {"arm_fl": bad}, PRIORS)


def test_a_break_the_simulation_never_saw_is_survivable() -> None:
    """A part with a simulated hazard of 0 that broke anyway gets a finite rate above the simulated one."""
    history = crashes([(s, ("lens",)) for s in SEVERITIES])
    (row,) = break_rates(history, {"lens": (0.0, 0.0, 0.0)}, PRIORS)
    assert math.isfinite(row.ratio)
    assert row.ratio > 2.0


# --- crew ------------------------------------------------------------------------------------------------


def test_pooling_pulls_towards_the_crew() -> None:
    """Each pooled rate lies between its raw rate and the crew's mean, less far off the less was seen."""
    counts, exposures = [18, 13, 3, 6, 3, 1, 5, 3], [10.0, 9.5, 7.0, 6.0, 5.0, 6.0, 5.0, 4.0]
    pooled = pool_counts(counts, exposures)
    for raw, mean in zip(pooled.raw, pooled.mean, strict=True):
        assert min(raw, pooled.crew_mean) <= mean <= max(raw, pooled.crew_mean)
    assert np.ptp(pooled.mean) < np.ptp(pooled.raw)
    assert (pooled.low < pooled.mean).all()
    assert (pooled.mean < pooled.high).all()
    mean, low, high = pooled.newcomer
    assert low < mean < high
    assert pooled.theta.mean == pytest.approx(mean, rel=5e-3)
    json.dumps(pooled.to_json())


def test_a_quad_that_has_not_flown_gets_the_crews_experience() -> None:
    """A quad of the crew without exposure has the newcomer's rate."""
    pooled = pool_counts([5, 9, 0], [5.0, 8.0, 0.0])
    assert pooled.mean[2] == pytest.approx(pooled.newcomer[0], rel=1e-9)
    assert math.isnan(pooled.raw[2])


def test_pooling_against_finer_quadrature() -> None:
    """The 40 x 40 hyper-grid gives the pooled means of a grid four times as fine, within half a percent."""
    from crashworthy.upkeep.pooling import marginal_loglik

    x, t = [18, 3, 1, 7], [10.0, 5.0, 6.0, 7.0]
    z = np.linspace(-5, 5, 200)
    mean, alpha = np.exp(z)[:, None], (3.0 * np.exp(z))[None, :]
    beta = alpha / mean
    log_w = marginal_loglik(x, t, alpha, beta) - 0.5 * (z[:, None] ** 2 + z[None, :] ** 2)
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    fine = [float(np.sum(w * (alpha + xi) / (beta + ti))) for xi, ti in zip(x, t, strict=True)]
    np.testing.assert_allclose(pool_counts(x, t).mean, fine, rtol=5e-3)


@pytest.mark.parametrize(
    ("x", "t"), [([1], [1.0, 2.0]), ([1], [0.0]), ([-1], [1.0]), ([], []), ([1], [math.nan])]
)
def test_impossible_counts_are_refused(x: list[float], t: list[float]) -> None:
    """Counts that do not fit their exposures are refused with words."""
    with pytest.raises(JournalError):
        pool_counts(x, t)
