"""What a quad is crashed into, how fast and in which attitude: every number a prior that may be edited.

All priors are assumptions until a journal overrules them. A scenario file is TOML; whatever it leaves out
keeps
its prior:

    name = "Quarry"
    [speed]
    median = 8           # m/s, lognormal
    [obstacles.rubble_floor]
    kind = "ground"      # ground, wall, pole or branch
    surface = "concrete" # concrete, asphalt, soil, grass, wood or steel
    weight = 3
"""

from __future__ import annotations

import hashlib
import json
import math
import tomllib
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.obstacle import KINDS, SURFACES

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["ASSUMPTIONS", "Approach", "Attitude", "Obstacle", "Scenario", "Speed", "Spin"]

ASSUMPTIONS: Final = (
    "speed: lognormal, median 8 m/s, standard deviation of ln 0.5, cut to 2-35 m/s (assumption)",
    (
        "obstacles, of 100: grass and soil 40, trunk and branch 20, concrete and asphalt 15, wall 8, pole 8; "
        "rubble 7 and spikes 2 are not modelled and left out, the rest renormalised by 91 (assumption)"
    ),
    (
        "attitude at touch: 55 % nose first, pitched 20-60 deg towards the flight path, roll sd 25 deg; "
        "25 % any; 20 % level or upside down, tilt sd 15 deg (assumption)"
    ),
    "spin: each axis normal with sd 5 rad/s, 12 rad/s when tumbling (assumption)",
    "angle between flight path and ground or wall: beta(2, 2) over 10-90 deg (assumption)",
    "poles and branches: path descends by 10 deg, sd 15 deg; branch within 30 deg of across (assumption)",
    "where a pole or branch is met: uniform over the silhouette of the quad (geometry)",
)
"""The priors in words."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One thing to crash into.

    Attributes:
        name: as the person calls it.
        kind: one of ``obstacle.KINDS``.
        surface: one of ``obstacle.SURFACES``.
        weight: share before normalising.
        radius: (low, high) of a pole or branch, uniform, m.
    """

    name: str
    kind: str
    surface: str
    weight: float
    radius: tuple[float, float] = (0.02, 0.06)


@dataclass(frozen=True, slots=True)
class Speed:
    """Lognormal speed before impact, m/s, cut to ``low``...``high``."""

    median: float = 8.0
    sd_ln: float = 0.5
    low: float = 2.0
    high: float = 35.0


@dataclass(frozen=True, slots=True)
class Attitude:
    """Attitude at first touch: shares of the three modes and their angles, degrees."""

    nose: float = 0.55
    tumble: float = 0.25
    flat: float = 0.20
    pitch_low: float = 20.0
    pitch_high: float = 60.0
    roll_sd: float = 25.0
    flat_sd: float = 15.0


@dataclass(frozen=True, slots=True)
class Spin:
    """Standard deviation of the body rate about each axis, rad/s."""

    calm_sd: float = 5.0
    tumble_sd: float = 12.0


@dataclass(frozen=True, slots=True)
class Approach:
    """Angle of the flight path: beta(a, b) over low...high degrees to ground and wall; descent to bars."""

    a: float = 2.0
    b: float = 2.0
    low: float = 10.0
    high: float = 90.0
    descent: float = 10.0
    descent_sd: float = 15.0
    across: float = 30.0


_PRIOR: Final = (
    Obstacle("grass", "ground", "grass", 0.20),
    Obstacle("soil", "ground", "soil", 0.20),
    Obstacle("tree trunk", "pole", "wood", 0.10, (0.05, 0.20)),
    Obstacle("branch", "branch", "wood", 0.10, (0.01, 0.04)),
    Obstacle("concrete floor", "ground", "concrete", 0.075),
    Obstacle("asphalt", "ground", "asphalt", 0.075),
    Obstacle("concrete wall", "wall", "concrete", 0.08),
    Obstacle("steel pole", "pole", "steel", 0.08, (0.02, 0.05)),
)


@dataclass(frozen=True, slots=True)
class Scenario:
    """A mix of crashes.

    Attributes:
        name: as the person calls it.
        obstacles: what is met, with weights (normalised when drawn).
        speed, attitude, spin, approach: priors of the flight.
    """

    name: str = "everyday freestyle (assumed mix)"
    obstacles: tuple[Obstacle, ...] = _PRIOR
    speed: Speed = Speed()
    attitude: Attitude = Attitude()
    spin: Spin = Spin()
    approach: Approach = Approach()

    def __post_init__(self) -> None:
        """Refuse numbers that cannot be drawn from."""
        problems = list(_problems(self))
        if problems:
            raise ScenarioError(*problems)

    @classmethod
    def default(cls) -> Scenario:
        """The assumed everyday mix."""
        return cls()

    @classmethod
    def load(cls, path: str | Path) -> Scenario:
        """Read a scenario file.

        Raises:
            ScenarioError: the file cannot be read, is not TOML, or holds a field or value that will not do.
        """
        try:
            text = Path(path).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as problem:
            raise ScenarioError(
                Problem(f"cannot be read: {problem}", "give a readable TOML file", file=str(path))
            ) from None
        return cls.parse(text, file=str(path))

    @classmethod
    def parse(cls, text: str, *, file: str = "") -> Scenario:
        """Read a scenario from TOML text.

        Raises:
            ScenarioError: as ``load``.
        """
        try:
            data = tomllib.loads(text)
        except tomllib.TOMLDecodeError as problem:
            raise ScenarioError(Problem(f"is not TOML: {problem}", "mend the line", file=file)) from None
        reader = _Reader(text, file)
        try:
            scenario = reader.scenario(data)
        except ScenarioError as error:
            raise ScenarioError(*(reader.place(p) for p in error.problems)) from None
        return scenario

    @property
    def shares(self) -> tuple[float, ...]:
        """Normalised weights of the obstacles."""
        total = math.fsum(o.weight for o in self.obstacles)
        return tuple(o.weight / total for o in self.obstacles)

    @property
    def digest(self) -> str:
        """sha256 of everything that decides the draws."""
        return hashlib.sha256(json.dumps(self.to_json(), sort_keys=True).encode()).hexdigest()

    def summary(self) -> str:
        """One sentence: speeds first, then the mix."""
        mix = ", ".join(f"{o.name} {100 * s:.0f} %" for o, s in zip(self.obstacles, self.shares, strict=True))
        s = self.speed
        return f"{s.low:g} to {s.high:g} m/s, half of them above {s.median:g} m/s, against {mix}."

    def to_json(self) -> dict[str, Any]:
        """Plain data that ``parse`` of the same TOML would give back."""
        data = asdict(self)
        data["obstacles"] = [dict(o, radius=list(o["radius"])) for o in data["obstacles"]]
        return data


def _number_problem(where: str, value: object, low: float, high: float) -> Problem | None:
    good = isinstance(value, int | float) and not isinstance(value, bool)
    if good and math.isfinite(float(value)) and low <= float(value) <= high:  # type: ignore[arg-type] # checked
        return None
    return Problem(
        f"must be a number from {low:g} to {high:g}, not {value!r}", "mend the number", field=where
    )


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


def _problems(scenario: Scenario) -> list[Problem]:
    found: list[Problem | None] = []
    for section, ranges in _RANGES.items():
        part = getattr(scenario, section)
        found += [_number_problem(f"{section}.{k}", getattr(part, k), *r) for k, r in ranges.items()]
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
        size = [_number_problem(f"{where}.radius", r, 0.002, 5.0) for r in o.radius]
        found += size
        if not any(size) and o.radius[0] > o.radius[1]:
            found.append(Problem("radius low lies above high", "swap them", field=f"{where}.radius"))
    bad = [p for p in found if p is not None]
    if not bad and math.fsum(o.weight for o in scenario.obstacles) <= 0.0:
        bad.append(Problem("all weights are zero", "give one obstacle a weight", field="obstacles"))
    return bad


class _Reader:
    """Turns TOML data into a scenario; knows on which line each field stands."""

    def __init__(self, text: str, file: str) -> None:
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
        """Build the scenario; unknown fields and wrong types are problems."""
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
            radius = row.get("radius", [0.02, 0.06]) if isinstance(row, dict) else []
            if not bad and not (isinstance(radius, list) and len(radius) == 2):
                bad.append(
                    Problem("radius must be [low, high] in m", "give two numbers", field=f"{where}.radius")
                )
            problems += bad
            if not bad:
                rows.append(
                    Obstacle(name, row["kind"], row["surface"], row["weight"], (radius[0], radius[1]))
                )
        return tuple(rows), problems
