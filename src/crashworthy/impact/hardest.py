"""The worst crashes of a campaign, by what they do to one part or to the whole quad."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.craft import FLAG_ENERGY, FLAG_INVALID, FLAG_STEP
from crashworthy.impact.damage import mode_load, part_chances
from crashworthy.impact.words import plain_numbers
from crashworthy.quantities import G_N

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

    Floats = NDArray[np.float64]

__all__ = ["BY_BOARDS", "BY_DAMAGE", "WorstCrash", "worst_crashes"]

BY_DAMAGE: Final = ""
"""Rank by how many parts are expected to break."""

BY_BOARDS: Final = "*boards"
"""Rank by the peak acceleration of the boards on their mount."""


@dataclass(frozen=True, slots=True)
class WorstCrash:
    """One crash of a ranking.

    Attributes:
        crash: its number; with the campaign's seed it brings the crash back.
        obstacle: what was hit.
        speed: before impact, m/s.
        first: label of the part that touched first.
        hardest: label of the part with the greatest contact force.
        force: that force; for a ranking by part the force on that part, N.
        load: load over strength of the part ranked by, or the highest of all; 0 when no strength is tabled.
        breaks: chance to break of the part ranked by, or expected number of parts broken.
        shock: peak acceleration of the boards, in g.
        audited: whether its energy account closes.
    """

    crash: int
    obstacle: str
    speed: float
    first: str
    hardest: str
    force: float
    load: float
    breaks: float
    shock: float
    audited: bool

    def summary(self) -> str:
        """One sentence, numbers first."""
        return (
            f"Crash {self.crash}: {self.speed:.1f} m/s into {self.obstacle}, {self.first} first, "
            f"{self.force:.0f} N on the {self.hardest}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        data: dict[str, Any] = plain_numbers({**asdict(self), "summary": self.summary()})
        return data


def worst_crashes(batch: CrashBatch, part: str = BY_DAMAGE, count: int = 12) -> tuple[WorstCrash, ...]:
    """The crashes that are worst for a part, for the boards, or for the quad as a whole; worst first.

    Args:
        batch: the campaign.
        part: name of a part; ``BY_DAMAGE`` or ``BY_BOARDS``.
        count: how many.

    Raises:
        ScenarioError: the campaign has no such part.
    """
    names = [name for name, _, _ in batch.parts]
    chances = part_chances(batch, batch.capacities)
    load = np.zeros(batch.n)
    index = -1
    if part in (BY_DAMAGE, BY_BOARDS):
        breaks = np.sum(list(chances.values()), axis=0) if chances else np.zeros(batch.n)
        wanted = range(len(names))
    else:
        if part not in names:
            raise ScenarioError(
                Problem(f"no part is called {part!r}", "use a part of the campaign", field="part")
            )
        index = names.index(part)
        breaks = chances.get(index, np.zeros(batch.n))
        wanted = range(index, index + 1)
    for c in batch.capacities:
        if c.part in wanted:
            load = np.maximum(load, mode_load(batch, c) / c.median)
    force = batch.part_peak[index] if index >= 0 else batch.part_peak.max(axis=0)
    rank = batch.shock if part == BY_BOARDS else breaks
    valid = (batch.flags & FLAG_INVALID) == 0
    order = np.lexsort((-force, -load, -rank, ~valid))
    hardest = batch.part_peak.argmax(axis=0)
    poor = FLAG_INVALID | FLAG_ENERGY | FLAG_STEP
    return tuple(
        WorstCrash(
            crash=int(batch.crash[i]),
            obstacle=batch.obstacles[int(batch.obstacle[i])][0],
            speed=float(batch.speed[i]),
            first=batch.parts[int(batch.first_part[i])][1],
            hardest=batch.parts[index if index >= 0 else int(hardest[i])][1],
            force=float(force[i]),
            load=float(load[i]),
            breaks=float(breaks[i]),
            shock=float(batch.shock[i]) / G_N,
            audited=not int(batch.flags[i]) & poor,
        )
        for i in order[:count]
        if valid[i] and (index < 0 or force[i] > 0.0 or load[i] > 0.0)
    )
