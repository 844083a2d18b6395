"""From loads to broken parts: P(L > S) with a lognormal strength, and how sure that is.

    P(break | load L) = Phi((ln L - ln S50) / beta)

A part with several modes breaks when any of them does; the modes of one crash are taken as independent given
the loads. S50 itself is uncertain: ln S50 has the standard deviation ``Capacity.spread``, common to all
crashes and all parts of a kind, so it widens intervals and does not average out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch
    from crashworthy.strength.capacity import Capacity

    Floats = NDArray[np.float64]

__all__ = ["Z90", "break_chance", "interval", "mode_load", "part_chances", "wilson"]

Z90: Final = 1.6448536269514722
"""Standard normal quantile of 95 %: the ends of a central 90 % interval."""

Z95: Final = 1.959963984540054
"""Standard normal quantile of 97.5 %: the ends of a central 95 % interval."""


def break_chance(load: Floats, median: float, beta: float) -> Floats:
    """Chance that a part of lognormal strength breaks under ``load``; 0 without load.

    Interference of a known load with a lognormal strength (any reliability textbook).
    """
    from scipy.special import ndtr

    with np.errstate(divide="ignore"):
        return np.asarray(ndtr(np.log(np.maximum(load, 0.0) / median) / beta), dtype=np.float64)


def mode_load(batch: CrashBatch, capacity: Capacity) -> Floats:
    """(n,) load that a mode compares with its capacity, in its unit; 0 where the obstacle is not its kind."""
    if capacity.load == "bending":
        arm = batch.arm_parts.index(capacity.part)
        load = batch.arm_moment[arm, 2]
    elif capacity.load == "limb":
        # Campaigns from before there were limbs know no load of theirs.
        known = len(batch.limb_load) > 0 and capacity.part in batch.limb_parts
        load = batch.limb_load[batch.limb_parts.index(capacity.part), 0] if known else np.zeros(batch.n)
    elif capacity.load == "pseudo_velocity":
        # The hardest shaken of the three board modes; campaigns that did not keep them have the stack's.
        load = batch.board_velocity.max(axis=0)
        load = np.where(load > 0.0, load, batch.pseudo_velocity)
    elif capacity.load == "strap":
        load = batch.strap
    else:
        load = batch.part_peak[capacity.part]
    wide: Floats = load.astype(np.float64)
    if capacity.obstacle:
        wanted = batch.round_obstacle if capacity.obstacle == "round" else ~batch.round_obstacle
        wide = np.where(wanted, wide, 0.0)
    return wide


def part_chances(batch: CrashBatch, capacities: Iterable[Capacity], z: float = 0.0) -> dict[int, Floats]:
    """Chance of breaking of each part in each crash, (n,), by part index.

    Args:
        batch: the crashes.
        capacities: modes.
        z: how many standard deviations the medians lie above their best estimate.
    """
    survives: dict[int, Floats] = {}
    for c in capacities:
        chance = break_chance(mode_load(batch, c), c.median * float(np.exp(z * c.spread)), c.beta)
        survives[c.part] = survives.get(c.part, np.ones(batch.n)) * (1.0 - chance)
    return {part: 1.0 - s for part, s in survives.items()}


def interval(
    middle: Floats, weaker: Floats, stronger: Floats, weight: Floats | None = None
) -> tuple[float, float, float]:
    """Mean over the crashes and its 90 % interval.

    Args:
        middle: (n,) expected breaks per crash at the best estimate of the strengths.
        weaker: the same with strengths at their 5 % quantile.
        stronger: the same at their 95 % quantile.
        weight: (n,) how many crashes each stands for; all the same by default.

    Returns:
        mean, low, high: sampling error and strength uncertainty added in squares of the logarithm on each
        side, so that a rare break keeps a lower end above zero.
    """
    n = len(middle)
    w = np.full(n, 1.0 / n) if weight is None else weight / weight.sum()
    mean = float(w @ middle)
    if mean <= 0.0:
        return 0.0, 0.0, float(w @ weaker)
    off = w * (middle - mean)
    error = Z90 * float(np.sqrt(off @ off * n / (n - 1))) / mean if n > 1 else 1.0 / mean
    low, high = (float(np.log(max(float(w @ x), 1e-300) / mean)) for x in (stronger, weaker))
    return (
        mean,
        mean * float(np.exp(-np.hypot(low, error))),
        mean * float(np.exp(min(np.hypot(high, error), 600.0))),
    )


def wilson(hits: float, n: float) -> tuple[float, float]:
    """95 % score interval of a share (Wilson, J. Am. Stat. Assoc. 22, 1927); ``n`` need not be whole."""
    if n <= 0:
        return 0.0, 1.0
    p, z2 = hits / n, Z95 * Z95
    centre = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z95 / (1 + z2 / n) * float(np.sqrt(p * (1 - p) / n + z2 / (4 * n * n)))
    return (max(0.0, centre - half) if hits else 0.0), (min(1.0, centre + half) if hits < n else 1.0)
