"""What a quad is: the one immutable model that every room takes.

Frame: x forward, y left, z up; z = 0 at the underside of the arms; origin at the centre of the motors.
Everything is SI: m, kg, rad, kg m². Corners are named and ordered front left, front right, rear left,
rear right (``CORNERS``); arm ``i`` is the arm at corner ``i``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import NotFoundError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.sheet import Sheet

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = [
    "CORE",
    "CORNERS",
    "CORNER_NAMES",
    "KINDS",
    "Arm",
    "ContactPoints",
    "Joint",
    "MassProperties",
    "Part",
    "Quad",
    "StiffnessTest",
]

CORNERS: Final = ("fl", "fr", "rl", "rr")
"""Short corner names, the suffix of part names: ``arm_fl``, ``motor_rr``."""

CORNER_NAMES: Final = ("front left", "front right", "rear left", "rear right")
"""The same corners in words."""

CORE: Final = -1
"""The ``arm`` of a part that moves with the rigid core."""

KINDS: Final = (
    "arm",
    "plate",
    "standoff",
    "motor",
    "prop",
    "board",
    "camera",
    "lens",
    "antenna",
    "battery",
    "shield",
    "strap",
    "lead",
    "plug",
    "box",
    "model",
    "screw",
    "loose",
)
"""Every kind of part; ``model`` came from an STL or 3MF file, ``loose`` has mass but no shape."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part.

    Attributes:
        name: unique, as in the sheet ("video" for antennas.video) or made from it ("motor_fl").
        label: the same in words for people ("front left motor").
        kind: one of ``KINDS``.
        material: key into the materials tables.
        mass: kg.
        centre: (3,) centre of gravity, m.
        inertia: (3, 3) about its own centre of gravity, kg m².
        vertices: (v, 3) m; (0, 3) for a shapeless part.
        faces: (f, 3) indices into ``vertices``, outward by the right-hand rule.
        arm: index of the arm that carries it (arm, motor and prop), or ``CORE``.
        joint: name of the joint group whose screws hold it, or "".
        measures: sizes the strength room needs, SI, by name ("thickness", "shaft_diameter", "wall"...).
    """

    name: str
    label: str
    kind: str
    material: str
    mass: float
    centre: Floats
    inertia: Floats
    vertices: Floats
    faces: Ints
    arm: int = CORE
    joint: str = ""
    measures: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StiffnessTest:
    """A measurement at the tip of one arm, its body held down.

    Attributes:
        how: "pull" or "tap".
        in_plane: across the arm in the plane of the arms; else up or down.
        force, deflection: of a pull, N and m.
        frequency: of a tap, Hz.
        off: mass that was missing at the tip, kg.
    """

    how: str
    in_plane: bool
    force: float = 0.0
    deflection: float = 0.0
    frequency: float = 0.0
    off: float = 0.0


@dataclass(frozen=True, slots=True)
class Arm:
    """One arm as a beam from its clamp to its motor.

    Attributes:
        corner: index into ``CORNERS``.
        part, motor, prop: indices into ``Quad.parts``.
        root: (3,) where the free length begins, on the beam's centre line, m.
        tip: (3,) motor axis at the beam's centre line, m.
        axis: (3,) unit vector root -> tip, in the arm plane (horizontal).
        length: free length, m.
        width_root, width_tip: m (linear taper between).
        thickness: m.
        hole: diameter of the bolt hole at the clamp, m (0 when there is none).
        material: key into the materials tables.
        mass: of the arm alone, kg.
        carried: mass at the tip besides the arm: motor, prop, their screws, kg.
        tests: stiffness as measured on one of the arms; all four are taken to be alike.
    """

    corner: int
    part: int
    motor: int
    prop: int
    root: Floats
    tip: Floats
    axis: Floats
    length: float
    width_root: float
    width_tip: float
    thickness: float
    hole: float
    material: str
    mass: float
    carried: float
    tests: tuple[StiffnessTest, ...] = ()


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint group: screws that share a place and an upkeep interval.

    Attributes:
        name: key in the sheet's [screws] ("arm", "motor", "stack"...).
        upkeep: which interval prior it takes: "arm", "motor" or "other".
        thread: "M3".
        screw_length: m.
        grade: strength class as marked ("8.8", "12.9", "A2-70").
        nut: none, nyloc, press or threaded.
        threadlock: whether a thread locker is on.
        positions: (n, 3) screw axes, m.
        joins: names of the parts it holds.
    """

    name: str
    upkeep: str
    thread: str
    screw_length: float
    grade: str
    nut: str
    threadlock: bool
    positions: Floats
    joins: tuple[str, ...]

    @property
    def count(self) -> int:
        """How many screws."""
        return len(self.positions)


@dataclass(frozen=True, slots=True)
class ContactPoints:
    """Points of the outer skin where an obstacle can press, sorted by part.

    Attributes:
        position: (n, 3) m.
        area: (n,) the skin area each stands for, m².
        normal: (n, 3) mean outward normals of that skin; shorter than one where it is curved.
        part: (n,) index into ``Quad.parts``, ascending.
        arm: (n,) arm index or ``CORE``.
        station: (n,) fraction of the arm's free length from root (0) to tip (1); 0 on the core.
        spread: (n, 6) variance of that skin about the point: xx, yy, zz, xy, xz, yz, m².
    """

    position: Floats
    area: Floats
    normal: Floats
    part: Ints
    arm: Ints
    station: Floats
    spread: Floats

    def __len__(self) -> int:
        """How many points."""
        return len(self.area)


@dataclass(frozen=True, slots=True)
class MassProperties:
    """Mass, centre of gravity and inertia of a body.

    Attributes:
        mass: kg.
        cog: (3,) m.
        inertia: (3, 3) about ``cog``, axes of the quad, kg m².
    """

    mass: float
    cog: Floats
    inertia: Floats


@dataclass(frozen=True, slots=True)
class Quad:
    """One aircraft, complete and immutable.

    Attributes:
        name: as the pilot calls it.
        slug: the same as a file and address ("gannet").
        parts, arms, joints: what it is made of.
        points: where an obstacle can press.
        mass_properties: summed over the parts.
        weighed: what the scales said, kg, or None.
        notes: what the loader found and a pilot should know, worst first.
        sheet: the validated sheet it came from, complete enough to write it again.
        digest: sha256 of sheet and drawings, hex: equal builds have equal digests.
    """

    name: str
    slug: str
    parts: tuple[Part, ...]
    arms: tuple[Arm, ...]
    joints: tuple[Joint, ...]
    points: ContactPoints
    mass_properties: MassProperties
    weighed: float | None
    notes: tuple[str, ...]
    sheet: Sheet
    digest: str

    @property
    def mass(self) -> float:
        """Sum of the parts, kg."""
        return self.mass_properties.mass

    @property
    def pieces(self) -> tuple[Part, ...]:
        """What a pilot counts as a part: all but screws and mass that nothing describes."""
        return tuple(p for p in self.parts if p.kind not in ("screw", "loose"))

    @property
    def missing(self) -> float | None:
        """Weighed minus described mass, kg; positive when the sheet forgets something."""
        return None if self.weighed is None else self.weighed - self.mass

    def index(self, name: str) -> int:
        """Index of the part called ``name``.

        Raises:
            NotFoundError: no part has that name.
        """
        for i, part in enumerate(self.parts):
            if part.name == name:
                return i
        known = ", ".join(p.name for p in self.parts)
        raise NotFoundError(Problem(f"no part is called {name!r}", f"use one of: {known}"))

    def part(self, name: str) -> Part:
        """Return the part called ``name``.

        Raises:
            NotFoundError: no part has that name.
        """
        return self.parts[self.index(name)]

    def joint(self, name: str) -> Joint:
        """Return the joint group called ``name``.

        Raises:
            NotFoundError: no joint group has that name.
        """
        for joint in self.joints:
            if joint.name == name:
                return joint
        known = ", ".join(j.name for j in self.joints)
        raise NotFoundError(Problem(f"no joint group is called {name!r}", f"use one of: {known}"))
