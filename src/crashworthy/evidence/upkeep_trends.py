"""Outside checks of growth, pooling of estimates and shares, life tables, age replacement, and event ids."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from crashworthy.evidence.upkeep_rows import Pair, group

__all__ = ["CHECKS"]

# --- growth --------------------------------------------------------------------------

_V7: Final = (2.7, 10.3, 12.5, 30.6, 57.0, 61.3, 80.0, 109.5, 125.0, 128.6, 143.8, 167.9, 229.2, 296.7, 320.6,
              328.2, 366.2, 396.7, 421.1, 438.2, 501.2, 620.0)  # fmt: skip
_V8: Final = (
    (1.2, 55.6, 72.7, 111.9, 121.9, 303.6, 326.9, 1568.4, 1913.5),
    (1.4, 35.0, 46.8, 65.9, 181.1, 712.6, 1005.7, 1029.9, 1675.7, 1787.5, 1867.0),
    (0.3, 32.6, 33.4, 241.7, 396.2, 444.4, 480.8, 588.9, 1043.9, 1136.1, 1288.1, 1408.1, 1439.4, 1604.8),
)
_V9: Final = (5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0)
_V11: Final = (2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1,
               132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1)  # fmt: skip


def _fit(name: str, *systems: tuple[float, ...], end: float | None = None) -> float:
    from crashworthy.upkeep.growth import fit_power_law

    return float(getattr(fit_power_law(*systems, end=end), name))


def _grouped(name: str) -> float:
    from crashworthy.upkeep.growth import fit_grouped

    return float(getattr(fit_grouped((20, 40, 60, 80, 100), (13, 16, 5, 8, 7)), name))


def _mtbf(end: int) -> float:
    from crashworthy.upkeep.growth import growth_mtbf

    return growth_mtbf(_V9, 1500.0)[end]


def _trend(which: str) -> float:
    from crashworthy.upkeep import growth

    if which == "reverse":
        return float(growth.reverse_arrangements(_V9))
    if which == "laplace":
        return growth.laplace(_V9, 1500.0)
    return growth.mil_hdbk_test(_V9, 1500.0)[int(which == "p")]


def _cvm() -> float:
    from crashworthy.upkeep.growth import cramer_von_mises, fit_power_law

    return cramer_von_mises(fit_power_law(_V11, end=300.0), _V11)


_RELIAWIKI: Final = "ReliaWiki, Crow-AMSAA parameter estimation example"
_HDBK: Final = "MIL-HDBK-189 (1981) app. C, as a validation file citing it prints them"
_GROWTH: Final = (
    *group(
        "22 failure times to 620 h, ended by the last",
        _RELIAWIKI,
        "read",
        3e-4,
        ("V7.beta", "Power-law process, shape", "", lambda: (0.6142, _fit("beta", _V7))),
        ("V7.lambda", "Power-law process, scale", "", lambda: (0.4239, _fit("lam", _V7))),
    ),
    *group(
        "three systems, 0 to 2000 h, 34 failures",
        "weibull.com reliability growth web, table 13.1; data read, estimates from memory",
        "recalled",
        1e-4,
        (
            "V8.beta",
            "Power-law process of three systems, shape",
            "",
            lambda: (0.45300, _fit("beta", *_V8, end=2000.0)),
        ),
        (
            "V8.lambda",
            "Power-law process of three systems, scale",
            "",
            lambda: (0.36224, _fit("lam", *_V8, end=2000.0)),
        ),
    ),
    *group(
        "10 failures in 1500 h, growth test",
        "NIST/SEMATECH e-Handbook 8.4.5.2; formulas read, numbers read in a copy of its listing",
        "read",
        1e-5,
        (
            "V9.beta",
            "One less the growth slope",
            "",
            lambda: (0.483506, _fit("beta_unbiased", _V9, end=1500.0)),
        ),
        ("V9.mtbf", "Time between failures at the end", "h", lambda: (310.234, _mtbf(0))),
        ("V9.low", "Its lower end, 80 % interval", "h", lambda: (157.7138, _mtbf(1))),
        ("V9.high", "Its upper end, 80 % interval", "h", lambda: (548.5566, _mtbf(2))),
    ),
    *group(
        "the same ten failures",
        "NIST/SEMATECH e-Handbook 8.2.3.4; example values from memory",
        "recalled",
        1e-4,
        ("V10.reverse", "Reverse arrangements", "", lambda: (33.0, _trend("reverse"))),
        ("V10.chi2", "Military handbook test, chi-squared on 20", "", lambda: (37.228, _trend("chi2"))),
        ("V10.laplace", "Laplace's test", "", lambda: (-1.32695, _trend("laplace"))),
    ),
    *group(
        "the same ten failures",
        "NIST/SEMATECH e-Handbook 8.2.3.4; example value from memory, printed to 4 places",
        "recalled",
        5e-5,
        ("V10.p", "Military handbook test, chance of no trend", "", lambda: (0.0110, _trend("p"))),
        relative=False,
    ),
    *group(
        "27 failures in 300 h",
        _HDBK,
        "read",
        1e-3,
        ("V11.beta", "Handbook example, shape", "", lambda: (0.716, _fit("beta", _V11, end=300.0))),
        (
            "V11.unbiased",
            "Handbook example, shape without bias",
            "",
            lambda: (0.690, _fit("beta_unbiased", _V11, end=300.0)),
        ),
        ("V11.lambda", "Handbook example, scale", "", lambda: (0.454, _fit("lam", _V11, end=300.0))),
        (
            "V11.intensity",
            "Handbook example, intensity at the end",
            "1/h",
            lambda: (0.0645, _fit("intensity", _V11, end=300.0)),
        ),
        (
            "V11.mtbf",
            "Handbook example, time between failures",
            "h",
            lambda: (15.5, _fit("between", _V11, end=300.0)),
        ),
        ("V11.cvm", "Handbook example, Cramer-von Mises", "", lambda: (0.091, _cvm())),
    ),
    *group(
        "13, 16, 5, 8, 7 failures in five spans of 20 h",
        "the same validation file, grouped example",
        "read",
        1e-5,
        ("V12.beta", "Grouped counts, shape", "", lambda: (0.752851, _grouped("beta"))),
        ("V12.lambda", "Grouped counts, scale", "", lambda: (1.529306, _grouped("lam"))),
        (
            "V12.intensity",
            "Grouped counts, intensity at the end",
            "1/h",
            lambda: (0.368897, _grouped("intensity")),
        ),
        ("V12.mtbf", "Grouped counts, time between failures", "h", lambda: (2.71078, _grouped("between"))),
    ),
)


# --- pooling of shares and estimates ---------------------------------------------------

# Tumours in control groups of rats: (count, group size), 70 rows.
_RATS: Final = (
    *[(0, 20)] * 7, *[(0, 19)] * 4, *[(0, 18)] * 2, (0, 17), *[(1, 20)] * 4, *[(1, 19)] * 2, *[(1, 18)] * 2,
    (2, 25), (2, 24), (2, 23), *[(2, 20)] * 6, (1, 10), (5, 49), (2, 19), (5, 46), (3, 27), (2, 17), (7, 49),
    (7, 47), (3, 20), (3, 20), (2, 13), (9, 48), (10, 50), *[(4, 20)] * 7, (10, 48), *[(4, 19)] * 3, (5, 22),
    (11, 46), (12, 49), *[(5, 20)] * 2, (6, 23), (5, 19), (6, 22), *[(6, 20)] * 3, (16, 52), (15, 47),
    (15, 46), (9, 24),
)  # fmt: skip


def _rats(which: str) -> float:
    from crashworthy.upkeep.effects import beta_by_likelihood, beta_by_moments

    y, n = zip(*_RATS, strict=True)
    a, b = beta_by_likelihood(y, n) if which.startswith("mle") else beta_by_moments(y, n)
    return {"a": a, "b": b, "new": (a + 4) / (a + b + 14), "mle_a": a, "mle_b": b}[which]


_SCHOOLS: Final = (
    (28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0),
    (15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0),
)


def _schools(name: str) -> float:
    from crashworthy.upkeep.effects import common_effect

    return float(getattr(common_effect(*_SCHOOLS), name))


def _pooled_school() -> Pair:
    """Posterior mean of the first school by plain Monte Carlo over the same priors."""
    from crashworthy.upkeep.effects import pool_effects

    y, s = (np.array(v) for v in _SCHOOLS)
    rng = np.random.Generator(np.random.Philox(22))
    n = 400_000
    tau, mu = np.abs(rng.normal(0.0, 10.0, n)), rng.normal(0.0, 20.0, n)
    v = s**2 + tau[:, None] ** 2
    log_w = -0.5 * (np.log(v) + (y - mu[:, None]) ** 2 / v).sum(axis=1)
    w = np.exp(log_w - log_w.max())
    own = tau**2 / v[:, 0]
    expected = float(np.sum(w * (own * y[0] + (1 - own) * mu)) / w.sum())
    return expected, float(pool_effects(y, s, tau_sd=10.0, mean_sd=20.0).mean[0])


_TARONE: Final = "Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.1 (data of Tarone)"
_POOLING: Final = (
    *group(
        "70 groups of rats, 263 tumours in 1725",
        f"{_TARONE}; data read, results from memory as printed to one place",
        "recalled",
        0.05,
        ("V21.a", "Shares of groups, Beta a by moments", "", lambda: (1.4, _rats("a"))),
        ("V21.b", "Shares of groups, Beta b by moments", "", lambda: (8.6, _rats("b"))),
        relative=False,
    ),
    *group(
        "the same, a new group with 4 of 14",
        f"{_TARONE}; result from memory",
        "recalled",
        1e-3,
        ("V21.new", "Share of a new group informed by the others", "", lambda: (0.223, _rats("new"))),
        relative=False,
    ),
    *group(
        "eight schools",
        "Bayesian Data Analysis, 3rd ed., section 5.5; 7.7 and 4.1 from memory as printed to one place",
        "recalled",
        0.05,
        ("V22.mean", "Common effect of eight estimates", "", lambda: (7.7, _schools("mean"))),
        ("V22.error", "Its standard error", "", lambda: (4.1, _schools("error"))),
        relative=False,
    ),
    *group(
        "eight schools, spread half-normal(10), mean normal(0, 20)",
        "400 000 weighted draws from the same priors (numpy), same run",
        "computed",
        0.01,
        ("V22.pooled", "First estimate informed by the others", "", _pooled_school),
    ),
)


# --- life tables, age replacement, ids -------------------------------------------------


def _tubes(interval: int, name: str) -> float:
    from crashworthy.upkeep.lifetable import life_table

    return float(getattr(life_table(100, (1.0, 2.0, 3.0), (1, 2, 2)), name)[interval])


def _id_prefix() -> Pair:
    from crashworthy.upkeep.events import uuid7

    made = uuid7(0x017F22E279B0, 0xCC3 << 62 | 0x18C4DC0C0C07398F)
    published = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
    return 36.0, float(sum(a == b for a, b in zip(str(made), published, strict=True)))


_OTHERS: Final = (
    *group(
        "100 tubes; 1, 2 and 2 crack in the first three years",
        "Meeker and Escobar (1998) ch. 3, heat exchanger plant 1; read in lecture notes",
        "read",
        1e-9,
        ("V27.first", "Share cracked after a year", "", lambda: (0.01, _tubes(0, "failed"))),
        ("V27.third", "Share cracked after three years", "", lambda: (0.05, _tubes(2, "failed"))),
        relative=False,
    ),
    *group(
        "the same tubes, nobody lost sight of",
        "binomial error sqrt(F(1 - F)/n), which Greenwood's equals then",
        "derived",
        1e-9,
        (
            "V27.error",
            "Standard error of the share after three years",
            "",
            lambda: (math.sqrt(0.05 * 0.95 / 100), _tubes(2, "error")),
        ),
    ),
    *group(
        "2022-02-22 19:22:22 UTC",
        "RFC 9562 A.6, read in a copy of its example",
        "read",
        0.0,
        ("V28.id", "Characters of the example id that are the same", "", _id_prefix),
        relative=False,
    ),
)

CHECKS: Final = (*_GROWTH, *_POOLING, *_OTHERS)
