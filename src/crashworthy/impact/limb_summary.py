"""What arms and other limbs bore over a campaign: root moments, utilisation, travel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.impact.damage import part_chances

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

__all__ = ["ArmSummary", "LimbSummary", "Quantiles", "arm_summaries", "limb_summaries", "quantiles"]


@dataclass(frozen=True, slots=True)
class Quantiles:
    """Median, 90 % and 99 % quantile; zeros when there is nothing to count."""

    p50: float
    p90: float
    p99: float


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


def quantiles(x: NDArray[np.floating]) -> Quantiles:
    """Median, 90 % and 99 % quantile of some numbers."""
    if len(x) == 0:
        return Quantiles(0.0, 0.0, 0.0)
    return Quantiles(*(float(q) for q in np.quantile(x.astype(np.float64), (0.5, 0.9, 0.99))))


def arm_summaries(batch: CrashBatch, good: NDArray[np.bool_]) -> tuple[ArmSummary, ...]:
    """Every arm over the crashes that count."""
    return tuple(
        ArmSummary(
            name=batch.parts[part][0],
            out_of_plane=quantiles(batch.arm_moment[a, 1, good]),
            in_plane=quantiles(batch.arm_moment[a, 0, good]),
            capacity_out_of_plane=batch.arm_capacity[a][0],
            capacity_in_plane=batch.arm_capacity[a][1],
            interaction=quantiles(batch.arm_moment[a, 2, good]),
            twist=quantiles(batch.arm_twist[a, good]),
            capacity_twist=batch.arm_torque[a] if batch.arm_torque else 0.0,
        )
        for a, part in enumerate(batch.arm_parts)
    )


def limb_summaries(batch: CrashBatch, good: NDArray[np.bool_]) -> tuple[LimbSummary, ...]:
    """Every other limb over the crashes that count."""
    found = []
    for index, part in enumerate(batch.limb_parts[: len(batch.limb_load)]):
        modes = [c for c in batch.capacities if c.part == part and c.load == "limb"]
        chances = part_chances(batch, modes).get(part)
        load = batch.limb_load[index][:, good]
        found.append(
            LimbSummary(
                *batch.parts[part],
                utilisation=quantiles(load[0] / (modes[0].median if modes else 1.0)),
                travel=quantiles(1e3 * load[1]),
                breaks=0.0 if chances is None else float(chances[good].mean()),
                mode=modes[0].mode if modes else "",
            )
        )
    return tuple(found)
