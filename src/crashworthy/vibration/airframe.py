"""What order analysis needs of a quad: inertia, where each rotor sits, which way it turns, what it weighs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.quad import CORNER_NAMES, CORNERS
from crashworthy.errors import LogError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad

    Floats = NDArray[np.float64]

__all__ = ["BELL_SHARE", "SPINS", "Airframe", "airframe"]

SPINS: Final = {"in": (-1.0, 1.0, 1.0, -1.0), "out": (1.0, -1.0, -1.0, 1.0)}
"""Turning sense by corner, +1 about z up. "in": in front of the front props the blades move to the middle."""

BELL_SHARE: Final = 0.55
"""Share of a motor's mass that turns with the prop. Assumption: no source; it scales only the grade."""


@dataclass(frozen=True, slots=True)
class Airframe:
    """One airframe in the order of the log's motors.

    Attributes:
        inertia: (3, 3) about the centre of gravity, kg m².
        rotors: (m, 3) rotor centres from the centre of gravity, m.
        spin: (m,) +1 anticlockwise seen from above, -1 clockwise.
        corners: (m,) corner of each log motor, "fl", "fr", "rl" or "rr".
        rotor_mass: (m,) turning mass, kg.
        blades: blades a prop.
        pole_pairs: of the motors, or 0 when the sheet does not say.
    """

    inertia: Floats
    rotors: Floats
    spin: Floats
    corners: tuple[str, ...]
    rotor_mass: Floats
    blades: int = 3
    pole_pairs: int = 0

    @property
    def labels(self) -> tuple[str, ...]:
        """Each log motor's corner in words ("rear left")."""
        return tuple(CORNER_NAMES[CORNERS.index(c)] for c in self.corners)

    @property
    def radius(self) -> float:
        """Mean distance of the rotors from the yaw axis, m."""
        return float(np.hypot(self.rotors[:, 0], self.rotors[:, 1]).mean())


def airframe(quad: Quad | Airframe) -> Airframe:
    """Take what is needed from a quad; an ``Airframe`` passes through.

    The order of the log's motors is ``sheet.motors.log_order`` (corner names), the turning sense
    ``sheet.motors.spin`` ("in" or "out"); without them the corners' own order and "in".

    Raises:
        LogError: the sheet's motor order does not name each corner once.
    """
    if isinstance(quad, Airframe):
        return quad
    motors = getattr(quad.sheet, "motors", None)
    props = getattr(quad.sheet, "props", None)
    order = tuple(str(c) for c in getattr(motors, "log_order", None) or CORNERS)
    if sorted(order) != sorted(CORNERS):
        raise LogError(
            Problem(
                f"the motor order {', '.join(order)} does not name each corner once",
                "write fl, fr, rl and rr in the order of the log's motors",
                field="motors.log_order",
            )
        )
    spin = SPINS.get(str(getattr(motors, "spin", "in")), SPINS["in"])
    mass = quad.mass_properties
    by_corner = {CORNERS[a.corner]: a for a in quad.arms}
    arms = [by_corner[c] for c in order]
    hubs = np.array([quad.parts[a.prop].centre for a in arms]) - mass.cog
    turning = [quad.parts[a.prop].mass + BELL_SHARE * quad.parts[a.motor].mass for a in arms]
    return Airframe(
        inertia=np.asarray(mass.inertia, dtype=np.float64),
        rotors=hubs,
        spin=np.array([spin[CORNERS.index(c)] for c in order]),
        corners=order,
        rotor_mass=np.array(turning),
        blades=int(getattr(props, "blades", 3) or 3),
        pole_pairs=int(getattr(motors, "pole_pairs", 0) or 0),
    )
