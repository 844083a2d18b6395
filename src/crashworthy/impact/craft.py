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
    "Room",
    "Task",
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
    "strap",
    "travel",
    "board_0",
    "board_1",
    "board_2",
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
shock (m/s²) and pseudo-velocity (m/s) of the boards on their mount, times (s), peak acceleration of the core
(m/s²), pull on the battery's strap (N), travel of the obstacle (m), pseudo-velocity of three board modes
(m/s), and at the end the core's velocity (world), body rate and the whole quad's momentum (world)."""


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
    blunt: Floats  # (n,) 1 where the normal is zero, else 0
    start: Ints  # (p + 1,) first point of each part
    cells: Ints  # (p + 1,) first cell of each part: a cell is a clump of points of one part
    cell_start: Ints  # (cells + 1,) first point of each cell
    cell_centre: Floats  # (cells, 3) bounding spheres of the cells, m
    cell_radius: Floats  # (cells,) m
    centre: Floats  # (p, 3) bounding spheres of the parts, m
    radius: Floats  # (p,) m
    arm: Ints  # (p,) arm that carries the part, or -1
    prop: Ints  # (p,) arm whose prop the part is, or -1
    shallow: Floats  # (p,) one over the greatest depth that the model is good for, 1/m
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
    grip: Floats  # (p,) mass that friction on the part must at least stop, kg
    rotor: Floats  # (a,) inertia of prop and bell about the motor's axis, kg m²
    spin: Floats  # (a,) rate of prop and bell about body z at first touch, rad/s
    stack: Floats  # (3,) m
    stack_rate: float  # natural angular frequency of the stack on its mount, rad/s
    stack_damping: float  # fraction of critical
    board_rate: Floats  # (3,) natural angular frequencies of the boards, rad/s
    board_damping: float  # fraction of critical
    pack: Floats  # (3,) place of the battery, m
    pack_mass: float  # kg; 0 without a strapped battery
    pack_part: int  # index of the battery among the parts, or -1
    pack_rate: float  # natural angular frequency of the battery on its pad and strap, rad/s
    pack_damping: float  # fraction of critical
    pack_friction: float  # between battery and what it lies on


class Beds(NamedTuple):
    """Combined contact beds, by surface (rows) and part (columns)."""

    stiffness: Floats  # Pa/m
    crush: Floats  # Pa
    depth: Floats  # m, elastic depth at crush
    damping: Floats  # y = alpha v, dimensionless
    friction: Floats
    in_ground: Ints  # 1 where the ground, not the part, is crushed


class Task(NamedTuple):
    """What the crashes of one call begin with and what they give back, block by block.

    A block is one crash, or as many as a vector has lanes; then each array has the lane as a further, last
    axis. Times of first touch are infinite for what is never touched.
    """

    row: Floats  # (blocks, 16) obstacle, world frame
    state: Floats  # (blocks, 13 + 4 a) position and velocity of O, quaternion, body rate, tips
    speed: Floats  # (blocks, 1) closing speed at first contact, m/s
    strength: Floats  # (blocks, 2 a) squared interaction that breaks each arm, force that breaks each prop, N
    peak: Floats  # (blocks, p) largest summed normal force by part, N
    impulse: Floats  # (blocks, p) N s
    touched: Floats  # (blocks, p) time of first touch, s
    moment: Floats  # (blocks, 3 a) peak root moments in plane and out of plane, N m, and peak interaction
    shear: Floats  # (blocks, 2 a) peak sideways force on the screws of arm root and motor, N
    broken: Floats  # (blocks, 2 a) time at which each arm, then each prop broke, s
    result: Floats  # (blocks, len(RESULT)) scalars
    flags: Floats  # (blocks, 1) FLAG_* bits as a number
    trace: Floats  # (blocks, frames, 8 + 2 a) time, position, quaternion, tip deflections


class Room(NamedTuple):
    """Memory of the crash that is running; arrays of values, but for the steps at which to look again."""

    u: Floats  # (a, 2) tip deflections, m
    du: Floats  # (a, 2) their rates, m/s
    whole: Floats  # (a, 1) share of the arm's stiffness that is left
    spin: Floats  # (a, 1) rate of each prop, rad/s
    blade: Floats  # (a, 1) 1 while the prop is whole, 0 once it broke
    modal: Floats  # (a, 2) forces on the tips' freedoms, N
    lever: Floats  # (a, 2) what the root feels beyond the tip's spring, N
    pull: Floats  # (a, 1) contact force along the arm, N
    place: Floats  # (a, 3) tips
    bias: Floats  # (a, 3) their velocity-dependent acceleration
    spring: Floats  # (a, 2) forces that accelerate the tips
    bent: Floats  # (a, 3) peak root force in plane and out of plane, N, and squared interaction
    slid: Floats  # (a, 2) peak squared sideways forces, N²
    z: Floats  # (5, 3) travel of the stack on its mount, of three boards on the stack, of the battery, m
    dz: Floats  # (5, 3) its rate, m/s
    stored: Floats  # (n, 1) indentation carried from step to step, m
    weight: Floats  # (n, 1) area pressed, 0 while not touching, m²
    stiff: Floats  # (a + 1, 1) contact stiffness on each arm and the core in this step, N/m
    touching: Floats  # (a + 1, 1) friction's cap for a unit mass: 0.5 / (dt contacts in the last step), 1/s
    counted: Floats  # (a + 1, 1) contacts there in this step
    wake: Ints  # (p,) step at which to look at a part again
    stir: Ints  # (cells,) step at which to look at a cell again
    soiled: Ints  # (cells,) whether a point of the cell holds a weight
