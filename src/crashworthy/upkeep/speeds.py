"""How fast a pilot really crashes, from how hard the journal says the crashes were.

Severities are accelerations of the boards: scuff, hit and slam are parted where the assumed everyday mix has
its thirds. A pilot with few slams crashes more slowly, or calls things lighter. Both are left open:

    P(severity g | median m, grading b) = share of the crashes, weighted to the speeds of m and to the
                                          journal's obstacles, whose shock lies in band g scaled by exp(b)

on a grid of ln m (normal about the assumed median) and b (normal about 0, integrated out).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.scenario import Scenario

    Floats = NDArray[np.float64]

__all__ = ["GRADING_SD", "SPEED_SD", "FittedSpeed", "fitted_speed"]

SPEED_SD: Final = 0.3
"""Standard deviation of ln of the median speed beforehand (assumption)."""

GRADING_SD: Final = 0.4
"""Standard deviation of ln of what a pilot calls a hit, as an acceleration (assumption)."""

ENOUGH: Final = 10
"""Crashes before the speed is touched (assumption)."""

_NODES: Final = 81


@dataclass(frozen=True, slots=True)
class FittedSpeed:
    """Median speed of a pilot's crashes.

    Attributes:
        prior: assumed, m/s.
        median, low, high: learned, 5-95 %, m/s; the prior where there was not enough.
        counts: (scuffs, hits, slams) logged.
        expected: shares of the three in the assumed mix.
    """

    prior: float
    median: float
    low: float
    high: float
    counts: tuple[int, int, int]
    expected: tuple[float, float, float]

    @property
    def fitted(self) -> bool:
        """Whether there was enough to fit."""
        return sum(self.counts) >= ENOUGH

    def summary(self) -> str:
        """One sentence, numbers first."""
        n = sum(self.counts)
        if not self.fitted:
            return f"{n} crashes say how hard they were; from {ENOUGH} on the speed follows them."
        scuffs, hits, slams = self.counts
        return (
            f"{scuffs} scuffs, {hits} hits and {slams} slams: half of the crashes are above "
            f"{self.median:.1f} m/s ({self.low:.1f}-{self.high:.1f}), assumed {self.prior:g}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        rows = {name: getattr(self, name) for name in self.__slots__}
        return rows | {"counts": list(self.counts), "expected": list(self.expected), "fitted": self.fitted,
                       "summary": self.summary()}  # fmt: skip


def fitted_speed(
    counts: tuple[int, int, int],
    speed: Floats,
    shock: Floats,
    scenario: Scenario,
    weights: Floats | None = None,
) -> FittedSpeed:
    """Learn the median speed.

    Args:
        counts: scuffs, hits and slams logged.
        speed: (n,) of simulated crashes under ``scenario``, m/s.
        shock: (n,) peak acceleration of the boards in them.
        scenario: that was simulated; its speed is the prior.
        weights: (n,) of each crash, such as the journal's share of its obstacle over the scenario's.
    """
    prior = scenario.speed
    base = np.ones(len(speed)) if weights is None else np.asarray(weights, dtype=np.float64)
    ln_shock = np.log(np.maximum(np.asarray(shock, dtype=np.float64), 1e-9))
    edges = np.quantile(ln_shock, [1 / 3, 2 / 3])
    third = np.searchsorted(edges, ln_shock)
    shares = tuple(float(base[third == g].sum() / base.sum()) for g in range(3))
    expected = (shares[0], shares[1], shares[2])
    if sum(counts) < ENOUGH or prior.sd_ln <= 0.0:
        return FittedSpeed(prior.median, prior.median, prior.median, prior.median, counts, expected)
    step = np.linspace(-4.0 * SPEED_SD, 4.0 * SPEED_SD, _NODES)
    z = np.log(np.asarray(speed, dtype=np.float64) / prior.median) / prior.sd_ln
    # Weight of each crash if the median were exp(step) times the prior's: ratio of two lognormal densities.
    tilt = np.exp(z[None, :] * step[:, None] / prior.sd_ln - 0.5 * (step[:, None] / prior.sd_ln) ** 2)
    tilt *= base[None, :]
    shifts = np.linspace(-3.0, 3.0, 25)
    order = np.argsort(ln_shock)
    below = np.concatenate([np.zeros((_NODES, 1)), np.cumsum(tilt[:, order], axis=1)], axis=1)
    below /= below[:, -1:]
    log_l = np.full((_NODES, len(shifts)), 0.0)
    for k, shift in enumerate(shifts):
        at = np.searchsorted(ln_shock[order], edges + GRADING_SD * shift)
        low, high = below[:, at[0]], below[:, at[1]]
        p = np.maximum(np.stack([low, high - low, 1.0 - high]), 1e-6)
        log_l[:, k] = np.asarray(counts) @ np.log(p) - 0.5 * shift**2
    log_w = np.logaddexp.reduce(log_l, axis=1) - 0.5 * (step / SPEED_SD) ** 2
    w = np.exp(log_w - log_w.max())
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (w[1:] + w[:-1]))])
    ends = np.interp((0.05, 0.5, 0.95), cumulative / cumulative[-1], step)
    slow, middle, fast = (min(max(prior.median * math.exp(x), prior.low), prior.high) for x in ends)
    return FittedSpeed(prior.median, middle, slow, fast, counts, expected)
