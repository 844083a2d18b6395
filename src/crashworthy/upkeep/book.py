"""The account of one quad: packs and crashes summed by arrays, the rest event by event (rules: ``state``)."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.upkeep.dose import crash_dose, pack_dose
from crashworthy.upkeep.events import moment
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
    Swap,
    Tap,
    Tighten,
)
from crashworthy.upkeep.screws import Meter, ScrewLedger

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from numpy.typing import NDArray

    from crashworthy.upkeep.columns import Columns
    from crashworthy.upkeep.priors import DosePrior, Priors

    Floats = NDArray[np.float64]
    Share = Callable[[str, Crash], float]

__all__ = ["Book"]

_CLEAN_PACKS: Final = 10  # assumption: the reference vibration is the median of so many clean packs


class Book:
    """The account of one quad; used inside one call of ``fold`` only."""

    def __init__(
        self,
        quad: str,
        priors: Priors,
        groups: Mapping[str, tuple[str, int]],
        columns: Columns,
        share: Share | None,
    ) -> None:
        """Account for the events of ``columns``, which all count.

        Args:
            quad: slug.
            priors: dose and crash jumps.
            groups: (upkeep class, how many screws) by name; every group that the events name is among them.
            columns: the events.
            share: how much of a crash's jump a group takes; all of it when None.
        """
        self.quad, self.dose_prior, self.columns = quad, priors.dose, columns
        self.meter, self.dose = Meter(), 0.0
        self.by_severity = (0, 0, 0)
        self.crashes: list[Crash] = []
        self.crash_times: list[int] = []
        self.crash_devices: list[str] = []
        self.broke: list[tuple[str, ...]] = []
        self.crash_at: dict[bytes, int] | None = None
        self.broken: set[str] = set()
        self.breaks: dict[str, int] = {}
        self.swaps: dict[str, int] = {}
        self.notes: list[str] = []
        self.changes: list[SwapRow] = []
        self.taps: list[TapRow] = []
        self.findings: list[FindingRow] = []
        self.photos: list[PhotoRow] = []
        self.builds: list[BuildRow] = []
        self.batteries: dict[str, int] = {}
        self.groups = {
            name: ScrewLedger(count, self.meter, slam_makes_due=priors.group(upkeep).slam_makes_due)
            for name, (upkeep, count) in groups.items()
        }
        self._by_type: dict[type[Payload], Callable[[Any, int], None]] = {
            Crash: self._crash,
            Check: self._check,
            Tighten: self._tighten,
            Swap: self._swap,
            Repair: self._repair,
        }
        self._account(share)

    def _account(self, share: Share | None) -> None:
        """Sum packs and crashes up, and walk through what is left with the clocks of its moment."""
        columns, payloads = self.columns, self.columns.payloads
        n, kinds = len(payloads), [type(p) for p in self.columns.payloads]
        dose, jump, rank = np.zeros(n), np.zeros(n), np.full(n, -1)
        jumps = [crash_dose(self.dose_prior, severity) for severity in SEVERITIES]
        walk = np.ones(n, dtype=bool)
        logged: list[int] = []
        times = np.bincount(columns.said, minlength=n).tolist()
        doses: dict[tuple[float | None, bool], float] = {}
        for i, said in enumerate(payloads):
            if kinds[i] is Pack:
                walk[i] = False
                self._count_battery(said, times[i])
                if said.rms is not None:  # type: ignore[attr-defined] # by its type
                    logged.append(i)
                    continue
                key = (said.minutes, said.bent_prop)  # type: ignore[attr-defined]
                if key not in doses:
                    doses[key] = _dose_of(said, self.dose_prior, ())
                dose[i] = doses[key]
            elif kinds[i] is Crash:
                rank[i] = SEVERITIES.index(said.severity)  # type: ignore[attr-defined]
                jump[i] = jumps[rank[i]]
                walk[i] = bool(said.broke)  # type: ignore[attr-defined]
        is_pack = np.array([k is Pack for k in kinds], dtype=bool)[columns.said]
        ranks, doses_then = rank[columns.said], dose[columns.said]
        if logged:
            self._add_logged(np.flatnonzero(np.isin(columns.said, logged)), doses_then)
        self._list_crashes(np.flatnonzero(ranks >= 0))
        steps = doses_then if share else doses_then + jump[columns.said]
        # Sums in the order of events: the same bits however the events came in.
        series = (
            np.cumsum(steps),
            np.cumsum(is_pack),
            *(np.cumsum(ranks == i) for i in range(3)),
            np.cumsum(doses_then),
        )
        stops = np.flatnonzero(walk[columns.said] | (ranks >= 0 if share else False))
        if len(columns.said) and (not len(stops) or stops[-1] != len(columns.said) - 1):
            stops = np.append(stops, len(columns.said) - 1)
        self._walk(stops, series, jumps, share)

    def _walk(
        self, stops: NDArray[Any], series: tuple[NDArray[Any], ...], jumps: list[float], share: Share | None
    ) -> None:
        meter, payloads, seen = self.meter, self.columns.payloads, self._seen
        said, occurred = self.columns.said[stops].tolist(), self.columns.occurred[stops].tolist()
        clocks = zip(*(values[stops].tolist() for values in series), strict=True)
        for which, ms, (clock, packs, scuffs, hits, slams, dose) in zip(said, occurred, clocks, strict=True):
            meter.clock, meter.packs, meter.slams = clock, packs, slams
            self.by_severity, self.dose = (scuffs, hits, slams), dose
            payload = payloads[which]
            if share is not None and type(payload) is Crash:
                jump = jumps[SEVERITIES.index(payload.severity)]
                for name, ledger in self.groups.items():
                    ledger.extra += jump * share(name, payload)
            self._by_type.get(type(payload), seen)(payload, ms)

    def _count_battery(self, pack: Any, times: int) -> None:
        if pack.battery and times:
            self.batteries[pack.battery] = self.batteries.get(pack.battery, 0) + times

    def _add_logged(self, places: NDArray[Any], doses: Floats) -> None:
        """The doses of packs with a flight log, which are held against the clean ones before."""
        clean: deque[float] = deque(maxlen=_CLEAN_PACKS)
        for at in places.tolist():
            pack: Any = self.columns.payloads[int(self.columns.said[at])]
            doses[at] = _dose_of(pack, self.dose_prior, clean)
            if pack.rms and not pack.bent_prop:
                clean.append(pack.rms)

    def _list_crashes(self, places: NDArray[Any]) -> None:
        payloads = self.columns.payloads
        self.crashes = [payloads[i] for i in self.columns.said[places].tolist()]
        self.crash_times = self.columns.occurred[places].tolist()
        self.broke = [c.broke for c in self.crashes]
        devices, ids = self.columns.devices, self.columns.ids
        self.crash_devices = [devices.get(ids[at], "") for at in places.tolist()]
        self._crash_places = places

    def _crash(self, crash: Crash, _occurred: int) -> None:
        for part in crash.broke:
            self._count_break(part)
            self.broken.add(part)

    def _check(self, check: Check, occurred: int) -> None:
        self.groups[check.group].check(check, occurred)

    def _tighten(self, tighten: Tighten, _occurred: int) -> None:
        self.groups[tighten.group].renew()

    def _swap(self, swap: Swap, occurred: int) -> None:
        self.swaps[swap.part] = self.swaps.get(swap.part, 0) + 1
        self.changes.append(SwapRow(moment(occurred), swap.part, swap.why, swap.serial, self._clock()))
        self._mend(swap)

    def _repair(self, repair: Repair, _occurred: int) -> None:
        self._mend(repair)

    def _seen(self, payload: Payload, ms: int) -> None:
        """What was noted, measured, looked at, pictured or changed in the sheet."""
        occurred = moment(ms)
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
        return Clock(self.meter.packs, self.dose, self.by_severity)

    def _mend(self, mend: Swap | Repair) -> None:
        if mend.why != "broke":
            self.broken.discard(mend.part)
            return
        at = None if mend.crash is None else self._place_of(mend.crash.bytes)
        announced = mend.part in self.broken if at is None else mend.part in self.broke[at]
        self.broken.discard(mend.part)
        if announced:
            return
        self._count_break(mend.part)
        at = sum(self.by_severity) - 1 if at is None else at
        if at >= 0 and mend.part not in self.broke[at]:
            self.broke[at] = (*self.broke[at], mend.part)

    def _place_of(self, crash: bytes) -> int | None:
        """Which crash of the list has that id, were it one before now."""
        if self.crash_at is None:
            ids = self.columns.ids
            self.crash_at = {ids[at]: number for number, at in enumerate(self._crash_places.tolist())}
        at = self.crash_at.get(crash)
        return at if at is not None and at < sum(self.by_severity) else None

    def _count_break(self, part: str) -> None:
        self.breaks[part] = self.breaks.get(part, 0) + 1

    def history(self) -> QuadHistory:
        """The account as the contract that the statistics read."""
        return QuadHistory(
            quad=self.quad,
            packs=self.meter.packs,
            dose=self.dose,
            crashes=tuple(
                map(
                    CrashRow,
                    map(moment, self.crash_times),
                    [c.severity for c in self.crashes],
                    [c.obstacle for c in self.crashes],
                    self.broke,
                    [c.hit for c in self.crashes],
                    self.crash_devices,
                )
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


def _dose_of(pack: Any, prior: DosePrior, clean: Iterable[float]) -> float:
    # Before any clean pack is known there is nothing to compare the vibration with.
    levels = sorted(clean)
    reference = _median(levels) if levels and pack.rms is not None else None
    return pack_dose(
        prior, minutes=pack.minutes, rms=pack.rms, reference_rms=reference, bent_prop=pack.bent_prop
    )


def _median(ordered: list[float]) -> float:
    # By hand: the library's module costs more to import than all of this one.
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
        last_check=None if ledger.last_check is None else moment(ledger.last_check),
        since_tight=ledger.since_tight,
    )
