"""What arms and other limbs bore over a campaign: root moments, utilisation, travel."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from crashworthy.impact.damage import Z95, part_chances
from crashworthy.impact.estimate import effective, weighted_mean, weighted_quantiles

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

__all__ = ["ArmSummary", "LimbSummary", "Quantiles", "arm_summaries", "limb_summaries", "quantiles"]


@dataclass(frozen=True, slots=True)
class Quantiles:
    """Median, 90 % and 99 % quantile with 95 % intervals; zeros when there is nothing to count.

    An interval runs between the quantiles at share ± 1.96 √(share (1 − share)/n) for n effective crashes
    (Woodruff, J. Am. Stat. Assoc. 47, 1952); it cannot reach beyond the largest value that was met.
    """

    p50: float
    p90: float
    p99: float
    p50_low: float = 0.0
    p50_high: float = 0.0
    p90_low: float = 0.0
    p90_high: float = 0.0
    p99_low: float = 0.0
    p99_high: float = 0.0


@dataclass(frozen=True, slots=True)
class ArmSummary:
    """Root moments and torque of one arm, N m, against capacity."""

    name: str
    out_of_plane: Quantiles
    in_plane: Quantiles
    capacity_out_of_plane: float
    capacity_in_plane: float
    interaction: Quantiles
    twist: Quantiles
    capacity_twist: float


@dataclass(frozen=True, slots=True)
class LimbSummary:
    """An antenna, a lead or what sits on a soft mount.

    Attributes:
        name, label, kind: of the part.
        utilisation: root force, moment or travel over capacity, each crash counted; of a lead 0 unless it
            was snagged.
        travel: of its mass from its rest, mm.
        breaks: chance per crash that this load breaks it.
        mode: how, in words.
    """

    name: str
    label: str
    kind: str
    utilisation: Quantiles
    travel: Quantiles
    breaks: float
    mode: str


def quantiles(x: NDArray[Any], weight: NDArray[np.float64]) -> Quantiles:
    """Median, 90 % and 99 % quantile of some numbers, with their intervals.

    Args:
        x: (n,) numbers.
        weight: (n,) how much each counts.
    """
    if len(x) == 0:
        return Quantiles(0.0, 0.0, 0.0)
    shares = (0.5, 0.9, 0.99)
    half = [Z95 * math.sqrt(s * (1.0 - s) / effective(weight)) for s in shares]
    ends = [min(1.0, max(0.0, e)) for s, h in zip(shares, half, strict=True) for e in (s - h, s + h)]
    return Quantiles(*weighted_quantiles(x, weight, (*shares, *ends)))


def arm_summaries(batch: CrashBatch, good: NDArray[np.bool_]) -> tuple[ArmSummary, ...]:
    """Every arm over the crashes that count."""
    weight = batch.weight[good]
    return tuple(
        ArmSummary(
            name=batch.parts[part][0],
            out_of_plane=quantiles(batch.arm_moment[a, 1, good], weight),
            in_plane=quantiles(batch.arm_moment[a, 0, good], weight),
            capacity_out_of_plane=batch.arm_capacity[a][0],
            capacity_in_plane=batch.arm_capacity[a][1],
            interaction=quantiles(batch.arm_moment[a, 2, good], weight),
            twist=quantiles(batch.arm_twist[a, good], weight),
            capacity_twist=batch.arm_torque[a] if batch.arm_torque else 0.0,
        )
        for a, part in enumerate(batch.arm_parts)
    )


def limb_summaries(batch: CrashBatch, good: NDArray[np.bool_]) -> tuple[LimbSummary, ...]:
    """Every other limb over the crashes that count."""
    found = []
    weight = batch.weight[good]
    for index, part in enumerate(batch.limb_parts[: len(batch.limb_load)]):
        modes = [c for c in batch.capacities if c.part == part and c.load == "limb"]
        chances = part_chances(batch, modes).get(part)
        load = batch.limb_load[index][:, good]
        found.append(
            LimbSummary(
                *batch.parts[part],
                utilisation=quantiles(load[0] / (modes[0].median if modes else 1.0), weight),
                travel=quantiles(1e3 * load[1], weight),
                breaks=0.0 if chances is None else weighted_mean(chances[good], weight),
                mode=modes[0].mode if modes else "",
            )
        )
    return tuple(found)
