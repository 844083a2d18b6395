"""Shares, means and quantiles of crashes that do not all count the same.

A crash that was kept with the chance π stands for 1/π crashes, so each has a weight, on average 1. A mean is
Σ w x / Σ w (the ratio estimator of Hájek, 1971), its standard error √(Σ w² (x − mean)²) / Σ w (linearised;
Owen, Monte Carlo theory, methods and examples, ch. 9.2). With equal weights these are the plain ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.impact.damage import wilson

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Share", "effective", "mean_error", "share", "weighted_mean", "weighted_quantiles"]


@dataclass(frozen=True, slots=True)
class Share:
    """A share of the crashes.

    Attributes:
        value: best estimate.
        low, high: 95 % score interval (Wilson) at the effective number of crashes.
        error: standard error.
        effective: plain crashes that would tell the share as well.
        counted: simulated crashes that had it.
    """

    value: float
    low: float
    high: float
    error: float
    effective: float
    counted: int

    @property
    def relative_error(self) -> float:
        """Standard error over the share; infinite when nothing was counted."""
        return self.error / self.value if self.value > 0.0 else math.inf


def effective(weight: Floats) -> float:
    """Equally weighted crashes that say as much on the whole: (Σ w)²/Σ w² (Kish, Survey Sampling, 1965)."""
    square = float(weight @ weight)
    return float(weight.sum()) ** 2 / square if square > 0.0 else 0.0


def weighted_mean(x: NDArray[Any], weight: Floats) -> float:
    """Mean of ``x``; 0 when no crash has weight."""
    total = float(weight.sum())
    return float(weight @ np.asarray(x, dtype=np.float64)) / total if total > 0.0 else 0.0


def mean_error(x: NDArray[Any], weight: Floats) -> float:
    """Standard error of ``weighted_mean``; infinite for fewer than two crashes."""
    n = len(weight)
    if n < 2:
        return math.inf
    off = weight * (np.asarray(x, dtype=np.float64) - weighted_mean(x, weight))
    return math.sqrt(float(off @ off) * n / (n - 1)) / float(weight.sum())


def share(hit: NDArray[np.bool_], weight: Floats) -> Share:
    """Share of the crashes in which something happened.

    Args:
        hit: (n,) whether it did.
        weight: (n,) of the crashes.
    """
    value = weighted_mean(hit, weight)
    error = mean_error(hit, weight)
    # A share known as well as by so many plain crashes (Korn and Graubard, Survey Methodology 24, 1998).
    known = effective(weight)
    if 0.0 < value < 1.0 and 0.0 < error < math.inf:
        known = value * (1.0 - value) / error**2
    value = min(1.0, max(0.0, value))
    low, high = wilson(value * known, known)
    return Share(value, low, high, error, known, int(hit.sum()))


def weighted_quantiles(x: NDArray[Any], weight: Floats, shares: tuple[float, ...]) -> tuple[float, ...]:
    """Values that the given shares of the crashes stay below; zeros when there is nothing to count.

    With equal weights the usual quantile; else linear between the middles of the crashes' weights.
    """
    if len(x) == 0:
        return tuple(0.0 for _ in shares)
    wide = np.asarray(x, dtype=np.float64)
    if (weight == weight[0]).all():
        return tuple(float(q) for q in np.quantile(wide, shares))
    order = np.argsort(wide, kind="stable")
    upto = np.cumsum(weight[order])
    middle = (upto - 0.5 * weight[order]) / upto[-1]
    return tuple(float(q) for q in np.interp(shares, middle, wide[order]))
