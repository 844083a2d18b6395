"""When to stop a campaign: as soon as its answers are as narrow as was asked for.

Looked at after whole chunks in the order of the chunks, so that the crash at which a campaign stops depends
on build, scenario, seed and options only, never on how many workers there are. Stopping at the first narrow
interval leaves its coverage as it was once many crashes are counted (Chow and Robbins, Ann. Math. Stat. 36,
1965), so there is no look before ``LEAST`` crashes nor while a watched thing was hit less than ``HITS``
times.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.damage import Z90, part_chances
from crashworthy.impact.estimate import mean_error, weighted_mean

if TYPE_CHECKING:
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.watch import Watched

__all__ = ["FREQUENT", "HITS", "LEAST", "Until", "checked_until", "until_words"]

LEAST: Final = 1000
"""Crashes before the first look."""

HITS: Final = 30
"""Hits of a watched thing before its interval is believed."""

FREQUENT: Final = 0.01
"""Expected breaks in a crash from which a kind of part counts among the answers."""


def checked_until(until: float) -> float:
    """A precision that can be asked for: 0 for none, else 0.002 to 1.

    Raises:
        ScenarioError: it is neither.
    """
    if until == 0.0 or (math.isfinite(until) and 0.002 <= until <= 1.0):
        return until
    raise ScenarioError(
        Problem(f"an answer cannot be known to {100 * until:g} %", "ask for 0.2 to 100 %", field="until")
    )


def until_words(until: float, watched: tuple[Watched, ...]) -> str:
    """Which answers have to be how narrow."""
    what = (
        "the share of crashes that hit " + ", ".join(w.name for w in watched)
        if watched
        else f"the breaks of every kind of part that breaks at least {100 * FREQUENT:g} times in 100 crashes"
    )
    return f"half of the 90 % sampling interval of {what} at most {100 * until:g} % of the answer"


class Until:
    """Watches the answers of a growing campaign."""

    def __init__(self, until: float, watched: tuple[Watched, ...]) -> None:
        """Take the relative half width asked for, and what is watched; nothing means what breaks."""
        self.until, self.watched = until, watched
        self._weight: list[np.ndarray] = []
        self._answers: dict[str, list[np.ndarray]] = {}

    def add(self, chunk: CrashBatch) -> None:
        """Take the next crashes, in order."""
        good = (chunk.flags & FLAG_INVALID) == 0
        self._weight.append(chunk.weight[good])
        if self.watched:
            found = {w.name: w.hit(chunk.part_peak, chunk.obstacle).astype(np.float64) for w in self.watched}
        else:
            found = {}
            for part, chance in part_chances(chunk, chunk.capacities).items():
                kind = chunk.parts[part][2]
                found[kind] = found[kind] + chance if kind in found else chance
        for name, answer in found.items():
            self._answers.setdefault(name, []).append(answer[good])

    def reached(self) -> bool:
        """Whether every answer is narrow enough."""
        weight = np.concatenate(self._weight)
        if len(weight) < LEAST:
            return False
        for pieces in self._answers.values():
            answer = np.concatenate(pieces)
            mean = weighted_mean(answer, weight)
            if self.watched and np.count_nonzero(answer) < HITS:
                return False
            if not self.watched and mean < FREQUENT:
                continue
            if Z90 * mean_error(answer, weight) > self.until * mean:
                return False
        return True
