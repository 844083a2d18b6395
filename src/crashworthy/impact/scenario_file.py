"""Reading a scenario file, and refusing numbers that cannot be drawn from; each problem with its line."""

from __future__ import annotations

import math
import re
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.obstacle import KINDS, SURFACES
from crashworthy.impact.scenario import Approach, Attitude, Obstacle, Scenario, Speed, Spin

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Reader", "from_plain", "problems_of", "to_toml"]


def _number_problem(where: str, value: object, low: float, high: float) -> Problem | None:
    good = isinstance(value, int | float) and not isinstance(value, bool)
    if good and math.isfinite(float(value)) and low <= float(value) <= high:  # type: ignore[arg-type] # checked
        return None
    return Problem(
        f"must be a number from {low:g} to {high:g}, not {value!r}", "mend the number", field=where
    )


def _source_problem(where: str, source: object) -> Problem | None:
    if isinstance(source, str) and len(source.strip()) > 0 and len(source) <= LONGEST:
        return None
    remedy = f"say in up to {LONGEST} letters where the numbers come from, or leave it out"
    return Problem("source must be words", remedy, field=f"{where}.source")


LONGEST: Final = 300
"""Letters of a source."""

_RANGES: Final[Mapping[str, Mapping[str, tuple[float, float]]]] = {
    "speed": {"median": (0.1, 100), "sd_ln": (0.0, 2.0), "low": (0.1, 100), "high": (0.1, 100)},
    "attitude": {
        "nose": (0, 1e6),
        "tumble": (0, 1e6),
        "flat": (0, 1e6),
        "pitch_low": (-180, 180),
        "pitch_high": (-180, 180),
        "roll_sd": (0, 180),
        "flat_sd": (0, 180),
    },
    "spin": {"calm_sd": (0, 100), "tumble_sd": (0, 100)},
    "approach": {
        "a": (0.1, 100),
        "b": (0.1, 100),
        "low": (1, 90),
        "high": (1, 90),
        "descent": (-80, 80),
        "descent_sd": (0, 45),
        "across": (0, 85),
    },
}


_PAIRS: Final = {"radius": (0.002, 5.0), "size": (0.002, 10.0), "free_length": (0.0, 10.0)}
"""Fields of an obstacle that are (low, high), and the numbers they may hold, m."""


def problems_of(scenario: Scenario) -> list[Problem]:
    """Everything that is wrong with the numbers of a scenario."""
    found: list[Problem | None] = []
    for section, ranges in _RANGES.items():
        part = getattr(scenario, section)
        found += [_number_problem(f"{section}.{k}", getattr(part, k), *r) for k, r in ranges.items()]
    found += [_source_problem(section, getattr(scenario, section).source) for section in _RANGES]
    found += [_source_problem(f"obstacles.{o.name}", o.source) for o in scenario.obstacles]
    if not any(found):
        for section, low, high in (
            ("speed", "low", "high"),
            ("attitude", "pitch_low", "pitch_high"),
            ("approach", "low", "high"),
        ):
            part = getattr(scenario, section)
            if getattr(part, low) > getattr(part, high):
                found.append(Problem(f"{low} lies above {high}", "swap them", field=f"{section}.{low}"))
        s, a = scenario.speed, scenario.attitude
        if not s.low <= s.median <= s.high:
            found.append(Problem("median lies outside low...high", "widen the range", field="speed.median"))
        if a.nose + a.tumble + a.flat <= 0.0:
            found.append(
                Problem("all shares are zero", "give nose, tumble or flat a share", field="attitude.nose")
            )
    if not scenario.obstacles:
        found.append(Problem("no obstacle", "add an [obstacles.NAME] table", field="obstacles"))
    for o in scenario.obstacles:
        where = f"obstacles.{o.name}"
        if o.kind not in KINDS:
            found.append(
                Problem(f"unknown kind {o.kind!r}", f"use {', '.join(KINDS)}", field=f"{where}.kind")
            )
        if o.surface not in SURFACES:
            found.append(
                Problem(
                    f"unknown surface {o.surface!r}", f"use {', '.join(SURFACES)}", field=f"{where}.surface"
                )
            )
        found.append(_number_problem(f"{where}.weight", o.weight, 0.0, 1e6))
        for key, (smallest, largest) in _PAIRS.items():
            pair = getattr(o, key)
            wrong = [_number_problem(f"{where}.{key}", x, smallest, largest) for x in pair]
            found += wrong
            if not any(wrong) and pair[0] > pair[1]:
                found.append(Problem(f"{key} low lies above high", "swap them", field=f"{where}.{key}"))
        found.append(_number_problem(f"{where}.mass", o.mass, 0.0, 1e3))
        found.append(_number_problem(f"{where}.stiffness", o.stiffness, 0.0, 1e7))
    bad = [p for p in found if p is not None]
    if not bad and math.fsum(o.weight for o in scenario.obstacles) <= 0.0:
        bad.append(Problem("all weights are zero", "give one obstacle a weight", field="obstacles"))
    return bad


def from_plain(data: Mapping[str, Any]) -> Scenario:
    """A scenario from its plain data (``Scenario.to_json``), such as a campaign keeps.

    Raises:
        ScenarioError: a number cannot be drawn from.
    """
    pairs = ("radius", "size", "free_length")
    rows: list[dict[str, Any]] = data["obstacles"]
    fields_of: list[dict[str, Any]] = [
        {k: tuple(v) if k in pairs else v for k, v in row.items()} for row in rows
    ]
    obstacles = tuple(Obstacle(**given) for given in fields_of)
    return Scenario(
        data["name"],
        obstacles,
        Speed(**data["speed"]),
        Attitude(**data["attitude"]),
        Spin(**data["spin"]),
        Approach(**data["approach"]),
    )


def to_toml(scenario: Scenario, head: str = "") -> str:
    """A scenario as a file that ``Scenario.load`` reads back and a person may edit.

    Args:
        scenario: to be written.
        head: lines of comment to begin with, without their marks.
    """
    import tomli_w

    data = scenario.to_json()
    data["obstacles"] = {
        row["name"]: {k: _shortened(v) for k, v in row.items() if k != "name"} for row in data["obstacles"]
    }
    for section in ("speed", "attitude", "spin", "approach"):
        data[section] = {k: _shortened(v) for k, v in data[section].items()}
    comment = "".join(f"# {line}\n" for line in head.splitlines())
    # Pairs on one line each, as a person would write them.
    pairs = re.sub(r"\[\n\s+([^\s,]+),\n\s+([^\s,]+),\n\]", r"[\1, \2]", tomli_w.dumps(data))
    return comment + pairs


def _shortened(value: Any) -> Any:
    """Numbers to six digits: what a person wants to read and change."""
    if isinstance(value, list):
        return [_shortened(v) for v in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


class Reader:
    """Turns TOML data into a scenario; knows on which line each field stands."""

    def __init__(self, text: str, file: str) -> None:
        """Take the text and the name of the file."""
        self.text, self.file = text, file

    def place(self, problem: Problem) -> Problem:
        """Add file and line to a problem that names a field."""
        return replace(problem, file=self.file, line=self._line(problem.field))

    def _line(self, field: str) -> int:
        lines = self.text.splitlines()
        section, _, key = field.rpartition(".")
        here = ""
        best = 0
        for number, raw in enumerate(lines, 1):
            line = raw.split("#", 1)[0].strip()
            if line.startswith("["):
                here = line.strip("[] ").replace('"', "").replace("'", "")
                if here in (field, section):
                    best = number
            elif "=" in line and line.split("=", 1)[0].strip().strip("\"'") == key and here == section:
                return number
        return best

    def scenario(self, data: dict[str, Any]) -> Scenario:
        """Build the scenario; unknown fields and wrong types are problems.

        Raises:
            ScenarioError: every problem found, each with its field.
        """
        known = {f.name for f in fields(Scenario)}
        problems = [
            Problem(f"unknown field {k!r}", f"use {', '.join(sorted(known))}", field=k)
            for k in data
            if k not in known
        ]
        given: dict[str, Any] = {}
        if "name" in data:
            given["name"] = str(data["name"])
        for section, kind in (
            ("speed", Speed),
            ("attitude", Attitude),
            ("spin", Spin),
            ("approach", Approach),
        ):
            if section in data:
                problems += self._unknown(data[section], {f.name for f in fields(kind)}, section)
                if not problems:
                    given[section] = kind(**data[section])
        if "obstacles" in data:
            rows, more = self._obstacles(data["obstacles"])
            problems += more
            given["obstacles"] = rows
        if problems:
            raise ScenarioError(*problems)
        return Scenario(**given)

    @staticmethod
    def _unknown(table: object, known: set[str], where: str) -> list[Problem]:
        if not isinstance(table, dict):
            return [Problem("must be a table", f"write it as [{where}]", field=where)]
        return [
            Problem(f"unknown field {k!r}", f"use {', '.join(sorted(known))}", field=f"{where}.{k}")
            for k in table
            if k not in known
        ]

    def _obstacles(self, table: object) -> tuple[tuple[Obstacle, ...], list[Problem]]:
        if not isinstance(table, dict):
            return (), [Problem("must be a table", "write [obstacles.NAME] tables", field="obstacles")]
        rows: list[Obstacle] = []
        problems: list[Problem] = []
        known = {f.name for f in fields(Obstacle)} - {"name"}
        for name, row in table.items():
            where = f"obstacles.{name}"
            bad = self._unknown(row, known, where)
            if not bad:
                bad = [
                    Problem(f"{k} is missing", f"give {k}", field=where)
                    for k in ("kind", "surface", "weight")
                    if k not in row
                ]
            given = dict(row) if isinstance(row, dict) else {}
            for key in _PAIRS:
                pair = given.get(key, [0.0, 0.0])
                if not bad and not (isinstance(pair, list | tuple) and len(pair) == 2):
                    bad.append(
                        Problem(f"{key} must be [low, high] in m", "give two numbers", field=f"{where}.{key}")
                    )
                elif key in given and not bad:
                    given[key] = (pair[0], pair[1])
            problems += bad
            if not bad:
                rows.append(Obstacle(name, **given))
        return tuple(rows), problems
