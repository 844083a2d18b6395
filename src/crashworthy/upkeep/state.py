"""The journal folded into what upkeep reasons with: a pure function of the set of events.

Order of arrival and duplicates do not matter: events are put in order by when they happened, then by id, and
an id counts once. Rules of the fold:

- A retraction makes its target count as never entered. It works on events of the same quad. A retraction of
  a retraction has no effect: to bring an event back, enter it again. So no chain of corrections can loop.
- A pack adds its dose to every joint group, a crash adds the jump of its severity (``upkeep.dose``).
- A group's screws are tight when its journal begins (assumption).
- A check with ``tightened`` "all", or a tightening, renews all screws of the group. With "loose" only the
  screws found loose begin anew; the others keep their age and are known tight up to now. With "none" the
  loose ones stay loose: the group is due at once, and they are not counted as found a second time.
- A swap or repair of a part does not renew a group: it undoes only some of its screws.
- A slam makes the groups due whose prior says so (arm and motor) until they are checked or tightened.
- A break counts once: the crash that names it, and the swap or repair that mends it, are one break. A swap or
  repair "broke" that no crash announced adds the part to the crash it names, else to the latest one before.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import compress
from typing import TYPE_CHECKING, Any, Final

from crashworthy.upkeep.dose import crash_dose, pack_dose
from crashworthy.upkeep.events import Event, moment
from crashworthy.upkeep.history import (
    SEVERITIES,
    BuildRow,
    Clock,
    CrashRow,
    FindingRow,
    GroupHistory,
    PhotoRow,
    QuadHistory,
    SwapRow,
    TapRow,
)
from crashworthy.upkeep.lines import to_line, trusted_payload
from crashworthy.upkeep.payloads import (
    Build,
    Check,
    Crash,
    Finding,
    Note,
    Pack,
    Payload,
    Photo,
    Repair,
    Retraction,
    Swap,
    Tap,
    Tighten,
)
from crashworthy.upkeep.priors import CLASSES, load_priors
from crashworthy.upkeep.screws import Meter, ScrewLedger

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from datetime import datetime
    from uuid import UUID

    from crashworthy.build.quad import Joint
    from crashworthy.upkeep.priors import DosePrior, Priors

    Share = Callable[[str, Crash], float]

__all__ = ["Screws", "active_events", "fold", "fold_all", "fold_rows", "screws_of"]

_CLEAN_PACKS: Final = 10  # assumption: the reference vibration is the median of so many clean packs


@dataclass(frozen=True, slots=True)
class Screws:
    """What the fold needs to know of a joint group.

    Attributes:
        upkeep: which prior it takes: arm, motor or other.
        count: how many screws; 0 when not known (the most ever looked at is taken).
    """

    upkeep: str
    count: int = 0


def screws_of(joints: Iterable[Joint]) -> dict[str, Screws]:
    """The joint groups of a build, by name, for ``fold``."""
    return {joint.name: Screws(joint.upkeep, joint.count) for joint in joints}


def active_events(events: Iterable[Event], quad: str) -> list[Event]:
    """The events of one quad that count: in order, each id once, without retractions and what they took back.

    Should two different events claim one id, the one whose line sorts first is kept, so that the answer stays
    a function of the set.
    """
    by_id: dict[UUID, Event] = {}
    for event in events:
        if event.quad != quad:
            continue
        other = by_id.setdefault(event.id, event)
        if other is not event and other != event:
            by_id[event.id] = min(other, event, key=to_line)
    gone = {e.payload.target for e in by_id.values() if isinstance(e.payload, Retraction)}
    kept = (e for e in by_id.values() if e.id not in gone and not isinstance(e.payload, Retraction))
    return sorted(kept, key=lambda e: e.order)


def fold(
    quad: str,
    events: Iterable[Event],
    groups: Mapping[str, Screws],
    *,
    priors: Priors | None = None,
    share: Share | None = None,
) -> QuadHistory:
    """What a set of events says about one quad.

    Args:
        quad: slug; events of other quads are passed over.
        events: any iterable, in any order, duplicates allowed.
        groups: the joint groups of the build, by name; groups that only the journal names are added.
        priors: dose and crash jumps; the packaged ones when None.
        share: how much of a crash's jump a group takes, 0 to 1; all of it when None.

    Returns:
        The history.
    """
    priors = load_priors() if priors is None else priors
    active = active_events(events, quad)
    book = _Book(quad, priors, _all_groups(groups, [e.payload for e in active]), share)
    for event in active:
        book.take(event.payload, event.occurred, event.id)
    return book.history()


def fold_rows(
    quad: str,
    rows: Iterable[tuple[int, bytes, str, str]],
    groups: Mapping[str, Screws],
    *,
    priors: Priors | None = None,
    share: Share | None = None,
    known: dict[tuple[str, str], Payload] | None = None,
) -> QuadHistory:
    """``fold`` for events as a store keeps them, several times as fast: one payload text is read once.

    Args:
        quad: slug.
        rows: (ms since 1970 UTC, id, kind, canonical payload) of that quad's events, each id once, in order
            of time, then id.
        groups: as for ``fold``.
        priors: as for ``fold``.
        share: as for ``fold``.
        known: payloads read already, by kind and text; hand in the same one for many quads.

    Raises:
        ValueError, KeyError, TypeError: a payload was damaged since it was stored.
    """
    priors = load_priors() if priors is None else priors
    known = {} if known is None else known
    # Lists side by side and no row of our own: a million small containers would cost a third in collection.
    rows = list(rows)
    said: list[Payload] = []
    gone: set[bytes] = set()
    for _, _, kind, text in rows:
        payload = known.get((kind, text))
        if payload is None:
            payload = known[kind, text] = trusted_payload(kind, text)
        if kind == "retraction":
            gone.add(payload.target.bytes)  # type: ignore[attr-defined] # by its kind
        said.append(payload)
    keep = [row[1] not in gone and row[2] != "retraction" for row in rows] if gone else None
    if keep is not None:
        rows, said = list(compress(rows, keep)), list(compress(said, keep))
    book = _Book(quad, priors, _all_groups(groups, said), share)
    by_type, seen = book.by_type, book.take
    for payload, row in zip(said, rows, strict=True):
        by_type.get(type(payload), seen)(payload, row[0], row[1])
    return book.history()


def fold_all(
    events: Iterable[Event],
    groups_by_quad: Mapping[str, Mapping[str, Screws]],
    *,
    priors: Priors | None = None,
) -> dict[str, QuadHistory]:
    """``fold`` for every quad named in ``groups_by_quad`` or in the events, by slug in alphabetical order."""
    by_quad: dict[str, list[Event]] = {slug: [] for slug in groups_by_quad}
    for event in events:
        by_quad.setdefault(event.quad, []).append(event)
    return {
        slug: fold(slug, by_quad[slug], groups_by_quad.get(slug, {}), priors=priors)
        for slug in sorted(by_quad)
    }


def _all_groups(groups: Mapping[str, Screws], said: Iterable[Payload]) -> dict[str, Screws]:
    """Groups of the build, then those that only the journal names, in alphabetical order."""
    named = {p.group for p in said if type(p) is Check or type(p) is Tighten}
    extra = {g: Screws(g if g in CLASSES else "other") for g in sorted(named - set(groups))}
    return dict(groups) | extra


class _Book:
    """The running account of one quad; used inside one call of ``fold`` only."""

    def __init__(self, quad: str, priors: Priors, groups: Mapping[str, Screws], share: Share | None) -> None:
        self.quad, self.dose_prior, self.share = quad, priors.dose, share
        self.meter, self.dose = Meter(), 0.0
        self.doses: dict[tuple[float | None, bool], float] = {}
        self.jumps = {severity: crash_dose(priors.dose, severity) for severity in SEVERITIES}
        self.clean: deque[float] = deque(maxlen=_CLEAN_PACKS)
        self.crashes: list[Crash] = []
        self.crash_times: list[datetime | int] = []
        self.broke: list[tuple[str, ...]] = []
        self.crash_at: dict[UUID | bytes, int] = {}
        self.broken: set[str] = set()
        self.breaks: dict[str, int] = {}
        self.swaps: dict[str, int] = {}
        self.notes: list[str] = []
        self.by_severity = dict.fromkeys(SEVERITIES, 0)
        self.changes: list[SwapRow] = []
        self.taps: list[TapRow] = []
        self.findings: list[FindingRow] = []
        self.photos: list[PhotoRow] = []
        self.builds: list[BuildRow] = []
        self.batteries: dict[str, int] = {}
        self.groups = {
            name: ScrewLedger(
                screws.count, self.meter, slam_makes_due=priors.group(screws.upkeep).slam_makes_due
            )
            for name, screws in groups.items()
        }

        self.by_type: dict[type[Payload], Callable[[Any, datetime | int, UUID | bytes], None]] = {
            Pack: self._pack,
            Crash: self._crash,
            Check: self._check,
            Tighten: self._tighten,
            Swap: self._swap,
            Repair: self._repair,
        }

    def take(self, payload: Payload, occurred: datetime | int, key: UUID | bytes) -> None:
        """Account for one event."""
        # By a table and not by match: a season has thousands of packs and crashes.
        self.by_type.get(type(payload), self._seen)(payload, occurred, key)

    def _check(self, check: Check, occurred: datetime | int, _key: UUID | bytes) -> None:
        self.groups[check.group].check(check, occurred)

    def _tighten(self, tighten: Tighten, _occurred: datetime | int, _key: UUID | bytes) -> None:
        self.groups[tighten.group].renew()

    def _swap(self, swap: Swap, occurred: datetime | int, _key: UUID | bytes) -> None:
        self.swaps[swap.part] = self.swaps.get(swap.part, 0) + 1
        self.changes.append(SwapRow(_when(occurred), swap.part, swap.why, swap.serial, self._clock()))
        self._mend(swap)

    def _repair(self, repair: Repair, _occurred: datetime | int, _key: UUID | bytes) -> None:
        self._mend(repair)

    def _seen(self, payload: Payload, moment_or_ms: datetime | int, _key: UUID | bytes) -> None:
        """What was noted, measured, looked at, pictured or changed in the sheet."""
        occurred = _when(moment_or_ms)
        match payload:
            case Note():
                self.notes.append(payload.text)
            case Tap():
                self.taps.append(TapRow(occurred, payload.part, payload.hz, self._clock()))
            case Finding():
                row = FindingRow(occurred, payload.part, payload.state, payload.text, self._clock())
                self.findings.append(row)
            case Photo():
                self.photos.append(PhotoRow(occurred, payload.file, payload.part, payload.text))
            case Build():
                self.builds.append(BuildRow(occurred, payload.digest, payload.text, self._clock()))

    def _clock(self) -> Clock:
        scuffs, hits, slams = self.by_severity.values()
        return Clock(self.meter.packs, self.dose, (scuffs, hits, slams))

    def _pack(self, pack: Pack, _occurred: datetime | int, _key: UUID | bytes) -> None:
        if pack.rms is None:
            key = (pack.minutes, pack.bent_prop)
            dose = self.doses.get(key)
            if dose is None:
                dose = self.doses[key] = _dose_of(pack, self.dose_prior, self.clean)
        else:
            dose = _dose_of(pack, self.dose_prior, self.clean)
            if pack.rms and not pack.bent_prop:
                self.clean.append(pack.rms)
        self.meter.packs += 1
        self.meter.clock += dose
        self.dose += dose
        if pack.battery:
            self.batteries[pack.battery] = self.batteries.get(pack.battery, 0) + 1

    def _crash(self, crash: Crash, occurred: datetime | int, key: UUID | bytes) -> None:
        self.crash_at[key] = len(self.crashes)
        self.by_severity[crash.severity] += 1
        self.crashes.append(crash)
        self.crash_times.append(occurred)
        self.broke.append(crash.broke)
        for part in crash.broke:
            self._count_break(part)
            self.broken.add(part)
        jump = self.jumps[crash.severity]
        if self.share is None:
            self.meter.clock += jump
        else:
            for name, ledger in self.groups.items():
                ledger.extra += jump * self.share(name, crash)
        if crash.severity == "slam":
            self.meter.slams += 1

    def _mend(self, mend: Swap | Repair) -> None:
        if mend.why != "broke":
            self.broken.discard(mend.part)
            return
        at = None
        if mend.crash:
            at = self.crash_at.get(mend.crash, self.crash_at.get(mend.crash.bytes))
        announced = mend.part in self.broken if at is None else mend.part in self.broke[at]
        self.broken.discard(mend.part)
        if announced:
            return
        self._count_break(mend.part)
        at = len(self.crashes) - 1 if at is None else at
        if at >= 0 and mend.part not in self.broke[at]:
            self.broke[at] = (*self.broke[at], mend.part)

    def _count_break(self, part: str) -> None:
        self.breaks[part] = self.breaks.get(part, 0) + 1

    def history(self) -> QuadHistory:
        """The account so far as the contract that the statistics read."""
        return QuadHistory(
            quad=self.quad,
            packs=self.meter.packs,
            dose=self.dose,
            crashes=tuple(
                CrashRow(_when(occurred), crash.severity, crash.obstacle, broke)
                for occurred, crash, broke in zip(self.crash_times, self.crashes, self.broke, strict=True)
            ),
            groups={name: _group_history(name, ledger) for name, ledger in self.groups.items()},
            swaps=dict(sorted(self.swaps.items())),
            breaks=dict(sorted(self.breaks.items())),
            notes=tuple(reversed(self.notes)),
            changes=tuple(self.changes),
            taps=tuple(self.taps),
            findings=tuple(self.findings),
            photos=tuple(self.photos),
            builds=tuple(self.builds),
            batteries=dict(sorted(self.batteries.items())),
        )


def _when(occurred: datetime | int) -> datetime:
    return moment(occurred) if isinstance(occurred, int) else occurred


def _dose_of(pack: Pack, prior: DosePrior, clean: deque[float]) -> float:
    # Before any clean pack is known there is nothing to compare the vibration with.
    reference = _median(clean) if clean and pack.rms is not None else None
    return pack_dose(
        prior, minutes=pack.minutes, rms=pack.rms, reference_rms=reference, bent_prop=pack.bent_prop
    )


def _median(values: Iterable[float]) -> float:
    # By hand: the library's module costs more to import than all of this one.
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def _group_history(name: str, ledger: ScrewLedger) -> GroupHistory:
    return GroupHistory(
        group=name,
        age=ledger.age,
        packs=ledger.packs_since_renewal,
        checks=tuple(ledger.rows),
        forced=ledger.forced,
        since_missing=ledger.since_missing,
        last_check=None if ledger.last_check is None else _when(ledger.last_check),
        since_tight=ledger.since_tight,
    )
