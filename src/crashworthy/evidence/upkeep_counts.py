"""Outside checks of counts, pooled rates and the kit: published examples, other libraries, enumeration."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.evidence.upkeep_rows import Pair, group

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.upkeep.packing import Candidate

    Floats = NDArray[np.float64]

__all__ = ["CHECKS"]

# --- counts --------------------------------------------------------------------------


def _rate(events: int, end: int, probability: float = 0.95, exposure: float = 1.0) -> float:
    from crashworthy.upkeep.compare import rate_interval

    return rate_interval(events, exposure, probability)[end]


def _jeffreys(events: int, end: int) -> float:
    from crashworthy.upkeep.compare import rate_interval

    return rate_interval(events, 1.0, jeffreys=True)[end]


def _gamma(events: int, end: int) -> Pair:
    from scipy.integrate import quad

    # How much of Gamma(k + 1/2) lies under our end, by quadrature of its density in the root of the rate.
    top, shape = math.sqrt(_jeffreys(events, end)), events + 0.5
    below = quad(lambda x: 2 * x ** (2 * shape - 1) * math.exp(-x * x), 0, top)[0] / math.gamma(shape)
    return (0.025, 0.975)[end], float(below)


def _share(events: int, trials: int, end: int) -> Pair:
    from scipy.stats import binomtest

    from crashworthy.upkeep.compare import share_interval

    oracle = binomtest(events, trials).proportion_ci(0.95, method="exact")
    return float((oracle.low, oracle.high)[end]), share_interval(events, trials)[end]


def _ratio(name: str, counts: tuple[int, float, int, float] = (2, 17877, 9, 16660)) -> float:
    from crashworthy.upkeep.compare import rate_ratio

    return float(getattr(rate_ratio(*counts), name))


def _p_fewer() -> Pair:
    from scipy.integrate import quad
    from scipy.stats import gamma

    from crashworthy.upkeep.compare import p_fewer

    new, old = gamma(2.5, scale=1 / 300), gamma(9.5, scale=1 / 300)
    expected = quad(lambda r: float(old.pdf(r) * new.cdf(r)), 0, 0.2, points=[0.01, 0.03], limit=200)[0]
    return float(expected), p_fewer(2, 300, 9, 300)


_LARGER: Final = (41, 28010.0, 15, 19017.0)

_COUNTS: Final = (
    *group(
        "2 events in 800 h",
        "NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1; formula read, example from memory",
        "recalled",
        5e-4,
        (
            "V13.low",
            "Mean time between events, lower 90 %",
            "h",
            lambda: (127.1, 1 / _rate(2, 1, 0.9, 800.0)),
        ),
        (
            "V13.high",
            "Mean time between events, upper 90 %",
            "h",
            lambda: (2251.2, 1 / _rate(2, 0, 0.9, 800.0)),
        ),
    ),
    *group(
        "counts of 0, 10 and 25 events",
        "Garwood, Biometrika 28:437 (1936); values read in calculators' documentation",
        "read",
        5e-3,
        ("V14.zero", "Upper 95 % of a count of 0", "", lambda: (3.689, _rate(0, 1))),
        ("V14.ten_low", "Lower 95 % of a count of 10", "", lambda: (4.80, _rate(10, 0))),
        ("V14.ten_high", "Upper 95 % of a count of 10", "", lambda: (18.39, _rate(10, 1))),
        ("V14.low25", "Lower 95 % of a count of 25", "", lambda: (16.18, _rate(25, 0))),
        ("V14.high25", "Upper 90 % of a count of 25", "", lambda: (34.92, _rate(25, 1, 0.9))),
        relative=False,
    ),
    *group(
        "counts of 0, 2 and 5 events; with 0 the lower end is the quantile too, not set to 0",
        "quantiles of Gamma(k + 1/2) by scipy.stats.gamma, kept as numbers",
        "computed",
        1e-6,
        ("V15.zero_low", "Lower 95 % of a count of 0, Jeffreys", "", lambda: (0.000491, _jeffreys(0, 0))),
        ("V15.zero", "Upper 95 % of a count of 0, Jeffreys", "", lambda: (2.511943, _jeffreys(0, 1))),
        ("V15.two_low", "Lower 95 % of a count of 2, Jeffreys", "", lambda: (0.415606, _jeffreys(2, 0))),
        ("V15.two", "Upper 95 % of a count of 2, Jeffreys", "", lambda: (6.416251, _jeffreys(2, 1))),
        ("V15.five_low", "Lower 95 % of a count of 5, Jeffreys", "", lambda: (1.907874, _jeffreys(5, 0))),
        ("V15.five", "Upper 95 % of a count of 5, Jeffreys", "", lambda: (10.960025, _jeffreys(5, 1))),
        relative=False,
    ),
    *group(
        "counts of 2 and 5 events",
        "share of Gamma(k + 1/2) under the end, by scipy.integrate.quad, same run",
        "computed",
        1e-9,
        ("V15.under_low", "Share under the lower end, count of 2", "", lambda: _gamma(2, 0)),
        ("V15.under", "Share under the upper end, count of 5", "", lambda: _gamma(5, 1)),
    ),
    *group(
        "2 broken arms in 600 crashes; 4 in 20",
        "scipy.stats.binomtest, same run",
        "computed",
        1e-6,
        ("V16.low", "Exact lower 95 % of a share, 2 in 600", "", lambda: _share(2, 600, 0)),
        ("V16.high", "Exact upper 95 % of a share, 2 in 600", "", lambda: _share(2, 600, 1)),
        ("V16.few", "Exact upper 95 % of a share, 4 in 20", "", lambda: _share(4, 20, 1)),
    ),
    *group(
        "2 in 17 877 against 9 in 16 660",
        "vignette of the R package rateratio.test (Fay 2014)",
        "read",
        1e-4,
        ("V17.ratio", "Ratio of two rates", "", lambda: (0.2070942, _ratio("ratio"))),
        ("V17.p", "Central exact p of equal rates", "", lambda: (0.05011, _ratio("p_value"))),
        ("V17.low", "Lower 95 % of the ratio", "", lambda: (0.02177406, _ratio("low"))),
        ("V17.high", "Upper 95 % of the ratio", "", lambda: (1.00054910, _ratio("high"))),
    ),
    *group(
        "41 in 28 010 against 15 in 19 017",
        "Rothman's textbook example, inputs and ratio from memory",
        "recalled",
        5e-3,
        ("V18.ratio", "Ratio of two rates, larger counts", "", lambda: (1.86, _ratio("ratio", _LARGER))),
    ),
    *group(
        "2 breaks in 300 crashes against 9 in 300, Jeffreys priors",
        "scipy.integrate.quad over the two posteriors, same run",
        "computed",
        1e-6,
        ("V19.p_fewer", "Probability that the new build breaks less", "", _p_fewer),
    ),
)


# --- pooling -------------------------------------------------------------------------

_PUMP_X = (5, 1, 5, 14, 3, 19, 1, 1, 4, 22)
_PUMP_T = (94.3, 15.7, 62.9, 126.0, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5)


def _pumps(which: str) -> float:
    """Full Bayes on a grid: alpha ~ Exp(1), beta ~ Gamma(0.1, 1)."""
    from crashworthy.upkeep.pooling import marginal_loglik

    alpha = np.linspace(0.02, 4.0, 160)[:, None]
    ln_beta = np.linspace(-6.0, 2.5, 240)[None, :]
    beta: Floats = np.exp(ln_beta)
    log_w = marginal_loglik(_PUMP_X, _PUMP_T, alpha, beta) - alpha + 0.1 * ln_beta - beta
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    values = {
        "alpha": alpha,
        "beta": beta,
        "theta10": (alpha + 22) / (beta + 10.5),
        "theta1": (alpha + 5) / (beta + 94.3),
    }
    return float(np.sum(w * values[which]))


_POOLING: Final = group(
    "10 pumps, 75 failures (Gaver and O'Muircheartaigh 1987), alpha ~ Exp(1), beta ~ Gamma(0.1, 1)",
    "the pumps example in the BUGS manual; data read, results from memory",
    "recalled",
    0.01,
    ("V20.alpha", "Shape of the crew, full Bayes", "", lambda: (0.70, _pumps("alpha"))),
    ("V20.beta", "Rate of the crew, full Bayes", "", lambda: (0.93, _pumps("beta"))),
    ("V20.theta1", "Pooled rate of pump 1", "", lambda: (0.0598, _pumps("theta1"))),
    ("V20.theta10", "Pooled rate of pump 10", "", lambda: (1.990, _pumps("theta10"))),
)


# --- the kit -------------------------------------------------------------------------


def _enough(mean: float, count: int) -> float:
    from crashworthy.upkeep.theta import poisson_pmf

    return float(poisson_pmf(np.array([mean]), count).sum())


def _needed(mean: float, enough: float) -> Pair:
    from scipy.stats import poisson

    from crashworthy.upkeep.theta import poisson_pmf

    cdf = np.cumsum(poisson_pmf(np.array([mean]), 60)[0])
    return float(poisson.ppf(enough, mean)), float(np.searchsorted(cdf, enough))


def _shortage(mean: float, count: int) -> Pair:
    from scipy.stats import poisson

    from crashworthy.upkeep.packing import expected_shortage
    from crashworthy.upkeep.theta import poisson_pmf

    d = np.arange(80)
    expected = float(np.sum(np.maximum(d - count, 0) * poisson.pmf(d, mean)))
    return expected, expected_shortage(mean, np.cumsum(poisson_pmf(np.array([mean]), 40)[0]), count)


def _small_kit() -> tuple[Candidate, ...]:
    from crashworthy.upkeep.packing import Candidate
    from crashworthy.upkeep.theta import poisson_pmf

    rows = ((1.0, 12.0, 8.0), (0.5, 30.0, 25.0), (2.0, 6.0, 3.0))
    return tuple(Candidate(np.cumsum(poisson_pmf(np.array([m]), 15)[0]), g, c) for m, g, c in rows)


def _brute(grams: float, coins: float) -> Pair:
    """Every kit of up to 15 pieces of three items, tried one by one."""
    from scipy.stats import poisson

    from crashworthy.upkeep.packing import log_chance, pack_best

    items = _small_kit()
    best = max(
        math.prod(float(poisson.cdf(n, m)) for n, m in zip(s, (1.0, 0.5, 2.0), strict=True))
        for s in itertools.product(range(9), range(5), range(16))
        if sum(n * c.grams for n, c in zip(s, items, strict=True)) <= grams
        and sum(n * c.coins for n, c in zip(s, items, strict=True)) <= coins
    )
    return best, math.exp(log_chance(items, pack_best(items, grams, coins)))


_KIT: Final = (
    *group(
        "Poisson mean 1, 4 spares",
        "a published spares calculator says about 99.6 %",
        "read",
        5e-4,
        ("V24.four", "Chance that 4 spares are enough", "", lambda: (0.996, _enough(1.0, 4))),
        relative=False,
    ),
    *group(
        "Poisson means 10 and 3",
        "scipy.stats.poisson.ppf, same run",
        "computed",
        0.0,
        ("V24.ten95", "Spares for 95 % at a mean of 10", "", lambda: _needed(10.0, 0.95)),
        ("V24.three99", "Spares for 99 % at a mean of 3", "", lambda: _needed(3.0, 0.99)),
        relative=False,
    ),
    *group(
        "Poisson means 1 and 2.5",
        "definition sum (d - s)+ p(d), scipy.stats.poisson, same run",
        "computed",
        1e-9,
        ("V25.one", "Expected shortage with 2 spares at a mean of 1", "", lambda: _shortage(1.0, 2)),
        ("V25.more", "Expected shortage with 3 spares at a mean of 2.5", "", lambda: _shortage(2.5, 3)),
    ),
    *group(
        "Poisson means 1, 0.5, 2; 12, 30, 6 g; 8, 25, 3 coins",
        "every kit enumerated, scipy.stats.poisson, same run",
        "computed",
        1e-9,
        ("V26.kit", "Best small kit within 90 g and 60 coins", "", lambda: _brute(90.0, 60.0)),
        ("V26.tight", "Best small kit within 50 g and 40 coins", "", lambda: _brute(50.0, 40.0)),
    ),
)

CHECKS: Final = (*_COUNTS, *_POOLING, *_KIT)
