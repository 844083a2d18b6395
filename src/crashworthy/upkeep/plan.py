"""When in a day to look at what: checks moved into battery swaps, together where that costs little."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.words import packs_word

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.upkeep.due import Due

__all__ = ["DayPlan", "Stop", "plan_day"]


@dataclass(frozen=True, slots=True)
class Stop:
    """One look, in a battery swap.

    Attributes:
        after_pack: packs flown today before it; 0 is before the first.
        groups: joint groups to check.
        screws: how many screws that is.
        minutes: how long it takes, min.
    """

    after_pack: int
    groups: tuple[str, ...]
    screws: int
    minutes: float


@dataclass(frozen=True, slots=True)
class DayPlan:
    """The checks of one day.

    Attributes:
        packs: packs to be flown.
        stops: looks in order.
    """

    packs: int
    stops: tuple[Stop, ...]

    @property
    def minutes(self) -> float:
        """Time all checks take, min."""
        return sum(s.minutes for s in self.stops)

    def summary(self) -> str:
        """One sentence with numbers."""
        if not self.stops:
            return f"{packs_word(self.packs)} today: nothing to check."
        looks = [
            f"{'before the first pack' if s.after_pack == 0 else f'after pack {s.after_pack}'} "
            f"{' and '.join(s.groups)}"
            for s in self.stops
        ]
        return f"{packs_word(self.packs)} today, {self.minutes:.0f} min of checks: {'; '.join(looks)}."

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {
            "packs": self.packs,
            "minutes": self.minutes,
            "summary": self.summary(),
            "stops": [
                {
                    "after_pack": s.after_pack,
                    "groups": list(s.groups),
                    "screws": s.screws,
                    "minutes": s.minutes,
                }
                for s in self.stops
            ],
        }


@dataclass(slots=True)
class _Clock:
    """Window of a group's next look, in packs from the start of the day."""

    due: Due
    early: float
    best: float
    late: float

    def renew(self, at: int) -> None:
        low, high = self.due.zone
        self.early, self.best, self.late = (at + x / self.due.pack_dose for x in (low, self.due.tau, high))


def _clock(due: Due) -> _Clock:
    low, high = due.zone
    if due.state in ("due", "now"):
        return _Clock(due, 0.0, 0.0, 0.0)
    early, best, late = ((x - due.age) / due.pack_dose for x in (low, due.tau, high))
    return _Clock(due, early, best, late)


def _swap(first: _Clock, clocks: Sequence[_Clock], earliest: int) -> int:
    """Battery swap in which to look at ``first``, not before ``earliest``."""
    last = math.floor(min(c.late for c in clocks))
    swaps = range(max(math.ceil(first.early), earliest), last + 1)
    if not swaps:
        return max(last, earliest)
    together = {s: sum(c.early <= s for c in clocks) for s in swaps}
    return min(swaps, key=lambda s: (-together[s], abs(s - first.best)))


def plan_day(dues: Sequence[Due], packs_today: int) -> DayPlan:
    """Move the checks of a day into its battery swaps.

    The group whose best moment comes first is looked at inside its flat zone, in the swap where most other
    groups can join (then the one nearest its best moment), but before any zone runs out. Every group whose
    flat zone covers that swap joins in. Then their clocks start anew.

    Args:
        dues: the due list in the morning.
        packs_today: packs to be flown, 0 to 200.

    Raises:
        JournalError: the number of packs is out of range.
    """
    if not 0 <= packs_today <= 200:
        raise JournalError(Problem(f"{packs_today} packs in a day", "give 0 to 200", field="packs"))
    clocks = [_clock(d) for d in dues]
    stops: list[Stop] = []
    at = -1
    while clocks:
        first = min(clocks, key=lambda c: (c.best, c.due.group))
        at = max(_swap(first, clocks, at + 1), at + 1)
        # A look after the day's last pack is tomorrow morning's.
        if at >= packs_today:
            break
        # A group joins where its zone covers the swap, or where no later swap lies in its zone.
        joined = [c for c in clocks if c.early <= at or math.floor(c.late) <= at]
        for clock in joined:
            clock.renew(at)
        members = sorted((c.due for c in joined), key=lambda d: d.group)
        stops.append(
            Stop(
                at,
                tuple(d.group for d in members),
                sum(d.screws for d in members),
                sum(d.minutes for d in members),
            )
        )
    return DayPlan(packs_today, tuple(stops))
