"""Outside checks of run lengths (CUSUM, EWMA) against published tables, and of one more bearing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.evidence.registry import Access, Check
from crashworthy.evidence.vibration_machinery import arl, bearing_check

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["CHECKS"]


def _arl_at_rest(sides: int, table: float) -> Callable[[], tuple[float, float]]:
    """Mean run length without a shift, from the share of runs that reach 400 (they are geometric)."""

    def run() -> tuple[float, float]:
        from crashworthy.vibration.trend import cusum

        z = np.random.default_rng(21).standard_normal((8000, 400))
        quiet = (cusum(z) <= 5.0).all(axis=1)
        if sides == 2:
            quiet &= (cusum(-z) <= 5.0).all(axis=1)
        # The sums start at zero: the first few flights cannot pass, which the table's figure contains too.
        return table, float(-400.0 / np.log(quiet.mean()))

    return run


def _ewma_arl(shift: float, table: float) -> Callable[[], tuple[float, float]]:
    def run() -> tuple[float, float]:
        from crashworthy.vibration.trend import EWMA_WEIGHT, ewma

        flights = 2500 if shift == 0.0 else 500
        z = np.random.default_rng(31).standard_normal((1500 if shift == 0.0 else 4000, flights)) + shift
        k = np.arange(1, flights + 1)
        # The table's limits are the ones reached in the end; ours widen from the first flight on.
        settled = ewma(z) * np.sqrt(1.0 - (1.0 - EWMA_WEIGHT) ** (2 * k))
        over = np.abs(settled) > 2.962
        ran = np.where(over.any(axis=1), over.argmax(axis=1) + 1, flights)
        return table, float(ran.sum() / over.any(axis=1).sum())

    return run


def _ewma_false() -> tuple[float, float]:
    from crashworthy.vibration.trend import EWMA_FALSE_PER_100, EWMA_LIMIT, ewma, scores

    x = 0.12 * np.random.default_rng(18).standard_normal((6000, 100))
    return EWMA_FALSE_PER_100, float((ewma(scores(x, 0.10)).max(axis=1) > EWMA_LIMIT).mean())


_CUSUM_TABLE: Final = (
    "run lengths of the two-sided CUSUM, k ½, h 5: engineering-statistics textbook, from memory"
)
_EWMA_TABLE: Final = (
    "Lucas and Saccucci, Technometrics 32 (1990), run lengths of EWMA schemes: weight 0.2, limit 2.962; "
    "from memory"
)


def _run_length(
    name: str,
    title: str,
    source: str,
    tolerance: float,
    access: Access,
    run: Callable[[], tuple[float, float]],
) -> Check:
    return Check(
        f"vibration.trend.{name}",
        title,
        "simulated normal scores",
        "flights",
        tolerance,
        True,
        source,
        access,
        run,
    )


def _more_bearing(which: str, expected: float, access: Access) -> Check:
    return bearing_check(8, 7.9375, 33.5026, 60.0, which, expected, 2e-4, access)


CHECKS: Final[tuple[Check, ...]] = (
    _run_length("arl_0.5", "CUSUM: flights until half a standard deviation is called", _CUSUM_TABLE, 0.05,
                "recalled", arl(0.5, 38.0)),
    _run_length("arl_1.5", "CUSUM: one and a half standard deviations", _CUSUM_TABLE, 0.04, "recalled",
                arl(1.5, 5.75)),
    _run_length("arl_3", "CUSUM: three standard deviations", _CUSUM_TABLE, 0.04, "recalled", arl(3.0, 2.57)),
    _run_length("arl_two_sided", "CUSUM, both sides: flights between false alarms", _CUSUM_TABLE, 0.06,
                "recalled", _arl_at_rest(2, 465.0)),
    _run_length("arl_one_sided", "CUSUM, one side: flights between false alarms",
                "Siegmund (1985): (e^{2Δb} - 1 - 2Δb)/(2Δ²), Δ = ½, b = h + 1.166; worked by hand", 0.08,
                "derived", _arl_at_rest(1, 938.2)),
    _run_length("ewma_0", "EWMA: flights between false alarms", _EWMA_TABLE, 0.08, "recalled",
                _ewma_arl(0.0, 500.0)),
    _run_length("ewma_0.5", "EWMA: flights until half a standard deviation", _EWMA_TABLE, 0.05, "recalled",
                _ewma_arl(0.5, 41.8)),
    _run_length("ewma_1", "EWMA: one standard deviation", _EWMA_TABLE, 0.04, "recalled",
                _ewma_arl(1.0, 10.5)),
    Check("vibration.trend.ewma_false_alarms", "Steady quads whose average passes its limit in 100 packs",
          "6000 simulated quads, scatter 0.12 where 0.10 is assumed, limit 3.3", "", 0.012, False,
          "simulation with another seed", "computed", _ewma_false),
    _more_bearing("inner", 4.9477, "derived"),
    _more_bearing("outer", 3.0523, "derived"),
    _more_bearing("cage", 0.3815, "derived"),
    _more_bearing("ball", 1.9919, "derived"),
)  # fmt: skip
