"""Weibull maximum likelihood from any mix of exact, interval, right-censored and late-entered lives.

The posterior in ``loosening`` and this fit use one kernel, so what the fit agrees with (published examples,
independent libraries) vouches for the kernel. Not used on the way to the due list.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.kernel import cumulative_hazard, hazard_step, step_loglik

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["WeibullFit", "fit_weibull", "loglik"]


@dataclass(frozen=True, slots=True)
class WeibullFit:
    """Maximum likelihood estimate.

    Attributes:
        eta: characteristic life, unit of the input.
        k: shape.
        loglik: log likelihood at the maximum.
    """

    eta: float
    k: float
    loglik: float

    @property
    def mean(self) -> float:
        """Mean life eta·Γ(1 + 1/k)."""
        return self.eta * math.gamma(1.0 + 1.0 / self.k)

    @property
    def sd(self) -> float:
        """Standard deviation of life."""
        return self.eta * math.sqrt(math.gamma(1.0 + 2.0 / self.k) - math.gamma(1.0 + 1.0 / self.k) ** 2)

    @property
    def aic(self) -> float:
        """Akaike's criterion with two parameters."""
        return 4.0 - 2.0 * self.loglik


def loglik(low: Floats, high: Floats, entry: Floats, count: Floats, eta: float, k: float) -> float:
    """Log likelihood of lives known to lie in (low, high], each seen only because it outlived ``entry``.

    Args:
        low: (n,) each life was longer than this.
        high: (n,) and not longer than this; equal to ``low`` when exact, inf when still well at ``low``.
        entry: (n,) age at which it came under observation.
        count: (n,) how many such lives.
        eta: characteristic life.
        k: shape.
    """
    x = math.log(eta)
    before = hazard_step(entry, low, x, k)
    exact = low == high
    open_end = np.isinf(high)
    between = ~exact & ~open_end
    step = hazard_step(low, np.where(between, high, low), x, k)
    total = -float(count @ before) + float(np.sum(step_loglik(count[between], count[between], step[between])))
    if exact.any():
        lives = low[exact]
        density = np.log(k / lives) + np.log(cumulative_hazard(lives, x, k))
        total += float(count[exact] @ density)
    return total


def fit_weibull(
    low: ArrayLike, high: ArrayLike, entry: ArrayLike | None = None, count: ArrayLike | None = None
) -> WeibullFit:
    """Fit a Weibull distribution by maximum likelihood.

    Args:
        low: (n,) lower bound of each life.
        high: (n,) upper bound; equal to ``low`` when exact, inf when still well.
        entry: (n,) age at entry, 0 when None.
        count: (n,) how many such lives, 1 when None.

    Raises:
        JournalError: bounds are unordered, nothing ever failed, or every finite bound is 0.
    """
    from scipy.optimize import minimize

    a, b = (np.asarray(x, dtype=np.float64) for x in (low, high))
    e = np.zeros_like(a) if entry is None else np.asarray(entry, dtype=np.float64)
    n = np.ones_like(a) if count is None else np.asarray(count, dtype=np.float64)
    if not (len(a) and np.all((e >= 0) & (e <= a) & (a <= b) & (n >= 0))):
        raise JournalError(Problem("lives need 0 <= entry <= low <= high", "correct the rows"))
    if np.any((a == b) & (a == 0)) or not np.any(np.isfinite(b) & (n > 0)):
        raise JournalError(Problem("no life of more than 0 ended", "wait for findings"))
    ends = np.where(np.isfinite(b), (a + b) / 2.0, a)
    scale = float(np.average(ends, weights=n)) or 1.0

    def loss(p: Floats) -> float:
        if abs(p[0]) > 30 or abs(p[1]) > 6:
            return 1e300
        with np.errstate(over="ignore"):
            value = -loglik(a / scale, b / scale, e / scale, n, math.exp(p[0]), math.exp(p[1]))
        return value if math.isfinite(value) else 1e300

    start = np.zeros(2)
    for _ in range(2):  # the second start shakes the simplex out of a flat corner
        found = minimize(
            loss, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
        )
        start = found.x
    shift = float(n[a == b].sum()) * math.log(scale)
    return WeibullFit(scale * math.exp(start[0]), math.exp(start[1]), -float(found.fun) - shift)
