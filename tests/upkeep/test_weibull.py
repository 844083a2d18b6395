from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.upkeep.weibull import fit_weibull


def lifelines_fit(
    low: list[float], high: list[float], entry: list[float] | None = None
) -> tuple[float, float]:
    """Scale and shape by lifelines, an independent library."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own imports warn about newer versions
        from lifelines import WeibullFitter

        fitter = WeibullFitter().fit_interval_censoring(low, high, entry=entry)
    return float(fitter.lambda_), float(fitter.rho_)


def test_agrees_with_lifelines_on_intervals() -> None:
    """Interval-censored checks of screws give the estimates of an independent library within 1e-4."""
    rng = np.random.default_rng(11)
    life = rng.weibull(1.4, 120) * 40.0
    low = np.floor(life / 4.0) * 4.0
    high = np.where(low < 60.0, low + 4.0, np.inf)
    low = np.minimum(low, 60.0)
    ours = fit_weibull(low, high)
    eta, k = lifelines_fit(low.tolist(), high.tolist())
    assert ours.eta == pytest.approx(eta, rel=1e-4)
    assert ours.k == pytest.approx(k, rel=1e-4)


def test_agrees_with_lifelines_on_late_entry() -> None:
    """Lives that came under observation late give the estimates of an independent library within 1e-4."""
    low, high, entry = [5.0, 8, 3, 15], [8.0, 12, 6, math.inf], [4.0, 4, 0, 10]
    ours = fit_weibull(low, high, entry)
    eta, k = lifelines_fit(low, high, entry)
    assert ours.eta == pytest.approx(eta, rel=1e-4)
    assert ours.k == pytest.approx(k, rel=1e-4)
    assert ours.loglik == pytest.approx(-4.698442, abs=1e-5)


def test_agrees_with_scipy_and_surpyval_on_readouts() -> None:
    """Nelson's 167 parts read out at eight ages: two more libraries give the same within 1e-4."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own imports warn about newer versions
        import surpyval
        from scipy.stats import CensoredData, weibull_min

        ends = [6.12, 19.92, 29.64, 35.4, 39.72, 45.24, 52.32, 63.48]
        failed = [5, 16, 12, 18, 18, 2, 6, 17]
        low, high = [0.0, *ends], [*ends, math.inf]
        count = [*failed, 73]
        ours = fit_weibull(low, high, count=count)
        rows = [[a, b if math.isfinite(b) else a] for a, b in zip(low, high, strict=True)]
        eta, k = surpyval.Weibull.fit(x=rows, c=[2] * 8 + [1], n=count).params
        lives = [pair for pair, n in zip(zip(low, high, strict=True), count, strict=True) for _ in range(n)]
        shape, _, scale = weibull_min.fit(CensoredData.interval_censored(*zip(*lives, strict=True)), floc=0)
    for other_eta, other_k in ((eta, k), (scale, shape)):
        assert ours.eta == pytest.approx(other_eta, rel=1e-4)
        assert ours.k == pytest.approx(other_k, rel=1e-4)


def test_waltons() -> None:
    """A data set of lives that comes with a library gives its published fit."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines.datasets import load_waltons

        data = load_waltons()
    high = np.where(data["E"] == 1, data["T"], np.inf)
    ours = fit_weibull(data["T"], high)
    assert ours.eta == pytest.approx(55.73310, rel=1e-5)
    assert ours.k == pytest.approx(3.450505, rel=1e-5)
    assert ours.loglik == pytest.approx(-672.0622, rel=1e-6)


@given(st.floats(0.01, 1000.0), st.lists(st.floats(0.5, 50.0), min_size=4, max_size=12, unique=True))
@settings(max_examples=25, deadline=None)
def test_unit_of_age_scales_out(unit: float, ages: list[float]) -> None:
    """Measuring age in another unit scales eta and leaves the shape alone."""
    low = np.array(ages)
    high = low * 1.3
    here, there = fit_weibull(low, high), fit_weibull(unit * low, unit * high)
    assert there.eta == pytest.approx(unit * here.eta, rel=1e-5)
    assert there.k == pytest.approx(here.k, rel=1e-5)


def test_counts_are_repeats() -> None:
    """A life counted three times weighs as three equal lives."""
    one = fit_weibull([1, 4, 9, 9, 9], [2, 6, 12, 12, 12])
    counted = fit_weibull([1, 4, 9], [2, 6, 12], count=[1, 1, 3])
    assert counted.k == pytest.approx(one.k, rel=1e-6)
    assert counted.loglik == pytest.approx(one.loglik, rel=1e-9)


@pytest.mark.parametrize(
    ("low", "high", "entry"),
    [
        ([], [], None),
        ([3.0], [2.0], None),
        ([3.0], [math.inf], None),
        ([3.0], [4.0], [3.5]),
        ([0.0], [0.0], None),
    ],
)
def test_hopeless_rows_are_refused(low: list[float], high: list[float], entry: list[float] | None) -> None:
    """Rows from which nothing can be estimated are refused with words."""
    with pytest.raises(JournalError):
        fit_weibull(low, high, entry)


def test_diabetes() -> None:
    """A data set of 731 intervals that comes with a library gives that library's fit."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines.datasets import load_diabetes

        data = load_diabetes()
    ours = fit_weibull(data["left"], data["right"])
    assert ours.eta == pytest.approx(18.85649, rel=1e-4)
    assert ours.k == pytest.approx(2.823493, rel=1e-4)
    assert ours.loglik == pytest.approx(-2028.5661, rel=1e-5)
