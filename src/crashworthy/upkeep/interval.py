"""How often to look at a joint group: the interval that costs least under the posterior, and its flat zone.

C(tau) = (c + n·h·∫0..tau F)/tau, F the posterior predictive of ``loosening``; see there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.upkeep.kernel import cumulative_hazard
from crashworthy.upkeep.loosening import Posterior, calibrate, legendre, prior_posterior, time_loose

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.upkeep.priors import GroupPrior

    Floats = NDArray[np.float64]

__all__ = ["Interval", "cost_curve", "interval"]

_TAUS: Final = 128


@dataclass(frozen=True, slots=True)
class Interval:
    """How often to look.

    Attributes:
        tau: cheapest interval within the guards, packs of dose.
        low, high: the flat zone around it: costs at most 5 % (``priors.toml`` [due]) more.
        cost: bench and loose-flying minutes a pack at ``tau``.
        p_loose: predictive share of screws loose at ``tau``.
    """

    tau: float
    low: float
    high: float
    cost: float
    p_loose: float


@lru_cache(maxsize=16)
def _table(prior: GroupPrior) -> tuple[Floats, Floats, Floats]:
    """Intervals (t,), and F and ∫F at each and at each node, (t, 1800): one product serves any posterior."""
    start = prior_posterior(prior)
    ln_eta = np.repeat(start.ln_eta, len(start.k))
    k = np.tile(start.k, len(start.ln_eta))
    taus = np.geomspace(0.5 * prior.tau_min, 1.5 * prior.tau_max, _TAUS)
    F = -np.expm1(-cumulative_hazard(taus[:, None], ln_eta, k))
    x, w = legendre(3)
    loose = np.empty_like(F)
    loose[0] = time_loose(taus[0], ln_eta, k)
    for i in range(1, _TAUS):
        width = taus[i] - taus[i - 1]
        inside = -np.expm1(-cumulative_hazard((taus[i - 1] + width * x)[:, None], ln_eta, k))
        loose[i] = loose[i - 1] + width * (w @ inside)
    return taus, F, loose


def _curve(posterior: Posterior, screws: int) -> tuple[Floats, Floats, Floats, Floats, float]:
    """taus, F, ∫F, cost a pack, and c/(n·h)."""
    prior = posterior.prior
    taus, F_nodes, loose_nodes = _table(prior)
    flat = posterior.weights.ravel()
    F, loose = F_nodes @ flat, loose_nodes @ flat
    h = calibrate(prior).loose_minutes
    # Checking costs time by the screw, so the best interval does not depend on how many there are.
    check = prior.check_minutes * screws / prior.screws
    return taus, F, loose, (check + screws * h * loose) / taus, check / (screws * h)


def interval(posterior: Posterior, screws: int, flat_zone: float = 0.05) -> Interval:
    """Cheapest interval under the posterior, its flat zone, and what it costs.

    Args:
        posterior: what is known.
        screws: how many screws the group has, at least 1.
        flat_zone: how much more than the best the zone may cost, as a share.

    Returns:
        The interval, all of it within the guards tau_min and tau_max of the prior.
    """
    prior = posterior.prior
    taus, F, loose, cost, ratio = _curve(posterior, screws)
    excess = taus * F - loose - ratio
    if excess[0] >= 0:
        best = float(taus[0])
    elif excess[-1] <= 0:
        best = float(taus[-1])
    else:
        best = _polish(posterior, float(np.exp(np.interp(0.0, excess, np.log(taus)))), ratio)
    tau = min(max(best, prior.tau_min), prior.tau_max)
    lowest = float(np.interp(best, taus, cost))
    limit = lowest * (1.0 + flat_zone)
    falling, rising = taus <= best, taus >= best
    low, high = float(taus[0]), float(taus[-1])
    if falling.any():
        low = float(np.interp(-limit, -cost[falling], taus[falling]))
    if rising.any():
        high = float(np.interp(limit, cost[rising], taus[rising]))
    return Interval(
        tau,
        min(max(low, prior.tau_min), tau),
        max(min(high, prior.tau_max), tau),
        float(np.interp(tau, taus, cost)),
        float(np.interp(tau, taus, F)),
    )


def _polish(posterior: Posterior, tau: float, ratio: float) -> float:
    """One Halley step on g = tau·F - ∫F - ratio, g' = tau·f: the table's grid no longer shows (1e-11)."""
    flat = posterior.weights.ravel()
    ln_eta = np.repeat(posterior.ln_eta, len(posterior.k))
    k = np.tile(posterior.k, len(posterior.ln_eta))
    step = cumulative_hazard(tau, ln_eta, k)
    F = float(flat @ -np.expm1(-step))
    density = k / tau * step * np.exp(-step)
    f = float(flat @ density)
    f_slope = float(flat @ (density * (k - 1.0 - k * step))) / tau
    excess = tau * F - float(time_loose(tau, ln_eta, k) @ flat) - ratio
    slope, bend = tau * f, f + tau * f_slope
    newton = -excess / slope
    return tau - excess / (slope + 0.5 * bend * newton)


def cost_curve(posterior: Posterior, screws: int) -> tuple[Floats, Floats]:
    """Intervals (128,), packs, and what each would cost a pack, min: the picture behind the advice."""
    taus, _, _, cost, _ = _curve(posterior, screws)
    return taus, cost
