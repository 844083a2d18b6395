"""Several flights in one file: where one ends and the next begins, and each as a log of its own.

A file is cut where its clock starts again, where nothing at all was logged for some seconds, and where every
motor stood still for some seconds between two runs (disarmed and armed again).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import LogError, Problem
from crashworthy.vibration.clock import rate
from crashworthy.vibration.log import FlightLog, find_gaps

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["MOST", "PAUSE", "REST", "SHORTEST", "choose", "numbered", "split"]

PAUSE: Final = 3.0
"""Seconds without a single sample of anything that end a flight. Assumption."""

REST: Final = 3.0
"""Seconds in which no motor turns that part two flights. Assumption."""

STANDS: Final = 5.0
"""A motor below this stands still, turns a second. Assumption."""

NO_COMMAND: Final = 0.005
"""A command below this asks a motor to stand, share of full. Assumption."""

SHORTEST: Final = 1.0
"""A part shorter than this is no flight, s. Assumption."""

MOST: Final = 64
"""At most so many flights are taken from one file."""

_SERIES: Final = (
    ("t", ("gyro",)),
    ("acc_t", ("acc",)),
    ("speed_t", ("speed",)),
    ("command_t", ("command",)),
    ("power_t", ("volts", "amps")),
)
_NAMES: Final = {"t": "gyro", "acc_t": "acc", "speed_t": "speed", "command_t": "command", "power_t": "power"}


def _clocks(log: FlightLog) -> list[Floats]:
    return [c for name, _ in _SERIES if (c := getattr(log, name)) is not None and len(c)]


def _pauses(log: FlightLog) -> list[float]:
    """Middles of the stretches in which nothing was logged."""
    at = np.sort(np.concatenate(_clocks(log)))
    step = np.diff(at)
    if not len(step):
        return []
    limit = max(PAUSE, 20.0 * float(np.median(step[step > 0.0])) if (step > 0.0).any() else PAUSE)
    return [float(0.5 * (at[i] + at[i + 1])) for i in np.flatnonzero(step > limit)]


def _rests(log: FlightLog) -> list[float]:
    """Middles of the stretches between two runs in which no motor turns."""
    if log.speed_t is not None and log.speed is not None:
        t, still = log.speed_t, log.speed.max(axis=1) < STANDS
    elif log.command_t is not None and log.command is not None:
        t, still = log.command_t, log.command.max(axis=1) < NO_COMMAND
    else:
        return []
    runs = np.flatnonzero(~still)
    if len(runs) < 2:
        return []
    last = runs[:-1][np.diff(runs) > 1]
    first = runs[1:][np.diff(runs) > 1]
    long = t[first - 1] - t[last + 1] >= REST
    return [float(x) for x in 0.5 * (t[last] + t[first])[long]]


def _part(log: FlightLog, begin: float, end: float) -> FlightLog | None:
    """What was logged from ``begin`` up to ``end``, its clock starting at zero; None without two rows."""
    found: dict[str, Any] = {}
    starts: list[float] = []
    for clock, values in _SERIES:
        c = getattr(log, clock)
        rows = None if c is None else (c >= begin) & (c < end)
        keep = rows is not None and int(rows.sum()) > 1
        found[clock] = c[rows] if keep else None
        for v in values:
            y = getattr(log, v)
            found[v] = y[rows] if keep and y is not None else None
        if keep:
            starts.append(float(found[clock][0]))
    if not starts:
        return None
    zero = min(starts)
    for clock, _ in _SERIES:
        if found[clock] is not None:
            found[clock] = found[clock] - zero
    rates = {_NAMES[c]: rate(found[c]) for c, _ in _SERIES if found[c] is not None}
    gaps, jitter = find_gaps(found["t"]) if found["t"] is not None else ((), 0.0)
    if found["t"] is None:
        found["t"] = np.empty(0)
    meta = replace(log.meta, rates=rates, gaps=gaps, jitter=jitter, begins=log.meta.begins + zero)
    return FlightLog(meta=meta, **found)


def split(log: FlightLog) -> tuple[FlightLog, ...]:
    """The flights of a log, in order; the log itself when it holds one.

    Parts of less than a second are left out and told in the notes of the first flight.
    """
    clocks = _clocks(log)
    if not clocks:
        return (log,)
    end = max(float(c[-1]) for c in clocks)
    cuts = sorted({*_pauses(log), *_rests(log)})
    if not cuts:
        return (log,)
    made = [_part(log, a, b) for a, b in pairwise([-np.inf, *cuts, np.nextafter(end, np.inf)])]
    parts = [p for p in made if p is not None]
    flights = [p for p in parts if p.duration >= SHORTEST][:MOST]
    if not flights:
        return (log,)
    left = [p for p in parts if not any(p is f for f in flights)]
    if left:
        where = ", ".join(f"{p.duration:.1f} s at {p.meta.begins:.1f} s" for p in left[:5])
        note = f"{len(left)} short parts of the file are no flights and were left out: {where}"
        flights[0] = replace(flights[0], meta=replace(flights[0].meta, notes=(*flights[0].meta.notes, note)))
    return tuple(flights)


def numbered(logs: Sequence[FlightLog]) -> tuple[FlightLog, ...]:
    """Cut every log into its flights and number them through."""
    parts = [p for log in logs for p in split(log)][:MOST]
    if len(parts) == 1:
        return (parts[0],)
    return tuple(
        replace(p, meta=replace(p.meta, flight=k, flights=len(parts))) for k, p in enumerate(parts, start=1)
    )


def choose(logs: Sequence[FlightLog], flight: int | None = None) -> FlightLog:
    """One of the flights of a file: the one asked for, else the longest, with a note that there are more.

    Args:
        logs: as ``numbered`` gives them.
        flight: its number, from 1; None for the longest.

    Raises:
        LogError: there is no flight of that number.
    """
    if flight is not None:
        if not 1 <= flight <= len(logs):
            raise LogError(
                Problem(
                    f"there is no flight {flight}: the file holds {len(logs)}",
                    "ask for one of them; --list shows them",
                    logs[0].meta.source,
                    field="flight",
                )
            )
        return logs[flight - 1]
    best = max(logs, key=lambda log: log.duration)
    if len(logs) == 1:
        return best
    note = (
        f"The file holds {len(logs)} flights; this is flight {best.meta.flight}, the longest "
        f"({best.duration:.0f} s). Ask for another by its number."
    )
    return replace(best, meta=replace(best.meta, notes=(note, *best.meta.notes)))
