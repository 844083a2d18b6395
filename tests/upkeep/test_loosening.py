from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.upkeep.history import CheckRow
from crashworthy.upkeep.interval import cost_curve, interval
from crashworthy.upkeep.loosening import (
    Posterior,
    calibrate,
    fit,
    prior_posterior,
    time_loose,
    update,
    weibull_optimum,
)
from crashworthy.upkeep.priors import CLASSES, load_priors

PRIORS = load_priors()
ARM = PRIORS.group("arm")


@st.composite
def checks(draw: st.DrawFn) -> CheckRow:
    """One scheduled check of up to 8 screws."""
    low = draw(st.floats(0.0, 10.0))
    looked = draw(st.integers(1, 8))
    return CheckRow(low, low + draw(st.floats(0.5, 15.0)), looked, draw(st.integers(0, looked)))


@pytest.mark.parametrize(
    ("eta", "k", "tau"), [(40, 1, 6.684230), (100, 1, 10.349455), (60, 1.4, 10.452362), (60, 2, 14.078455)]
)
def test_optimum_golden(eta: float, k: float, tau: float) -> None:
    """The interval optimum for a known Weibull equals independently computed values to 1e-6."""
    assert weibull_optimum(eta, k, 2.0, 4.0) == pytest.approx(tau, abs=1e-6)


@given(st.floats(5.0, 500.0), st.floats(0.6, 3.0), st.floats(0.05, 3.0))
@settings(max_examples=40, deadline=None)
def test_optimum_is_where_the_cost_is_least(eta: float, k: float, ratio: float) -> None:
    """No interval a little shorter or longer costs less than the optimum."""
    tau = weibull_optimum(eta, k, ratio, 1.0)
    if math.isinf(tau):
        return

    def cost(t: float) -> float:
        return float((ratio + time_loose(t, math.log(eta), k)[0]) / t)

    assert cost(tau) <= cost(0.97 * tau) + 1e-12
    assert cost(tau) <= cost(1.03 * tau) + 1e-12


def test_never_looking_is_best_when_looking_costs_more_than_a_life() -> None:
    """When a check costs more than a whole life flown loose, the answer is never."""
    assert weibull_optimum(10.0, 1.0, 11.0, 1.0) == math.inf


def test_time_loose_against_incomplete_gamma() -> None:
    """The time flown loose equals its closed form by the incomplete gamma function, to 1e-8."""
    from scipy.special import gamma, gammainc

    for eta, k, tau in ((50.0, 0.55, 4.0), (50.0, 1.4, 10.0), (8.0, 2.5, 20.0), (3.0, 3.5, 12.0)):
        exact = tau - eta * gamma(1 + 1 / k) * gammainc(1 / k, (tau / eta) ** k)
        assert time_loose(tau, math.log(eta), k)[0] == pytest.approx(exact, rel=1e-6, abs=1e-8)


def test_priors_say_what_common_practice_says() -> None:
    """Before any check the flat zones are 3-5 whole packs for arm, 5-8 for motor, 12-20 for the others."""
    found = {}
    for upkeep in CLASSES:
        prior = PRIORS.group(upkeep)
        span = interval(prior_posterior(prior), int(prior.screws))
        found[upkeep] = (math.ceil(span.low - 0.05), math.floor(span.high))
        assert prior.target_tau == pytest.approx(span.tau, abs=1e-6)
    assert found == {"arm": (3, 5), "motor": (5, 8), "other": (12, 20)}


def test_interval_does_not_depend_on_the_number_of_screws_before_checks() -> None:
    """A small group is looked at as often as a large one: checking costs time by the screw."""
    other = prior_posterior(PRIORS.group("other"))
    taus = [interval(other, n).tau for n in (1, 4, 8, 20)]
    np.testing.assert_allclose(taus, 15.0, rtol=1e-9)


@pytest.mark.parametrize("upkeep", CLASSES)
def test_calibration_by_another_road(upkeep: str) -> None:
    """Quadrature by scipy over the stated prior gives back p_any and the optimality condition."""
    from scipy.integrate import quad
    from scipy.special import gamma, gammainc

    prior = PRIORS.group(upkeep)
    found = calibrate(prior)
    tau = prior.target_tau
    z, w = np.polynomial.hermite_e.hermegauss(60)
    w = w / w.sum()

    def mean(f) -> float:  # type: ignore[no-untyped-def] # a local integrand
        def inner(y: float) -> float:
            k = prior.k_median * math.exp(prior.sd_ln_k * y)
            eta = found.eta_median * np.exp(prior.sd_ln_eta * z)
            return float(w @ f(eta, k)) * math.exp(-y * y / 2) / math.sqrt(2 * math.pi)

        return quad(inner, -6, 6, epsabs=1e-10)[0]

    any_loose = mean(lambda eta, k: -np.expm1(-prior.screws * (tau / eta) ** k))
    assert any_loose == pytest.approx(prior.p_any, abs=2e-4)
    F = mean(lambda eta, k: -np.expm1(-((tau / eta) ** k)))
    loose = mean(lambda eta, k: tau - eta * gamma(1 + 1 / k) * gammainc(1 / k, (tau / eta) ** k))
    ratio = prior.check_minutes / (prior.screws * found.loose_minutes)
    assert tau * F - loose == pytest.approx(ratio, rel=2e-3)


def test_no_checks_leave_the_prior() -> None:
    """Without data, and with checks that do not inform, the posterior is the prior."""
    start = prior_posterior(ARM)
    rattled = CheckRow(0.0, 4.0, 8, 3, reason="suspicion")
    nobody = CheckRow(0.0, 4.0, 0, 0)
    for after in (fit(ARM, ()), fit(ARM, (rattled, nobody)), update(start, rattled)):
        np.testing.assert_array_equal(after.weights, start.weights)
        assert after.checks == 0


@given(checks())
@settings(max_examples=60, deadline=None)
def test_first_tight_check_never_shortens_life(row: CheckRow) -> None:
    """A first check that finds nothing loose never lowers the mean characteristic life."""
    start = prior_posterior(ARM)
    tight = CheckRow(row.age_from, row.age_to, row.looked, 0)
    assert update(start, tight).mean_eta >= start.mean_eta * (1 - 1e-12)


@given(st.lists(checks(), max_size=6), checks())
@settings(max_examples=60, deadline=None)
def test_tight_check_never_shortens_life_at_any_shape(rows: list[CheckRow], row: CheckRow) -> None:
    """Whatever came before, at each Weibull shape a tight check never lowers the mean characteristic life."""

    def means(p: Posterior) -> np.ndarray:
        w = p.weights
        total = w.sum(axis=0)
        return np.where(total > 1e-200, (np.exp(p.ln_eta) @ w) / np.where(total > 1e-200, total, 1), 0)

    before = prior_posterior(ARM)
    for r in rows:
        before = update(before, r)
    after = update(before, CheckRow(row.age_from, row.age_to, row.looked, 0))
    old, new = means(before), means(after)
    seen = (old > 0) & (new > 0)
    assert (new[seen] >= old[seen] * (1 - 1e-9)).all()


@given(st.floats(0.2, 5.0), st.floats(1.05, 4.0))
@settings(max_examples=30, deadline=None)
def test_costlier_looseness_shortens_the_interval(h: float, factor: float) -> None:
    """The dearer a loose screw, the shorter the best interval."""
    assert weibull_optimum(60.0, 1.4, 2.0, h * factor) < weibull_optimum(60.0, 1.4, 2.0, h)


@given(
    st.permutations([CheckRow(0, 4, 8, 1), CheckRow(0, 6, 8, 0), CheckRow(2, 5, 7, 2), CheckRow(0, 3, 8, 0)])
)
@settings(max_examples=20, deadline=None)
def test_order_of_checks_does_not_matter(rows: list[CheckRow]) -> None:
    """The posterior does not depend on the order of checks, and batch equals one by one on whole bins."""
    after = prior_posterior(ARM)
    for row in rows:
        after = update(after, row)
    np.testing.assert_allclose(after.weights, fit(ARM, rows).weights, rtol=1e-9, atol=1e-15)


def test_grid_is_fine_enough_after_a_thousand_checks() -> None:
    """After 1000 checks drawn from a known truth, the truth is inside the central 99 %."""
    rng = np.random.default_rng(3)
    eta, k = 40.0, 1.3
    rows = []
    for _ in range(1000):
        age = rng.uniform(2.0, 6.0)
        rows.append(CheckRow(0.0, age, 8, int((rng.weibull(k, 8) * eta <= age).sum())))
    after = fit(ARM, rows)
    low, _, high = after.eta_interval(0.99)
    assert low < eta < high
    exact = prior_posterior(ARM)
    for row in rows:
        exact = update(exact, row)
    assert interval(after, 8).tau == pytest.approx(interval(exact, 8).tau, rel=0.01)
    best = weibull_optimum(eta, k, ARM.check_minutes, 8 * calibrate(ARM).loose_minutes)
    assert interval(after, 8).tau == pytest.approx(best, rel=0.1)


def test_a_screw_loose_at_once_does_not_break_the_posterior() -> None:
    """A loose screw found straight after a check counts as loosened within a quarter pack."""
    after = update(prior_posterior(ARM), CheckRow(4.0, 4.0, 8, 2))
    assert np.isfinite(after.weights).all()
    assert after.weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert after.mean_eta < prior_posterior(ARM).mean_eta


@pytest.mark.parametrize("row", [CheckRow(0, 4, 3, 4), CheckRow(5, 4, 3, 0), CheckRow(0, math.inf, 3, 0)])
def test_impossible_checks_are_refused(row: CheckRow) -> None:
    """A check that cannot have happened is refused with words, never absorbed."""
    with pytest.raises(JournalError, match="correct the check"):
        fit(ARM, (row,))


def test_predictive_limits() -> None:
    """F rises from 0, and the chance of any loose screw is above that of one."""
    start = prior_posterior(ARM)
    assert start.p_loose(0.0) == 0.0
    values = [start.p_loose(t) for t in (1.0, 4.0, 20.0, 200.0)]
    assert values == sorted(values)
    assert start.p_any(4.0, 8) == pytest.approx(0.25, abs=1e-9)
    assert start.p_any(4.0, 1) == pytest.approx(start.p_loose(4.0), rel=1e-12)


def test_cost_curve_has_its_floor_at_the_interval() -> None:
    """The curve drawn for the pilot is lowest where the advice says."""
    start = prior_posterior(ARM)
    taus, cost = cost_curve(start, 8)
    assert taus[cost.argmin()] == pytest.approx(4.0, rel=0.03)
    span = interval(start, 8)
    assert np.interp(span.high, taus, cost) == pytest.approx(1.05 * span.cost, rel=1e-3)
