"""Outside checks of wear: damage sums, tapping, and when early replacement pays."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Final

from crashworthy.evidence.upkeep_rows import Pair, group

__all__ = ["CHECKS"]


def _tap(f0: float, f1: float, taps: int, name: str) -> float:
    from crashworthy.upkeep.history import Clock, TapRow
    from crashworthy.upkeep.wear import stiffness

    moment = datetime(2026, 5, 1, tzinfo=UTC)
    found = stiffness([TapRow(moment, "arm", (f,) * taps, Clock()) for f in (f0, f1)], 0.01, 0.9)
    return math.nan if found is None else float(getattr(found, name))


def _age(name: str, eta: float, k: float, planned: float, failed: float) -> float:
    from crashworthy.upkeep.wear import age_replacement

    return float(getattr(age_replacement(eta, k, planned, failed), name))


def _age_by_search(eta: float, k: float, planned: float, failed: float) -> Pair:
    """The best age by minimising the cost rate itself, survival integrated by quadrature."""
    from scipy.integrate import quad
    from scipy.optimize import minimize_scalar

    def rate(t: float) -> float:
        alive = math.exp(-((t / eta) ** k))
        lived = quad(lambda u: math.exp(-((u / eta) ** k)), 0.0, t, limit=200)[0]
        return float((planned * alive + failed * (1.0 - alive)) / lived)

    best = minimize_scalar(
        rate, bounds=(0.05 * eta, 2.0 * eta), method="bounded", options={"xatol": 1e-9 * eta}
    )
    return float(best.fun), _age("rate", eta, k, planned, failed)


def _miner() -> float:
    from crashworthy.upkeep.wear import miner

    return miner((5 / 25, 12 / 25, 20 / 25), (60, 15, 3), 4.0)


def _sn(ratio: float) -> float:
    from crashworthy.upkeep.wear import sn_cycles

    return sn_cycles(ratio, 0.07)


def _repair() -> float:
    from crashworthy.upkeep.wear import minimal_repair_age

    return minimal_repair_age(1000.0, 2.5, 1.0, 5.0)


_BARLOW: Final = "Barlow and Proschan (1965) ch. 4, equation from memory; worked apart from this code"
CHECKS: Final = (
    *group(
        "60 hits of 5 J, 15 of 12 J, 3 of 20 J; capacity 25 J, exponent 4",
        "Palmgren-Miner sum worked by hand: 0.096 + 0.79626 + 1.2288",
        "derived",
        1e-4,
        ("W1.miner", "Damage added up from 78 hits", "", lambda: (2.12106, _miner())),
    ),
    *group(
        "b 0.07",
        "10^((1 - s)/b) by hand: 10^4.2857 and 10^1.42857",
        "derived",
        1e-3,
        ("W2.seven", "Hits of 70 % of its strength that break a laminate", "", lambda: (19307.0, _sn(0.7))),
        ("W2.nine", "Hits of 90 % of its strength that break a laminate", "", lambda: (26.83, _sn(0.9))),
    ),
    *group(
        "182 to 178 Hz, one tap each, 1 % scatter",
        "k/k0 = (f/f0)², error 2 k s sqrt 2, normal tail, by hand",
        "derived",
        2e-3,
        ("W3.ratio", "Stiffness left by tapping", "", lambda: (0.9565, _tap(182, 178, 1, "ratio"))),
        ("W3.error", "Its standard error, one tap", "", lambda: (0.02705, _tap(182, 178, 1, "error"))),
        ("W3.five", "Its standard error, five taps", "", lambda: (0.0121, _tap(182, 178, 5, "error"))),
        (
            "W3.below",
            "Chance that it is below nine tenths",
            "",
            lambda: (0.01835, _tap(182, 178, 1, "p_below")),
        ),
    ),
    *group(
        "Weibull life 1000, shape 2.5; planned 1, failure 5",
        _BARLOW,
        "derived",
        2e-5,
        ("V23.age", "Best age to replace", "", lambda: (493.05, _age("age", 1000, 2.5, 1, 5))),
        ("V23.rate", "Cost rate then", "", lambda: (0.00346204, _age("rate", 1000, 2.5, 1, 5))),
        (
            "V23.wait",
            "Cost rate when waiting for failures",
            "",
            lambda: (0.00563530, _age("wait", 1000, 2.5, 1, 5)),
        ),
        ("V23.repair", "Best age when failures are mended", "", lambda: (446.658, _repair())),
    ),
    *group(
        "three more lives: 400/3 at 1 and 4; 1/2 at 1 and 10; 1/2 at 1 and 5",
        _BARLOW,
        "derived",
        1e-5,
        ("V23.age3", "Best age, steep wear-out", "", lambda: (221.661, _age("age", 400, 3, 1, 4))),
        ("V23.rayleigh10", "Best age, dear failures", "", lambda: (0.336451, _age("age", 1, 2, 1, 10))),
        ("V23.rayleigh5", "Cost rate, cheaper failures", "", lambda: (4.085241, _age("rate", 1, 2, 1, 5))),
    ),
    *group(
        "Weibull life 400, shape 3; planned 1, failure 4",
        "scipy minimize_scalar of the cost rate with quad, same run",
        "computed",
        1e-7,
        ("V23.search", "Least cost rate by plain search", "", lambda: _age_by_search(400.0, 3.0, 1.0, 4.0)),
    ),
)
