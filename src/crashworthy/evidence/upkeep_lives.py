"""Outside checks of lives, intervals and break rates: published examples, closed forms, other libraries."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.evidence.upkeep_rows import Pair, group

if TYPE_CHECKING:
    from crashworthy.upkeep.theta import Theta
    from crashworthy.upkeep.weibull import WeibullFit

__all__ = ["CHECKS"]

# --- Weibull by the kernel -----------------------------------------------------------

_NIST = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
_ENDS = (6.12, 19.92, 29.64, 35.4, 39.72, 45.24, 52.32, 63.48)
_FAILED = (5, 16, 12, 18, 18, 2, 6, 17)
_STATUS_AGE = (4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46)
_STATUS_BAD = (0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21)
_STATUS_GOOD = (39, 49, 31, 66, 25, 30, 33, 7, 12, 19, 15)
_BEARINGS = (
    *(17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.4, 51.84, 51.96, 54.12, 55.56, 67.8),
    *(68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4),
)


def _right_censored() -> WeibullFit:
    from crashworthy.upkeep.weibull import fit_weibull

    return fit_weibull([*_NIST, *[500.0] * 10], [*_NIST, *[math.inf] * 10])


def _readouts(*, conditional: bool = False) -> WeibullFit:
    from crashworthy.upkeep.weibull import fit_weibull

    starts = [0.0, *_ENDS]
    rows = [*zip(starts, _ENDS, _FAILED, strict=False), (_ENDS[-1], math.inf, 73)]
    if conditional:
        # Each interval by itself: those at risk at its start either fail in it or are well at its end.
        risk = (167, 162, 146, 134, 116, 98, 96, 90)
        rows = [*zip(starts, _ENDS, _FAILED, strict=False)]
        rows += [(b, math.inf, n - m) for b, n, m in zip(_ENDS, risk, _FAILED, strict=True)]
        entry = [*starts[:-1], *starts[:-1]]
        return fit_weibull([r[0] for r in rows], [r[1] for r in rows], entry, [r[2] for r in rows])
    return fit_weibull([r[0] for r in rows], [r[1] for r in rows], count=[r[2] for r in rows])


def _status() -> WeibullFit:
    from crashworthy.upkeep.weibull import fit_weibull

    n = len(_STATUS_AGE)
    return fit_weibull(
        [*[0.0] * n, *_STATUS_AGE], [*_STATUS_AGE, *[math.inf] * n], count=[*_STATUS_BAD, *_STATUS_GOOD]
    )


def _status_scipy() -> tuple[float, float]:
    from scipy.stats import CensoredData, weibull_min

    left = [float(t) for t, m in zip(_STATUS_AGE, _STATUS_BAD, strict=True) for _ in range(m)]
    right = [float(t) for t, m in zip(_STATUS_AGE, _STATUS_GOOD, strict=True) for _ in range(m)]
    k, _, eta = weibull_min.fit(CensoredData(left=left, right=right), 2.0, scale=40.0, floc=0)
    return float(k), float(eta)


def _bearings() -> WeibullFit:
    from crashworthy.upkeep.weibull import fit_weibull

    return fit_weibull(_BEARINGS, _BEARINGS)


def _truncated_loglik() -> Pair:
    from scipy.stats import weibull_min

    from crashworthy.upkeep.weibull import loglik

    low, high, entry = (np.array(x, float) for x in ([5, 8, 3, 15], [8, 12, 6, math.inf], [4, 4, 0, 10]))
    life = weibull_min(1.3, scale=7.0)
    expected = float(np.sum(np.log(life.sf(low) - life.sf(high)) - life.logsf(entry)))
    return expected, loglik(low, high, entry, np.ones(4), 7.0, 1.3)


_V1: Final = "10 failures at 54...386 h, 10 still well at 500 h"
_V1_SOURCE: Final = "NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3"
_V2: Final = "167 parts read out at 8 ages 6.12...63.48: 5, 16, 12, 18, 18, 2, 6, 17 cracked, 73 well"
_V2_SOURCE: Final = "Nelson, Applied Life Data Analysis (1982), p. 415; data read, estimates from memory"
_V3: Final = "432 parts seen once at 4...46 (100 h): cracked or not"
_V3_SOURCE: Final = "data: Nelson (1982), p. 409; fit: scipy.stats.CensoredData, same run"
_V5_SOURCE: Final = "Lieblein and Zelen (1956), n = 23; published fit from memory"

_WEIBULL: Final = (
    *group(
        _V1,
        _V1_SOURCE,
        "read",
        5e-4,
        ("V1.k", "Weibull shape, right-censored", "", lambda: (1.7208, _right_censored().k)),
        ("V1.eta", "Characteristic life, right-censored", "h", lambda: (606.5280, _right_censored().eta)),
        ("V1.loglik", "Log likelihood at the maximum", "", lambda: (-75.135, _right_censored().loglik)),
        ("V1.mean", "Mean life", "h", lambda: (540.737, _right_censored().mean)),
        ("V1.sd", "Standard deviation of life", "h", lambda: (323.806, _right_censored().sd)),
    ),
    *group(
        _V2,
        _V2_SOURCE,
        "recalled",
        1e-4,
        ("V2.k", "Weibull shape, interval-censored", "", lambda: (1.4854, _readouts().k)),
        ("V2.eta", "Characteristic life, interval-censored", "month", lambda: (71.690, _readouts().eta)),
        (
            "V2.conditional",
            "The same shape from each interval alone, entered late",
            "",
            lambda: (1.4854, _readouts(conditional=True).k),
        ),
    ),
    *group(
        _V3,
        _V3_SOURCE,
        "computed",
        1e-4,
        ("V3.k", "Weibull shape, each part seen once", "", lambda: (_status_scipy()[0], _status().k)),
        (
            "V3.eta",
            "Characteristic life, each part seen once",
            "100 h",
            lambda: (_status_scipy()[1], _status().eta),
        ),
    ),
    *group(
        "4 lives in (5,8], (8,12], (3,6], beyond 15, entered at 4, 4, 0, 10; eta 7, k 1.3",
        "scipy.stats.weibull_min survival function, same run",
        "computed",
        1e-12,
        ("V4.loglik", "Log likelihood, late entry and intervals", "", _truncated_loglik),
    ),
    *group(
        "23 ball bearings, 17.88...173.4 million turns",
        _V5_SOURCE,
        "recalled",
        5e-4,
        ("V5.k", "Weibull shape, complete lives", "", lambda: (2.102, _bearings().k)),
        ("V5.eta", "Characteristic life, complete lives", "Mrev", lambda: (81.88, _bearings().eta)),
    ),
)


# --- the interval --------------------------------------------------------------------


def _optimum_closed(eta: float) -> Pair:
    """K = 1: 1 - (1 + x)·exp(-x) = c/(n·h·eta), x = tau/eta."""
    from scipy.optimize import brentq

    from crashworthy.upkeep.loosening import weibull_optimum

    x = brentq(lambda x: 1 - (1 + x) * math.exp(-x) - 0.5 / eta, 1e-9, 50.0, xtol=1e-14)
    return eta * float(x), weibull_optimum(eta, 1.0, 2.0, 4.0)


def _optimum_gamma(k: float) -> Pair:
    """Any k, with ∫F by the incomplete gamma function."""
    from scipy.optimize import brentq
    from scipy.special import gamma, gammainc

    from crashworthy.upkeep.loosening import weibull_optimum

    def excess(t: float) -> float:
        z = (t / 60.0) ** k
        loose = t - 60.0 * gamma(1 + 1 / k) * gammainc(1 / k, z)
        return float(-t * math.expm1(-z) - loose - 0.5)

    return float(brentq(excess, 1e-6, 200.0, xtol=1e-13)), weibull_optimum(60.0, k, 2.0, 4.0)


def _calibrated(upkeep: str) -> Pair:
    """P(a check finds something) at the practice interval, by Gauss-Hermite quadrature over the prior."""
    from crashworthy.upkeep.loosening import calibrate
    from crashworthy.upkeep.priors import load_priors

    prior = load_priors().group(upkeep)
    z, w = np.polynomial.hermite_e.hermegauss(48)
    w = w / w.sum()
    eta = calibrate(prior).eta_median * np.exp(prior.sd_ln_eta * z)[:, None]
    k = prior.k_median * np.exp(prior.sd_ln_k * z)[None, :]
    found = w @ -np.expm1(-prior.screws * (prior.target_tau / eta) ** k) @ w
    return prior.p_any, float(found)


_OPTIMUM: Final = "check 2 min, loose screws 4 min a pack"
_INTERVAL: Final = (
    *group(
        f"eta 40 and 100 packs, k 1; {_OPTIMUM}",
        "closed condition 1-(1+x)exp(-x) = c/(n h eta), solved by scipy brentq",
        "derived",
        1e-6,
        ("I1.eta40", "Best interval, constant hazard, eta 40", "pack", lambda: _optimum_closed(40.0)),
        ("I1.eta100", "Best interval, constant hazard, eta 100", "pack", lambda: _optimum_closed(100.0)),
        relative=False,
    ),
    *group(
        f"eta 60 packs; {_OPTIMUM}",
        "tau F - integral of F = c/(n h) by the incomplete gamma function, scipy",
        "derived",
        1e-6,
        ("I2.k14", "Best interval, rising hazard, k 1.4", "pack", lambda: _optimum_gamma(1.4)),
        ("I2.k2", "Best interval, steeply rising hazard, k 2", "pack", lambda: _optimum_gamma(2.0)),
        relative=False,
    ),
    *group(
        "priors.toml, at the interval of common practice",
        "Gauss-Hermite quadrature of the stated prior (numpy)",
        "computed",
        1e-3,
        ("I3.arm", "Share of arm screw checks that find something", "", lambda: _calibrated("arm")),
        ("I3.motor", "Share of motor screw checks that find something", "", lambda: _calibrated("motor")),
        ("I3.other", "Share of other screw checks that find something", "", lambda: _calibrated("other")),
        relative=False,
    ),
)


# --- break rates ---------------------------------------------------------------------


def _arms() -> Theta:
    from crashworthy.upkeep.theta import gamma_theta

    return gamma_theta(2.0, 2.0, 600 * 0.012)


def _arms_quantile(end: int) -> Pair:
    from scipy.stats import gamma

    return float(gamma.ppf((0.05, 0.95)[end], 4, scale=1 / 9.2)), _arms().interval(0.9)[end]


def _arms_trip(breaks: int) -> Pair:
    from scipy.stats import nbinom

    hazards, crashes = np.full((1, 3), 0.012), np.array([40.0, 0.0, 0.0])
    got = float(_arms().demand(hazards, crashes, 10)[: breaks + 1].sum())
    return float(nbinom.cdf(breaks, 4, 9.2 / (9.2 + 0.48))), got


def _props_mean() -> Pair:
    """A frequent part: posterior mean by adaptive quadrature against the grid."""
    from scipy.integrate import quad

    from crashworthy.upkeep.theta import grid_theta

    e, seen, units = np.array([[0.03, 0.4, 1.2]]), np.array([[1.0, 14.0, 9.0]]), np.array([50.0, 30.0, 10.0])

    def density(t: float) -> float:
        p = -np.expm1(-t * e[0])
        log_l = np.sum(seen[0] * np.log(p) - (units - seen[0]) * t * e[0])
        return float(np.exp(log_l + 55.0)) * t * math.exp(-2.0 * t)

    total = quad(density, 0, 20, points=[1.0, 2.0, 3.0], limit=200)[0]
    mean = quad(lambda t: t * density(t), 0, 20, points=[1.0, 2.0, 3.0], limit=200)[0] / total
    return float(mean), grid_theta(2.0, seen, units, e, 0.0).mean


def _kernel_many() -> Pair:
    """Ten crashes at p = 0.2: the hazard, not p, adds up."""
    from crashworthy.upkeep.kernel import log_seen

    return 1 - 0.8**10, float(np.exp(log_seen(10 * -math.log1p(-0.2))))


_ARMS: Final = "simulated 0.012 breaks a crash, 600 crashes, 2 arms broken, simulation worth 2 breaks"
_BREAKS: Final = (
    *group(
        _ARMS,
        "conjugate Gamma: (2 + 2)/(2 + 7.2)",
        "derived",
        1e-12,
        ("B1.mean", "Observed over simulated breaks, posterior mean", "", lambda: (4 / 9.2, _arms().mean)),
    ),
    *group(
        _ARMS,
        "scipy.stats.gamma, same run",
        "computed",
        1e-9,
        ("B1.low", "Observed over simulated breaks, 5 % quantile", "", lambda: _arms_quantile(0)),
        ("B1.high", "Observed over simulated breaks, 95 % quantile", "", lambda: _arms_quantile(1)),
    ),
    *group(
        _ARMS,
        "scipy.stats.nbinom, same run",
        "computed",
        1e-9,
        ("B2.within0", "Chance of no broken arm in the next 40 crashes", "", lambda: _arms_trip(0)),
        ("B2.within1", "Chance of at most 1 broken arm in the next 40 crashes", "", lambda: _arms_trip(1)),
        ("B2.within2", "Chance of at most 2 broken arms in the next 40 crashes", "", lambda: _arms_trip(2)),
    ),
    *group(
        "hazards 0.03, 0.4, 1.2; 1 of 50, 14 of 30, 9 of 10 broke",
        "scipy.integrate.quad of kernel times Gamma(2, 2), same run",
        "computed",
        1e-6,
        ("B3.props", "Posterior mean of a part that breaks often", "", _props_mean),
    ),
    *group(
        "p = 0.2 in each of ten crashes",
        "1 - 0.8^10",
        "derived",
        1e-12,
        ("B4.kernel", "Chance of at least one break in ten crashes", "", _kernel_many),
    ),
)

CHECKS: Final = (*_WEIBULL, *_INTERVAL, *_BREAKS)
