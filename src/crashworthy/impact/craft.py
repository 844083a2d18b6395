"""What the kernel is given: the quad as arrays, the contact beds, and the names of what it gives back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = [
    "AUDIT_LIMIT",
    "FLAG_ENERGY",
    "FLAG_INVALID",
    "FLAG_PENETRATION",
    "FLAG_STEP",
    "RESULT",
    "STEP_LIMIT",
    "Beds",
    "Craft",
]

FLAG_STEP: Final = 1
"""Time step above ``STEP_LIMIT`` of the contact's stability limit."""

FLAG_PENETRATION: Final = 2
"""A part was pressed in deeper than half its smallest size, or the ground deeper than 100 mm."""

FLAG_ENERGY: Final = 4
"""The energy audit does not close to ``AUDIT_LIMIT``."""

FLAG_INVALID: Final = 8
"""The crash left the real numbers; its results are zero."""

AUDIT_LIMIT: Final = 0.01
"""Largest energy error, as a share of the initial energy, that passes the audit."""

STEP_LIMIT: Final = 0.2
"""Largest share of the stability limit 2/omega that the time step may take."""

RESULT: Final = (
    "energy_start",
    "energy_end",
    "dissipated",
    "audit",
    "stability",
    "penetration",
    "shock",
    "pseudo_velocity",
    "end_time",
    "last_touch",
    "core_peak",
    "vx",
    "vy",
    "vz",
    "wx",
    "wy",
    "wz",
    "px",
    "py",
    "pz",
)
"""Rows of the per-crash scalars: energies (J), audit (share), stability and penetration (shares of limit),
shock (m/s²) and pseudo-velocity (m/s) of the boards, times (s), peak acceleration of the core (m/s²), and
at the end its velocity (world), body rate and the whole quad's momentum (world)."""


class Craft(NamedTuple):
    """A quad as the kernel sees it: arrays in the body frame, origin at the centre of gravity of the core."""

    core_mass: float
    inertia: Floats  # (3, 3) of the core, kg m²
    mass_inverse: Floats  # (3, 3) inverse of M, see dynamics
    position: Floats  # (n, 3) contact points, m
    area: Floats  # (n,) m²
    normal: Floats  # (n, 3) outward; zero means "presses whatever its direction"
    shape: Floats  # (n,) deflection there as a share of the tip's
    station: Floats  # (n,) fraction of the arm's length
    start: Ints  # (p + 1,) first point of each part
    centre: Floats  # (p, 3) bounding spheres of the parts, m
    radius: Floats  # (p,) m
    arm: Ints  # (p,) arm that carries the part, or -1
    depth_limit: Floats  # (p,) m
    axis: Floats  # (a, 3) root -> tip
    side: Floats  # (a, 2, 3) bending directions, in plane and out of plane
    tip: Floats  # (a, 3) m
    tip_mass: Floats  # (a,) kg
    stiffness: Floats  # (a, 2) N/m
    damping: Floats  # (a, 2) N s/m
    length: Floats  # (a,) m
    lightness: Floats  # (a,) 1 / tip mass, 1/kg
    use: Floats  # (a, 2) length over moment capacity, 1/N: root force times it is the utilisation
    contact_mass: Floats  # (a + 1,) lightest mass that a contact on each arm and, last, on the core meets, kg
    stack: Floats  # (3,) m
    stack_rate: float  # natural angular frequency of the stack on its mount, rad/s
    stack_damping: float  # fraction of critical


class Beds(NamedTuple):
    """Combined contact beds, by surface (rows) and part (columns)."""

    stiffness: Floats  # Pa/m
    crush: Floats  # Pa
    depth: Floats  # m, elastic depth at crush
    damping: Floats  # y = alpha v, dimensionless
    friction: Floats
    in_ground: Ints  # 1 where the ground, not the part, is crushed
