"""What the journal's breaks and survivals say about a strength: Bayes on a grid of ln S50; and wear by hits.

    P(break | load L) = Phi((ln L - m) / sqrt(beta^2 + s_L^2)),   m = ln S50,   prior m ~ N(ln S0, sd^2)

Survivals count as much as breaks. Only the ratio of load to strength is learned this way: a load scale that
is wrong by a factor moves S50 by the same factor, so utilisation can be trusted, newtons cannot.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["WEAR_POWER", "Strength", "damage_sum", "learn_strength", "weakened"]

GRID: Final = 4001
"""Points of the grid."""

SPAN: Final = 6.0
"""Standard deviations of the prior that the grid reaches to each side."""

WEAR_POWER: Final = {"carbon": 8.0, "metal": 4.0}
"""Exponent p of the damage (L/S50)^p that a survived hit leaves (assumption; slopes of fatigue lines)."""


@dataclass(frozen=True, slots=True)
class Strength:
    """What is believed of a median strength, in the unit of the loads: its median and 5-95 % interval."""

    median: float
    low: float
    high: float
    hits: int
    breaks: int

    def summary(self) -> str:
        """One sentence, numbers first."""
        known = f"{self.median:.3g} ({self.low:.3g}-{self.high:.3g})"
        return f"{known} after {self.breaks} breaks in {self.hits} hits."


def learn_strength(
    median: float,
    sd_ln: float,
    beta: float,
    loads: Sequence[float],
    broke: Sequence[bool],
    load_sd_ln: float | Sequence[float] = 0.0,
) -> Strength:
    """Update a median strength by outcomes.

    Args:
        median: of the prior.
        sd_ln: standard deviation of ln S50 before.
        beta: lognormal spread from part to part.
        loads: median load of each hit, in the unit of ``median``.
        broke: whether the part broke.
        load_sd_ln: how well the load of each hit is known, standard deviation of its logarithm.

    Raises:
        ScenarioError: numbers that are not positive, or lists of unequal length.
    """
    from scipy.special import log_ndtr

    good = median > 0.0 and sd_ln > 0.0 and beta > 0.0 and all(x > 0.0 for x in loads)
    if not good or len(loads) != len(broke):
        raise ScenarioError(
            Problem("loads and strengths must be above zero, one outcome a load", "mend them", field="loads")
        )
    m = np.log(median) + sd_ln * np.linspace(-SPAN, SPAN, GRID)
    belief = -0.5 * ((m - np.log(median)) / sd_ln) ** 2
    spread = np.hypot(beta, np.broadcast_to(np.asarray(load_sd_ln, dtype=np.float64), len(loads)))
    for load, outcome, sd in zip(loads, broke, spread, strict=True):
        z = (np.log(load) - m) / sd
        belief = belief + log_ndtr(z if outcome else -z)
    weight = np.exp(belief - belief.max())
    # Trapezoids, so that a quantile falls between grid points.
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (weight[1:] + weight[:-1]))])
    low, middle, high = np.exp(np.interp((0.05, 0.5, 0.95), cumulative / cumulative[-1], m))
    return Strength(float(middle), float(low), float(high), len(loads), int(np.sum(broke)))


def damage_sum(loads: Floats, median: float, power: float) -> float:
    """Damage that survived hits left: sum of (L/S50)^p, each at most 1 (Miner, J. Appl. Mech. 12, 1945)."""
    return float(np.sum(np.minimum(np.asarray(loads) / median, 1.0) ** power))


def weakened(median: float, damage: float) -> float:
    """Median strength that is left after a damage sum D: S50 (1 - D/2), at least half (assumption)."""
    return median * (1.0 - 0.5 * min(max(damage, 0.0), 1.0))
