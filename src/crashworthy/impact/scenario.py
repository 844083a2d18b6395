"""What a quad is crashed into, how fast and in which attitude: every number a prior that may be edited.

All priors are assumptions until a journal overrules them. A scenario file is TOML; whatever it leaves out
keeps
its prior:

    name = "Quarry"
    [speed]
    median = 8           # m/s, lognormal
    [obstacles.rubble_floor]
    kind = "ground"      # ground, wall, pole, branch, edge, rail, spike, rubble, net or gap
    surface = "concrete" # concrete, asphalt, soil, grass, wood or steel
    weight = 3
"""

from __future__ import annotations

import hashlib
import json
import math
import tomllib
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from crashworthy.errors import Problem, ScenarioError

__all__ = ["ASSUMED", "MET", "Approach", "Attitude", "Obstacle", "Scenario", "Speed", "Spin"]

ASSUMED: Final = "assumption"
"""Source of a number that has none."""

MET: Final = (
    (
        ("pole", "branch", "rail", "edge", "gap"),
        "where a bar or edge is met",
        "uniform over the silhouette of the quad",
        "geometry",
    ),
    (
        ("branch",),
        "how a branch gives",
        "like a cantilever of its radius and free length, 9 GPa, 650 kg/m3, 5 % damping",
        ASSUMED,
    ),
    (
        ("net",),
        "how a fence gives",
        "as one mass on a spring, 10 % damping; its meshes count as closed",
        ASSUMED,
    ),
    (
        ("spike",),
        "spike",
        "upright rod that leans by up to 20 deg, aimed at a point of the skin by area",
        ASSUMED,
    ),
    (
        ("rubble",),
        "rubble",
        "equal stones in a square pattern, turned and shifted by chance, half sunk",
        ASSUMED,
    ),
)
"""What no scenario file can change: kinds of obstacle, what, how, source."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One thing to crash into.

    Attributes:
        name: as the person calls it.
        kind: one of ``obstacle.KINDS``.
        surface: one of ``obstacle.SURFACES``.
        weight: share before normalising.
        radius: (low, high) of a bar, rod, post or stone, or of the rounding of an edge or rail, uniform, m.
        size: (low, high), uniform, m: half the side of the section of an edge or rail, from stone to stone of
            rubble, between the axes of the posts of a gap; not used by other kinds.
        free_length: (low, high), uniform, m: how far from its root a branch is hit; 0 for one that does not
            give. Mass and stiffness follow from it and from the radius.
        mass: of a net that moves with the quad, kg; 0 for what does not give.
        stiffness: of a net, N/m.
        source: where weight and sizes come from; decides nothing.
    """

    name: str
    kind: str
    surface: str
    weight: float
    radius: tuple[float, float] = (0.02, 0.06)
    size: tuple[float, float] = (0.1, 0.3)
    free_length: tuple[float, float] = (0.0, 0.0)
    mass: float = 0.0
    stiffness: float = 0.0
    source: str = ASSUMED


@dataclass(frozen=True, slots=True)
class Speed:
    """Lognormal speed before impact, m/s, cut to ``low``...``high``."""

    median: float = 8.0
    sd_ln: float = 0.5
    low: float = 2.0
    high: float = 35.0
    source: str = ASSUMED


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
    source: str = ASSUMED


@dataclass(frozen=True, slots=True)
class Spin:
    """Standard deviation of the body rate about each axis, rad/s."""

    calm_sd: float = 5.0
    tumble_sd: float = 12.0
    source: str = ASSUMED


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
    source: str = ASSUMED


_PRIOR: Final = (
    Obstacle("grass", "ground", "grass", 0.20),
    Obstacle("soil", "ground", "soil", 0.20),
    Obstacle("tree trunk", "pole", "wood", 0.10, (0.05, 0.20)),
    Obstacle("branch", "branch", "wood", 0.10, (0.01, 0.04), free_length=(0.4, 1.5)),
    Obstacle("concrete floor", "ground", "concrete", 0.075),
    Obstacle("asphalt", "ground", "asphalt", 0.075),
    Obstacle("concrete wall", "wall", "concrete", 0.05),
    Obstacle("edge", "edge", "concrete", 0.03, (0.003, 0.01), (0.2, 0.5)),
    Obstacle("steel pole", "pole", "steel", 0.03, (0.02, 0.05)),
    Obstacle("rail", "rail", "steel", 0.03, (0.002, 0.005), (0.01, 0.03)),
    Obstacle("fence", "net", "steel", 0.02, mass=0.5, stiffness=3000.0),
    Obstacle("rubble", "rubble", "concrete", 0.07, (0.02, 0.06), (0.08, 0.2)),
    Obstacle("spike", "spike", "steel", 0.02, (0.004, 0.008)),
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
        from crashworthy.impact.scenario_file import problems_of

        problems = problems_of(self)
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
        from crashworthy.impact.scenario_file import Reader

        reader = Reader(text, file)
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
        data = self.to_json()
        for row in (*data["obstacles"], *(data[k] for k in ("speed", "attitude", "spin", "approach"))):
            del row["source"]
        return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()

    def summary(self) -> str:
        """One sentence: speeds first, then the mix."""
        mix = ", ".join(f"{o.name} {100 * s:.0f} %" for o, s in zip(self.obstacles, self.shares, strict=True))
        s = self.speed
        return f"{s.low:g} to {s.high:g} m/s, half of them above {s.median:g} m/s, against {mix}."

    def to_json(self) -> dict[str, Any]:
        """Plain data that ``parse`` of the same TOML would give back."""
        data = asdict(self)
        for row in data["obstacles"]:
            row.update({k: list(row[k]) for k in ("radius", "size", "free_length")})
        return data
