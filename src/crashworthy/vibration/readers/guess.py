"""Guess what the columns of a table mean, from their headers and from the range of their numbers.

Rules of range (common practice, no source): a gyro whose 99.9th percentile is under 40 is in rad/s, else
deg/s; a clock stepping by 0.05 to 50 is in ms, by 50 to 5000 in microseconds; a motor speed with a median
over 60 000 is electrical.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.errors import LogError, Problem
from crashworthy.vibration.readers.mapping import UNITS, Column, Mapping, family, name_guess, unit_guess

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.readers.table import Layout

    Floats = NDArray[np.float64]

__all__ = ["GuessRow", "GuessTable", "guess_columns"]


@dataclass(frozen=True, slots=True)
class GuessRow:
    """One column and what it is taken for.

    Attributes:
        index: 0-based column.
        name: header.
        quantity, unit, scale: as in ``Column``.
        why: what the guess rests on.
        low, high: range of the numbers looked at, as they stand in the file; nan without numbers.
    """

    index: int
    name: str
    quantity: str
    unit: str
    scale: float
    why: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class GuessTable:
    """Every column and what it is taken for: to be shown, corrected and given back as a mapping.

    Attributes:
        file: name of the file.
        rows: one for each column.
        axes: "flu" or "frd", from the file's comments.
    """

    file: str
    rows: tuple[GuessRow, ...]
    axes: str = "flu"

    def to_mapping(self) -> Mapping:
        """The mapping these guesses amount to."""
        return Mapping(
            tuple(
                Column(r.name, r.quantity, r.unit, r.scale, r.why)
                for r in self.rows
                if r.quantity != "ignore"
            ),
            self.axes,
        )

    def summary(self) -> str:
        """One sentence."""
        used = sum(r.quantity != "ignore" for r in self.rows)
        return f"{used} of {len(self.rows)} columns are recognised."

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "file": self.file,
            "axes": self.axes,
            "summary": self.summary(),
            "columns": [
                {
                    "index": r.index,
                    "name": r.name,
                    "quantity": r.quantity,
                    "unit": r.unit,
                    "scale": r.scale,
                    "why": r.why,
                    "low": r.low if np.isfinite(r.low) else None,
                    "high": r.high if np.isfinite(r.high) else None,
                }
                for r in self.rows
            ],
        }


def guess_columns(file: str, plan: Layout, data: Floats) -> GuessTable:
    """Guess every column.

    Args:
        file: name, for messages.
        plan: layout with the headers.
        data: (n, k) sample of the rows.

    Raises:
        LogError: no column is a clock.
    """
    named = [name_guess(h)[0] for h in plan.headers]
    zero_based = {kind: f"{kind}_#0" in named for kind in ("speed", "command")}
    quantities: list[str] = []
    for q in named:
        kind, mark, number = q.partition("_#")
        one = f"{kind}_{int(number) + zero_based[kind]}" if mark else q
        quantities.append(one if family(one) else "ignore")
    seen: set[str] = set()
    repeated: set[int] = set()
    for i, q in enumerate(quantities):
        if q in seen:
            repeated.add(i)
        elif q != "ignore":
            seen.add(q)
    finite = [data[np.isfinite(data[:, i]), i] for i in range(len(plan.headers))]
    pools: dict[str, Floats] = {}
    for kind in UNITS:
        cols = [finite[i] for i, q in enumerate(quantities) if family(q) == kind and i not in repeated]
        pools[kind] = np.concatenate(cols) if cols else np.empty(0)
    rows: list[GuessRow] = []
    for i, (header, q) in enumerate(zip(plan.headers, quantities, strict=True)):
        x = finite[i]
        low, high = (float(x.min()), float(x.max())) if len(x) else (float("nan"), float("nan"))
        if q == "ignore" or i in repeated or not len(x):
            why = "not recognised" if q == "ignore" else "holds no numbers"
            why = f"{q} is taken from an earlier column" if i in repeated else why
            rows.append(GuessRow(i, header, "ignore", "", 1.0, why, low, high))
            continue
        kind = family(q)
        said = unit_guess(header)
        if said in UNITS[kind]:
            unit, why = said, "name and unit in the header"
            if kind == "time":
                unit, why = _check_clock(x, unit)
        else:
            unit, why = _range(kind, header, x, pools[kind])
        if not unit:
            rows.append(GuessRow(i, header, "ignore", "", 1.0, why, low, high))
            continue
        scale = 1.0
        if unit == "erpm" and np.any(x > 0) and float(np.median(x[x > 0])) < 8000.0:
            # 8000 electrical is 19 turns a second with seven pole pairs: no motor flies so slowly.
            scale, why = 100.0, f"name; median {np.median(x[x > 0]):.3g} looks like hundreds"
        rows.append(GuessRow(i, header, q, unit, scale, why, low, high))
    if not any(r.quantity == "time" for r in rows):
        raise LogError(
            Problem(
                f"no column is recognised as the time (columns: {', '.join(plan.headers[:12])})",
                "give a mapping that names the clock's column",
                file,
                plan.line,
            )
        )
    remarks = " ".join(plan.comments).lower()
    axes = "frd" if "axes: frd" in remarks or "axes=frd" in remarks else "flu"
    return GuessTable(file, tuple(rows), axes)


def _step(x: Floats) -> float:
    d = np.diff(x)
    d = d[d > 0]
    return float(np.median(d)) if len(d) else 0.0


def _clock(step: float) -> str:
    if step <= 0.0 or step > 5e7:
        return "s"
    return "s" if step < 0.05 else "ms" if step < 50 else "us" if step < 5e4 else "ns"


def _check_clock(x: Floats, said: str) -> tuple[str, str]:
    """Keep the header's unit unless it makes the log slower than 1 or faster than 100 000 a second."""
    step = _step(x)
    seconds = step * UNITS["time"][said]
    if step and not 1e-5 <= seconds <= 1.0:
        unit = _clock(step)
        return unit, f"header says {said}, but steps of {step:g} fit {unit} better"
    return said, "name and unit in the header"


def _range(kind: str, header: str, x: Floats, pool: Floats) -> tuple[str, str]:
    """Unit from the range of the numbers, and the reason; ("", reason) when it cannot be told."""
    size = np.abs(pool)
    if kind == "time":
        unit = _clock(_step(x))
        return unit, f"name; steps of {_step(x):g} look like {unit}"
    if kind == "gyro":
        top = float(np.percentile(size, 99.9))
        return ("rad/s" if top < 40.0 else "deg/s"), f"name; 99.9th percentile {top:.3g}"
    if kind == "acc":
        mid = float(np.median(size[size > 0])) if np.any(size > 0) else 0.0
        top = float(np.percentile(size, 90))
        if top > 1000.0:
            return "", "acceleration in counts of unknown size"
        return ("g" if top < 4.0 else "m/s2"), f"name; median {mid:.3g}"
    turning = size[size > 0]
    mid = float(np.median(turning)) if len(turning) else 0.0
    if kind == "speed":
        name = header.lower()
        if "erpm" in name or mid > 60000.0:
            return "erpm", f"name; median {mid:.3g} is electrical"
        if "rpm" in name or mid > 1500.0:
            return "rpm", f"name; median {mid:.3g}"
        return "Hz", f"name; median {mid:.3g}"
    if kind == "command":
        top = float(size.max()) if len(size) else 0.0
        return ("1" if top <= 1.5 else "%" if top <= 110.0 else "us"), f"name; at most {top:.4g}"
    if kind == "volts":
        return ("V" if mid < 100.0 else "cV" if mid < 5000.0 else "mV"), f"name; median {mid:.3g}"
    return ("A" if mid < 400.0 else "cA" if mid < 20000 else "mA"), f"name; median {mid:.3g}"
