"""Flight logs as text tables: any columns, any delimiter, recognised by quantity and unit or by a mapping."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import LogError, Problem
from crashworthy.vibration.clock import resets, spread_ties
from crashworthy.vibration.flights import MOST, SHORTEST
from crashworthy.vibration.log import make_log
from crashworthy.vibration.readers.guess import GuessTable, guess_columns
from crashworthy.vibration.readers.mapping import AXES, MOTORS, Mapping, factor, family
from crashworthy.vibration.readers.table import layout, parse, sample

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog

    Floats = NDArray[np.float64]

__all__ = ["POLE_PAIRS", "CsvReader", "guess"]

POLE_PAIRS: Final = 7
"""Pole pairs of a motor when nobody says (14 magnets). Assumption: common practice, no source."""


def guess(path: str | Path) -> GuessTable:
    """What each column of a table is taken for; nothing is stored.

    Raises:
        LogError: it is no table, or no column is a clock.
    """
    path = Path(path)
    plan = layout(path)
    return guess_columns(path.name, plan, sample(path, plan))


class CsvReader:
    """Reads comma, semicolon, tab or blank separated tables."""

    name = "csv"

    def sniff(self, path: Path) -> float:
        """0.6 for a text table of numbers, 0.3 for other text, 0 for binary."""
        try:
            layout(path)
        except LogError:
            with path.open("rb") as file:
                head = file.read(4096)
            text = b"\0" not in head and sum(b < 9 or 13 < b < 32 or b > 126 for b in head) < 0.1 * len(head)
            return 0.3 if text else 0.0
        return 0.6

    def read(self, path: Path, mapping: Mapping | None = None, pole_pairs: int | None = None) -> FlightLog:
        """The longest stretch of the table over which the clock runs on; see ``read_all``."""
        return max(self.read_all(path, mapping, pole_pairs), key=lambda log: log.duration)

    def read_all(
        self, path: Path, mapping: Mapping | None = None, pole_pairs: int | None = None
    ) -> tuple[FlightLog, ...]:
        """Read the table; each time its clock starts again a new log begins.

        Args:
            path: the file.
            mapping: what its columns mean; guessed when None.
            pole_pairs: of the motors, for electrical speeds.

        Raises:
            LogError: it is no table, a mapped column is missing, or nothing in it can be used.
        """
        path = Path(path)
        plan = layout(path)
        notes: list[str] = []
        if mapping is None:
            mapping = guess_columns(path.name, plan, sample(path, plan)).to_mapping()
        place = {h: i for i, h in reversed(list(enumerate(plan.headers)))}
        lost = [c.name for c in mapping.columns if c.name not in place]
        if lost:
            raise LogError(
                *(
                    Problem(
                        f"no column is called {name!r}",
                        f"use one of: {', '.join(plan.headers[:20])}",
                        path.name,
                        max(plan.line - 1, 1),
                        f"columns.{name}",
                    )
                    for name in lost
                )
            )
        columns = [c for c in mapping.columns if c.quantity != "ignore"]
        rows = parse(path, plan, [place[c.name] for c in columns])
        if rows.damage:
            notes.append(
                f"only what comes before the damage was read, {len(rows.values)} rows: {rows.damage}"
            )
        if rows.bad:
            notes.append(
                f"{rows.bad} rows were ragged or not numbers and were left out, the first on line "
                f"{rows.first_bad}"
            )
        pairs = pole_pairs or POLE_PAIRS
        if any(c.unit == "erpm" for c in columns) and not pole_pairs:
            notes.append(f"motor speed is electrical; {POLE_PAIRS} pole pairs are taken (assumption)")
        found: dict[str, Floats] = {}
        for k, c in enumerate(columns):
            value = rows.values[:, k] * (c.scale * factor(c.quantity, c.unit, pairs))
            if c.unit == "us" and family(c.quantity) == "command":
                value = np.clip(value - 1.0, 0.0, 1.0)
            found[c.quantity] = value
        lost_rows = rows.bad
        del rows, value  # the columns are copies: a long log is not held twice
        if "time" not in found:
            raise LogError(Problem("the mapping names no clock", "name the time column", path.name))
        remarks = " ".join(plan.comments).lower()
        source = _Source(
            path.name,
            mapping.axes,
            {family(c.quantity): c.unit for c in sorted(columns, key=lambda c: c.quantity, reverse=True)},
            invented="simulated" in remarks or "invented" in remarks,
        )
        parts, stray = resets(found["time"])
        found["time"][stray] = np.nan  # a row without a time is left out
        if len(stray):
            notes.append(f"{len(stray)} rows are out of order and were left out")
        if len(parts) == 1:
            return (_made(found, source, lost_rows, notes),)
        return _each(found, parts, source, lost_rows, notes)


@dataclass(frozen=True, slots=True)
class _Source:
    """What every flight of a table shares: file name, axes, units, and whether it is invented."""

    name: str
    axes: str
    units: dict[str, str]
    invented: bool


def _each(
    found: dict[str, Floats], parts: list[slice], source: _Source, lost_rows: int, notes: list[str]
) -> tuple[FlightLog, ...]:
    """A log of every stretch of rows; what holds nothing usable is left out and told in the first."""
    logs: list[FlightLog] = []
    for part in sorted(sorted(parts, key=lambda p: p.start - p.stop)[:MOST], key=lambda p: p.start):
        rows = {k: v[part] for k, v in found.items()}
        try:
            log = _made(rows, source, 0 if logs else lost_rows, notes if not logs else [])
        except LogError:
            continue
        if log.duration < SHORTEST:
            continue
        logs.append(log)
    if not logs:
        longest = max(parts, key=lambda p: p.stop - p.start)
        return (_made({k: v[longest] for k, v in found.items()}, source, lost_rows, notes),)
    left = len(parts) - len(logs)
    if left:
        more = f"{left} stretches of rows between restarts of the clock hold no flight and were left out"
        logs[0] = replace(logs[0], meta=replace(logs[0].meta, notes=(*logs[0].meta.notes, more)))
    return tuple(logs)


def _made(found: dict[str, Floats], source: _Source, lost_rows: int, notes: list[str]) -> FlightLog:
    """One log of columns over one stretch of rows; takes the columns out of ``found``."""
    notes = list(notes)
    time = spread_ties(found["time"])
    if time is not found["time"]:
        notes.append("several rows share each tick of the clock and were spread evenly between ticks")
    sign = np.array(AXES[source.axes])
    three = {k: _stack(found, [f"{k}_{a}" for a in "xyz"], notes) for k in ("gyro", "acc")}
    many = {k: _motors(found, k) for k in ("speed", "command")}
    volts, amps = found.get("volts"), found.get("amps")
    pt, volts, amps = _filled(time, volts, amps)
    st, speed = _joined(time, many["speed"])
    ct, command = _joined(time, many["command"])
    at, acc = _present(time, three["acc"])
    gt, gyro = _present(time, three["gyro"])
    return make_log(
        source=source.name,
        reader="csv",
        t=gt,
        gyro=None if gyro is None else gyro * sign,
        acc_t=at,
        acc=None if acc is None else acc * sign,
        speed_t=st,
        speed=speed,
        command_t=ct,
        command=command,
        power_t=pt,
        volts=volts,
        amps=amps,
        units=source.units,
        dropouts=lost_rows,
        invented=source.invented,
        notes=tuple(notes),
    )


def _stack(found: dict[str, Floats], names: list[str], notes: list[str]) -> Floats | None:
    have = [n for n in names if n in found]
    if have and len(have) < len(names):
        notes.append(f"only {', '.join(have)} of {', '.join(names)} is there, so it is not used")
    return np.column_stack([found.pop(n) for n in names]) if len(have) == len(names) else None


def _motors(found: dict[str, Floats], kind: str) -> Floats | None:
    names = [f"{kind}_{i}" for i in range(1, MOTORS + 1) if f"{kind}_{i}" in found]
    names = [n for n in names if np.isfinite(found[n]).any()]
    return np.column_stack([found.pop(n) for n in names]) if names else None


def _present(t: Floats, y: Floats | None) -> tuple[Floats | None, Floats | None]:
    """Only the rows in which the quantity stands: a slow one leaves the others blank."""
    if y is None:
        return None, None
    rows = np.isfinite(y).any(axis=1) & np.isfinite(t)
    return t[rows], y[rows]


def _joined(t: Floats, y: Floats | None) -> tuple[Floats | None, Floats | None]:
    """The same for motors, which may report in turn: each is joined by lines between its own rows."""
    clock, values = _present(t, y)
    if clock is None or values is None or np.isfinite(values).all():
        return clock, values
    out = np.empty_like(values)
    for m in range(values.shape[1]):
        own = np.isfinite(values[:, m])
        out[:, m] = np.interp(clock, clock[own], values[own, m])
    return clock, out


def _filled(
    t: Floats, volts: Floats | None, amps: Floats | None
) -> tuple[Floats | None, Floats | None, Floats | None]:
    """Voltage and current at the rows where both stand."""
    if volts is None:
        return None, None, None
    rows = np.isfinite(volts) & np.isfinite(t)
    if amps is not None:
        both = rows & np.isfinite(amps)
        if both.sum() > 1:
            return t[both], volts[both], amps[both]
        amps = None
    return t[rows], volts[rows], amps
