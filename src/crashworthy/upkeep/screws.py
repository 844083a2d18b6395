"""The screws of one joint group through their journal: ages, checks, and what each check tells.

Screws that were last tightened together and last seen tight together form a batch. A check of a single batch
is one interval-censored row; the interval starts where the screws were last known tight, so screws that kept
their age enter conditionally (left truncation). Several batches, after a check where only the loose screws
were tightened, give a row each when all or none are loose. Otherwise nobody knows which batch the loose ones
came from, and one row with the mean ages, weighted by the number of screws, stands for all (approximation).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from crashworthy.upkeep.history import CheckRow

if TYPE_CHECKING:
    from crashworthy.upkeep.payloads import Check

__all__ = ["ScrewLedger"]


@dataclass(frozen=True, slots=True)
class _Batch:
    """Screws with one history: how many, and the readings of the clocks when renewed and last seen tight."""

    count: int
    renewed: float
    seen: float
    renewed_packs: int


class Meter:
    """Packs and dose that all groups of a quad share, so that a pack is counted once and not group by group.

    Attributes:
        clock: dose, crash jumps that every group takes in full included, packs.
        packs: plain packs.
        slams: slams so far.
    """

    __slots__ = ("clock", "packs", "slams")

    def __init__(self) -> None:
        """Start at nothing."""
        self.clock, self.packs, self.slams = 0.0, 0, 0


class ScrewLedger:
    """The running account of one joint group; used inside one fold only."""

    def __init__(self, count: int, meter: Meter, *, slam_makes_due: bool = False) -> None:
        """Start with ``count`` tight screws (0: not known)."""
        self.meter = meter
        self.extra = 0.0  # crash jumps that only this group took, packs
        self._slam_makes_due, self._slams_seen = slam_makes_due, 0
        self.batches = [_Batch(count, 0.0, 0.0, 0)]
        self.left_loose = 0
        self.rows: list[CheckRow] = []
        self.last_check: int | None = None
        self._missing_at: int | None = None

    @property
    def clock(self) -> float:
        """Dose that the group has taken, packs."""
        return self.meter.clock + self.extra

    @property
    def packs(self) -> int:
        """Plain packs flown."""
        return self.meter.packs

    @property
    def slammed(self) -> bool:
        """Whether there was a slam since the group was last looked at, and that matters to it."""
        return self._slam_makes_due and self.meter.slams > self._slams_seen

    @property
    def age(self) -> float:
        """Dose since every screw was last tightened, packs."""
        return self.clock - min((b.renewed for b in self.batches), default=self.clock)

    @property
    def since_tight(self) -> float:
        """Dose since every screw was last known tight, packs."""
        return self.clock - min((b.seen for b in self.batches), default=self.clock)

    @property
    def packs_since_renewal(self) -> int:
        """Plain packs over the same time."""
        return self.packs - min((b.renewed_packs for b in self.batches), default=self.packs)

    @property
    def forced(self) -> str:
        """Why the group is due whatever its age, or ""."""
        reasons = []
        if self.left_loose:
            plural = "s" if self.left_loose > 1 else ""
            reasons.append(f"{self.left_loose} screw{plural} found loose and left")
        if self.slammed:
            reasons.append("slam since the last check")
        return "; ".join(reasons)

    @property
    def since_missing(self) -> float | None:
        """Packs since a screw was found missing, or None."""
        return None if self._missing_at is None else float(self.packs - self._missing_at)

    def renew(self) -> None:
        """Every screw tightened."""
        count = sum(b.count for b in self.batches) + self.left_loose
        self.batches = [self._fresh(count)]
        self.left_loose = 0
        self._slams_seen = self.meter.slams

    def check(self, check: Check, occurred: int) -> None:
        """One look at the group."""
        if check.tightened == "all" and len(self.batches) == 1 and not self.left_loose:
            self._plain_check(check)
        else:
            self._any_check(check)
        self._slams_seen = self.meter.slams
        self.last_check = occurred
        if check.missing:
            self._missing_at = self.packs

    def _plain_check(self, check: Check) -> None:
        """The usual look: screws of one history, all tightened afterwards; as ``_any_check`` would."""
        (batch,), clock = self.batches, self.clock
        found = check.loose + check.missing
        self.rows.append(
            CheckRow(batch.seen - batch.renewed, clock - batch.renewed, check.looked, found, check.reason)
        )
        self.batches = [_Batch(max(batch.count, check.looked), clock, clock, self.meter.packs)]

    def _any_check(self, check: Check) -> None:
        self._make_room(check.looked)
        self._trust_the_look(check)
        known = min(self.left_loose, check.loose + check.missing)  # loose before: no new finding
        found = check.loose + check.missing - known
        looked = min(check.looked - known, sum(b.count for b in self.batches))
        if looked:
            self.rows += self._rows(looked, found, check.reason)
        if check.tightened == "all":
            self.renew()
        else:
            self._set_apart(looked, found)
            if check.tightened == "loose":
                self.left_loose -= known
                self.batches = _merged([*self.batches, self._fresh(found + known)])
            else:
                self.left_loose += found

    def _fresh(self, count: int) -> _Batch:
        return _Batch(count, self.clock, self.clock, self.packs)

    def _make_room(self, looked: int) -> None:
        """More screws looked at than known of: the group has more, as old as its oldest."""
        short = looked - self.left_loose - sum(b.count for b in self.batches)
        if short > 0:
            first = self.batches[0] if self.batches else self._fresh(0)
            self.batches[:1] = [replace(first, count=first.count + short)]

    def _trust_the_look(self, check: Check) -> None:
        """Screws left loose that a look at every screw does not find: someone has tightened them since."""
        everyone = check.looked >= self.left_loose + sum(b.count for b in self.batches)
        surplus = self.left_loose - check.loose - check.missing
        if everyone and surplus > 0:
            self.left_loose -= surplus
            self.batches = _merged([*self.batches, self._fresh(surplus)])

    def _rows(self, looked: int, found: int, reason: str) -> list[CheckRow]:
        batches = [b for b in self.batches if b.count]
        everyone = looked == sum(b.count for b in batches)
        if len(batches) > 1 and everyone and found in (0, looked):
            parts = [(b, b.count, b.count if found else 0) for b in batches]
            return [CheckRow(b.seen - b.renewed, self.clock - b.renewed, n, m, reason) for b, n, m in parts]
        total = sum(b.count for b in batches)
        start = sum(b.count * (b.seen - b.renewed) for b in batches) / total
        end = sum(b.count * (self.clock - b.renewed) for b in batches) / total
        return [CheckRow(start, end, looked, found, reason)]

    def _set_apart(self, looked: int, found: int) -> None:
        """Take ``found`` screws out of the batches, and mark the others looked at as tight up to now.

        Which batch a screw came from is not in the journal; the oldest are taken first.
        """
        rest: list[_Batch] = []
        tight = looked - found
        for batch in sorted(self.batches, key=lambda b: b.renewed):
            gone = min(found, batch.count)
            seen = min(tight, batch.count - gone)
            found, tight = found - gone, tight - seen
            rest.append(replace(batch, count=seen, seen=self.clock))
            rest.append(replace(batch, count=batch.count - gone - seen))
        self.batches = _merged(rest)


def _merged(batches: list[_Batch]) -> list[_Batch]:
    """Batches with one history put together, empty ones left out, oldest first."""
    counts: dict[tuple[float, float, int], int] = {}
    for b in batches:
        if b.count:
            key = (b.renewed, b.seen, b.renewed_packs)
            counts[key] = counts.get(key, 0) + b.count
    return [_Batch(n, *key) for key, n in sorted(counts.items())]
