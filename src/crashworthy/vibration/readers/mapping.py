"""What the columns of a table mean: quantity, unit and scale, given by a person or guessed from the headers.

A mapping file is TOML or JSON:

    axes = "flu"                     # or "frd": x forward, y right, z down
    [columns."gyroX (deg/s)"]
    quantity = "gyro_x"
    unit = "deg/s"
    scale = 1.0                      # optional, multiplies the number before the unit
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from crashworthy.errors import LogError, Problem
from crashworthy.quantities import DEG, G_N

__all__ = ["AXES", "MOTORS", "UNITS", "Column", "Mapping", "factor", "family", "name_guess", "unit_guess"]

AXES: Final = {"flu": (1.0, 1.0, 1.0), "frd": (1.0, -1.0, -1.0)}
"""Signs that turn a log's axes into x forward, y left, z up."""

MOTORS: Final = 8
"""At most this many motors."""

UNITS: Final[dict[str, dict[str, float]]] = {
    "time": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9},
    "gyro": {"rad/s": 1.0, "deg/s": DEG},
    "acc": {"m/s2": 1.0, "g": G_N},
    "speed": {"Hz": 1.0, "rpm": 1.0 / 60.0, "rad/s": 1.0 / (2.0 * math.pi), "erpm": 1.0 / 60.0},
    "command": {"1": 1.0, "%": 0.01, "us": 1e-3},
    "volts": {"V": 1.0, "mV": 1e-3, "cV": 1e-2},
    "amps": {"A": 1.0, "mA": 1e-3, "cA": 1e-2},
    "ignore": {"": 1.0},
}
"""Factor to SI by family and unit. "erpm" is divided by the pole pairs as well; a command in "us" is a
pulse of 1000 to 2000 microseconds, so 1000 is taken off first."""

_FAMILY: Final = re.compile(r"^(time|volts|amps|ignore)$|^(gyro|acc)_[xyz]$|^(speed|command)_([1-8])$")


def family(quantity: str) -> str:
    """The family of a quantity ("gyro_x" -> "gyro"), or "" when there is no such quantity."""
    match = _FAMILY.match(quantity)
    return next((g for g in match.groups()[:3] if g), "") if match else ""


def factor(quantity: str, unit: str, pole_pairs: int) -> float:
    """Factor from a column's unit to SI."""
    value = UNITS[family(quantity)][unit]
    return value / pole_pairs if unit == "erpm" else value


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes:
        name: header as it stands in the file.
        quantity: "time", "gyro_x", "acc_x", "speed_1", "command_1", "volts", "amps" (and so on), or "ignore".
        unit: one of ``UNITS[family(quantity)]``.
        scale: multiplies the number before its unit is applied; -1 turns an axis round.
        why: what the guess rests on, or "given".
    """

    name: str
    quantity: str
    unit: str
    scale: float = 1.0
    why: str = "given"


@dataclass(frozen=True, slots=True)
class Mapping:
    """What the columns of one kind of file mean.

    Attributes:
        columns: the columns that mean something.
        axes: "flu" (x forward, y left, z up) or "frd" (x forward, y right, z down).
    """

    columns: tuple[Column, ...]
    axes: str = "flu"

    def to_json(self) -> dict[str, Any]:
        """Plain values; ``from_dict`` takes them back."""
        return {
            "axes": self.axes,
            "columns": {
                c.name: {"quantity": c.quantity, "unit": c.unit, "scale": c.scale} for c in self.columns
            },
        }

    @classmethod
    def from_dict(cls, data: object, file: str = "") -> Mapping:
        """Check plain values and make a mapping of them.

        Raises:
            LogError: every fault found, with its field and remedy.
        """
        faults: list[Problem] = []
        table = data if isinstance(data, dict) else {}
        rows = table.get("columns")
        if not isinstance(rows, dict) or not rows:
            raise LogError(
                Problem(
                    "the mapping has no columns",
                    'write [columns."header"] with quantity and unit for each',
                    file,
                    field="columns",
                )
            )
        axes = table.get("axes", "flu")
        if axes not in AXES:
            faults.append(Problem(f"axes {axes!r} is not known", 'use "flu" or "frd"', file, field="axes"))
        columns: list[Column] = []
        taken: dict[str, str] = {}
        for name, given in rows.items():
            where = f"columns.{name}"
            row = given if isinstance(given, dict) else {}
            quantity, unit = str(row.get("quantity", "")), str(row.get("unit", ""))
            kind = family(quantity)
            if not kind:
                faults.append(
                    Problem(
                        f"quantity {quantity!r} is not known",
                        "use time, gyro_x..z, acc_x..z, speed_1..8, command_1..8, volts, amps or ignore",
                        file,
                        field=where,
                    )
                )
                continue
            if kind == "ignore":
                continue
            if unit not in UNITS[kind]:
                faults.append(
                    Problem(
                        f"unit {unit!r} does not fit {quantity}",
                        f"use one of: {', '.join(UNITS[kind])}",
                        file,
                        field=where,
                    )
                )
                continue
            scale = row.get("scale", 1.0)
            if isinstance(scale, bool) or not isinstance(scale, int | float) or not math.isfinite(scale):
                faults.append(Problem(f"scale {scale!r} is not a number", "write 1.0", file, field=where))
                continue
            if quantity in taken:
                faults.append(
                    Problem(
                        f"{quantity} is given twice, by {taken[quantity]!r} too",
                        'set one of them to "ignore"',
                        file,
                        field=where,
                    )
                )
                continue
            taken[quantity] = str(name)
            columns.append(Column(str(name), quantity, unit, float(scale)))
        if "time" not in taken and not faults:
            faults.append(
                Problem("no column is the time", "name the clock's column as time", file, field="columns")
            )
        if faults:
            raise LogError(*faults)
        return cls(tuple(columns), str(axes))

    @classmethod
    def load(cls, path: str | Path) -> Mapping:
        """Read a mapping from a TOML or JSON file.

        Raises:
            LogError: it cannot be read or is not a mapping.
        """
        path = Path(path)
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as problem:
            raise LogError(
                Problem(f"the mapping cannot be read: {problem}", "check the file", path.name)
            ) from None
        try:
            data = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
        except (json.JSONDecodeError, tomllib.TOMLDecodeError, RecursionError) as problem:
            line = getattr(problem, "lineno", 0)
            raise LogError(
                Problem(f"the mapping is not well-formed: {problem}", "mend the line", path.name, line)
            ) from None
        return cls.from_dict(data, path.name)


_UNIT_WORDS: Final = {
    "s": "s",
    "sec": "s",
    "secs": "s",
    "second": "s",
    "seconds": "s",
    "ms": "ms",
    "msec": "ms",
    "millis": "ms",
    "milliseconds": "ms",
    "us": "us",
    "µs": "us",
    "μs": "us",
    "usec": "us",
    "micros": "us",
    "microseconds": "us",
    "ns": "ns",
    "nsec": "ns",
    "deg/s": "deg/s",
    "°/s": "deg/s",
    "dps": "deg/s",
    "degs": "deg/s",
    "rad/s": "rad/s",
    "rads": "rad/s",
    "g": "g",
    "m/s2": "m/s2",
    "m/s^2": "m/s2",
    "m/s²": "m/s2",
    "m/s/s": "m/s2",
    "mps2": "m/s2",
    "rpm": "rpm",
    "erpm": "erpm",
    "hz": "Hz",
    "rps": "Hz",
    "%": "%",
    "percent": "%",
    "v": "V",
    "volt": "V",
    "volts": "V",
    "mv": "mV",
    "cv": "cV",
    "a": "A",
    "amp": "A",
    "amps": "A",
    "ma": "mA",
    "ca": "cA",
}
_BRACKET: Final = re.compile(r"[\[({]\s*([^\])}]*?)\s*[\])}]")
_CORNER: Final = {"fl": 1, "fr": 2, "rl": 3, "rr": 4}


def unit_guess(header: str) -> str:
    """The unit a header names, in brackets or as its last word, or ""."""
    for inside in _BRACKET.findall(header):
        word = _UNIT_WORDS.get(inside.lower().replace(" ", ""))
        if word:
            return word
    words = re.split(r"[\s_\-.:]+", _BRACKET.sub("", header).strip())
    return _UNIT_WORDS.get(words[-1].lower(), "") if len(words) > 1 else ""


def _tokens(header: str) -> list[str]:
    text = _BRACKET.sub(lambda m: f" {m.group(1)} " if m.group(1).strip().isdigit() else " ", header)
    text = re.sub(r"([a-z])([A-Z])", r"\1 \2", text)
    text = re.sub(r"([A-Za-z])(\d)|(\d)([A-Za-z])", r"\1\3 \2\4", text)
    return [w for w in re.split(r"[^A-Za-z0-9]+", text.lower()) if w]


_AXIS: Final = {
    "x": "x",
    "y": "y",
    "z": "z",
    "roll": "x",
    "pitch": "y",
    "yaw": "z",
    "p": "x",
    "q": "y",
    "r": "z",
}
_SHORT: Final = {
    "p": "gyro_x",
    "q": "gyro_y",
    "r": "gyro_z",
    "gx": "gyro_x",
    "gy": "gyro_y",
    "gz": "gyro_z",
    "wx": "gyro_x",
    "wy": "gyro_y",
    "wz": "gyro_z",
    "ax": "acc_x",
    "ay": "acc_y",
    "az": "acc_z",
    "t": "time",
    "v": "volts",
    "i": "amps",
}
_GYRO: Final = {"gyro", "gyros", "gyr", "rate", "rates", "omega", "gyroscope", "angular"}
_ACC: Final = {"acc", "accel", "accelerometer", "acceleration"}
_SPEED: Final = {"rpm", "erpm", "rps"}
_MOTOR: Final = {"motor", "motors", "mot", "esc", "rotor", "shaft"}
_COMMAND: Final = {"command", "commands", "cmd", "throttle", "output", "out", "pwm", "duty"}
_VOLTS: Final = {"volt", "volts", "voltage", "vbat", "vbatt"}
_AMPS: Final = {"amp", "amps", "current", "amperage", "ibat"}
_TIME: Final = {"time", "timestamp", "clock", "seconds"}


def name_guess(header: str) -> tuple[str, bool]:
    """Guess the quantity from a header.

    Returns:
        Quantity and True, or the quantity with "#" for a motor number that counts from 0 or 1 as yet unknown
        ("speed_#0"), or ("ignore", False).
    """
    words = _tokens(header)
    bag = set(words)
    if len(words) > 1 and words[-1] in _UNIT_WORDS and words[-1] not in (_SPEED | set(_AXIS)):
        named = words[:-1]
    else:
        named = words
    if len(named) == 1 and named[0] in _SHORT:
        return _SHORT[named[0]], True
    digits = [int(w) for w in words if w.isdigit()]
    corner = next((_CORNER[w] for w in named if w in _CORNER), 0)
    axis = next((_AXIS[w] for w in reversed(named) if w in _AXIS), "")
    if not axis and digits and digits[-1] < 3 and bag & (_GYRO | _ACC):
        axis = "xyz"[digits[-1]]
    if bag & {"setpoint", "target", "unfilt", "unfiltered", "raw", "filtered", "debug", "error"} and not (
        bag & _GYRO and bag & {"raw", "filtered", "unfilt", "unfiltered"}
    ):
        return "ignore", False
    found = "ignore"
    if bag & _GYRO and axis:
        found = f"gyro_{axis}"
    elif bag & _ACC and axis:
        found = f"acc_{axis}"
    elif (
        bag & _SPEED
        or (bag & {"speed", "rev"} and bag & _MOTOR)
        or (words and words[0] == "speed" and corner)
    ):
        found = f"speed_{corner}" if corner else f"speed_#{digits[0] if digits else ''}"
    elif bag & _COMMAND or (bag & _MOTOR and not bag & {"temp", "temperature", *_VOLTS, *_AMPS}):
        found = f"command_{corner}" if corner else f"command_#{digits[0] if digits else ''}"
    elif bag & _VOLTS and not bag & {"cell", "ref", "reference"}:
        found = "volts"
    elif bag & _AMPS:
        found = "amps"
    elif bag & _TIME:
        found = "time"
    if found.endswith("#"):  # a single throttle or speed column says nothing about one motor
        return "ignore", False
    return found, found != "ignore"
