"""Which simulated crashes are like a logged one: same severity, same thing hit, same part touched.

The log says little, so many simulated crashes fit it; together they are the distribution of what its parts
may have felt. A condition that leaves too few of them is dropped, the part first, then the obstacle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.upkeep.history import SEVERITIES
from crashworthy.upkeep.mix import meant

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from crashworthy.impact.scenario import Scenario
    from crashworthy.upkeep.crash_loads import CrashLoads
    from crashworthy.upkeep.history import CrashRow

__all__ = ["FEWEST", "Alike", "Matcher"]

FEWEST: Final = 40
"""Simulated crashes that a condition must leave, or it is dropped (assumption)."""


@dataclass(frozen=True, slots=True, eq=False)
class Alike:
    """The simulated crashes that fit one logged crash.

    Attributes:
        draws: their numbers.
        told: which of "severity", "obstacle" and "part" were used.
    """

    draws: NDArray[np.int64]
    told: tuple[str, ...]


class Matcher:
    """Finds the simulated crashes that fit logged ones; each kind of log entry is looked up once."""

    def __init__(self, loads: CrashLoads, scenario: Scenario) -> None:
        """Take the campaign and the scenario that it ran.

        Args:
            loads: the campaign.
            scenario: its obstacles, in the order of ``loads.obstacles``.
        """
        self._loads, self._scenario = loads, scenario
        self._grade = loads.severity
        self._obstacle = np.asarray(loads.arrays["obstacle"], dtype=np.int64)
        self._known: dict[tuple[str, str, str], Alike] = {}

    def like(self, crash: CrashRow) -> Alike:
        """The simulated crashes that fit ``crash``."""
        key = (crash.severity, crash.obstacle, crash.hit)
        if key not in self._known:
            self._known[key] = self._find(*key)
        return self._known[key]

    def all(self, crashes: Iterable[CrashRow]) -> list[Alike]:
        """``like`` for each of several."""
        return [self.like(crash) for crash in crashes]

    def _find(self, severity: str, obstacle: str, hit: str) -> Alike:
        chosen = self._grade == SEVERITIES.index(severity)
        told: tuple[str, ...] = ("severity",)
        if not chosen.any():
            chosen, told = np.ones(len(self._grade), dtype=bool), ()
        for what, mask in (("obstacle", self._into(obstacle)), ("part", self._touching(hit))):
            if mask is not None and (both := chosen & mask).sum() >= FEWEST:
                chosen, told = both, (*told, what)
        return Alike(np.flatnonzero(chosen), told)

    def _into(self, words: str) -> NDArray[np.bool_] | None:
        found = meant(words, self._scenario) if words.strip() else []
        return np.isin(self._obstacle, found) if found else None

    def _touching(self, part: str) -> NDArray[np.bool_] | None:
        if part not in self._loads.names:
            return None
        touched: NDArray[np.bool_] = (
            np.asarray(self._loads.arrays["part_peak"][self._loads.names.index(part)]) > 0.0
        )
        return touched
