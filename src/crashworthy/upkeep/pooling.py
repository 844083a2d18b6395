"""Pooling: what quads of a crew know together, and how far each is pulled towards the others.

Counts x_i over exposures t_i: x_i ~ Poisson(theta_i·t_i), theta_i ~ Gamma(alpha, beta). The posterior of
(ln mean, ln alpha) is kept whole on a grid, so there is no collapse to equal quads and no false certainty
(Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, ch. 5; from memory). A newcomer gets the mixture itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.theta import Theta

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["Pooled", "marginal_loglik", "pool_counts"]

_NODES: Final = 40
# assumption: crews differ from the simulation by about e, quads of a crew by a Gamma shape around 3
_MEAN_SD: Final = 1.0
_SHAPE_MEDIAN: Final = 3.0
_SHAPE_SD: Final = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """Rates of several quads, each informed by the others.

    Attributes:
        raw: (n,) x/t, nan where t is 0.
        mean: (n,) posterior means.
        low, high: (n,) central 90 % intervals.
        newcomer: (mean, low, high) for a quad of the crew that has not flown.
        crew_mean: posterior mean of the crew's mean rate.
        theta: posterior of the newcomer, ready for ``breakage``-like predictions.
    """

    raw: Floats
    mean: Floats
    low: Floats
    high: Floats
    newcomer: tuple[float, float, float]
    crew_mean: float
    theta: Theta

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        rows = {name: getattr(self, name).tolist() for name in ("mean", "low", "high")}
        raw = [None if math.isnan(r) else r for r in self.raw.tolist()]
        return {"raw": raw, **rows, "newcomer": list(self.newcomer), "crew_mean": self.crew_mean}


def _mixture_quantile(p: float, weights: Floats, shape: Floats, rate: Floats) -> float:
    """Quantile of a mixture of Gammas: Brent's method in the logarithm."""
    from scipy.optimize import brentq
    from scipy.special import gammainc

    def excess(x: float) -> float:
        return float(weights @ gammainc(shape, rate * math.exp(x))) - p

    return math.exp(float(brentq(excess, -40.0, 20.0, xtol=1e-10)))


def marginal_loglik(counts: ArrayLike, exposures: ArrayLike, alpha: Floats, beta: Floats) -> Floats:
    """Log likelihood of the crew's Gamma(alpha, beta) with every quad's own rate integrated out.

    Args:
        counts: (n,) events.
        exposures: (n,) what was at risk.
        alpha: shape, any shape of array.
        beta: rate, broadcasting with ``alpha``.

    Returns:
        One value per pair, without the factors that do not depend on them.
    """
    from scipy.special import gammaln

    total = np.zeros(np.broadcast_shapes(np.shape(alpha), np.shape(beta)))
    for x, t in zip(np.asarray(counts, dtype=float), np.asarray(exposures, dtype=float), strict=True):
        total = total + gammaln(alpha + x) - gammaln(alpha)
        total = total + alpha * np.log(beta) - (alpha + x) * np.log(beta + t)
    return np.asarray(total, dtype=np.float64)


def pool_counts(counts: ArrayLike, exposures: ArrayLike) -> Pooled:
    """Partial pooling of counts.

    Args:
        counts: (n,) events, breaks say.
        exposures: (n,) what was at risk, expected breaks say; 0 for a quad that has not flown.

    Raises:
        JournalError: lengths differ, or a number is negative or not finite.
    """
    from scipy.special import gammaln

    x, t = (np.asarray(v, dtype=np.float64).ravel() for v in (counts, exposures))
    good = x.shape == t.shape and len(x) and np.all(np.isfinite([x, t])) and np.all((x >= 0) & (t >= 0))
    if not good or np.any((t == 0) & (x > 0)):
        raise JournalError(
            Problem("counts and exposures do not fit together", "give one exposure per count, none negative")
        )
    z = np.linspace(-4.0, 4.0, _NODES)
    mean = np.exp(_MEAN_SD * z)[:, None]
    alpha = (_SHAPE_MEDIAN * np.exp(_SHAPE_SD * z))[None, :]
    beta = alpha / mean
    log_w = -0.5 * (z[:, None] ** 2 + z[None, :] ** 2)
    for xi, ti in zip(x, t, strict=True):
        log_w = (
            log_w
            + gammaln(alpha + xi)
            - gammaln(alpha)
            + alpha * np.log(beta)
            - (alpha + xi) * np.log(beta + ti)
        )
    w = np.exp(log_w - log_w.max())
    w = (w / w.sum()).ravel()
    a = np.broadcast_to(alpha, beta.shape).ravel()
    b = beta.ravel()
    # Nodes that hold all but 1e-6 of the weight: the ends of the intervals do not move in four digits.
    order = np.argsort(w)[::-1]
    keep = order[: int(np.searchsorted(np.cumsum(w[order]), 1.0 - 1e-6)) + 1]
    w, a, b = w[keep] / w[keep].sum(), a[keep], b[keep]
    means = np.array([float(w @ ((a + xi) / (b + ti))) for xi, ti in zip(x, t, strict=True)])
    ends = [
        [_mixture_quantile(p, w, a + xi, b + ti) for xi, ti in zip(x, t, strict=True)] for p in (0.05, 0.95)
    ]
    new = (float(w @ (a / b)), _mixture_quantile(0.05, w, a, b), _mixture_quantile(0.95, w, a, b))
    nodes = np.geomspace(new[1] / 50.0, new[2] * 50.0, 400)
    # Mixture density per step of ln theta.
    log_pdf = a * np.log(b * nodes[:, None]) - b * nodes[:, None] - gammaln(a)
    weights = np.exp(log_pdf) @ w
    return Pooled(
        np.divide(x, t, out=np.full_like(x, np.nan), where=t > 0),
        means,
        np.array(ends[0]),
        np.array(ends[1]),
        new,
        float(w @ (a / b)),
        Theta(float(w @ a), float(w @ b), nodes, weights / weights.sum()),
    )
