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
    """A quad as the kernel sees it: arrays in the body frame, origin at the centre of gravity of the core.

    What gives on its own is a limb: first the arms, then antennas, leads, and what sits on a soft mount.
    """

    core_mass: float
    inertia: Floats  # (3, 3) of the core, kg m²
    inertia_inverse: Floats  # (3, 3)
    position: Floats  # (n, 3) contact points: middles of patches of skin, m
    area: Floats  # (n,) m²
    spread: Floats  # (n, 6) xx, yy, zz, xy, xz, yz: n.S.n is the square of a patch's half-width along n, m²
    bulge: Floats  # (n,) greatest half-width, m
    normal: Floats  # (n, 3) outward; zero means "presses whatever its direction"
    shape: Floats  # (n,) phi: displacement there as a share of its limb's
    rest: Floats  # (n,) share of a sideways force there that its limb's root bears beyond phi
    screw: Floats  # (n, 3) g: displacement there as its arm twists, m/rad
    mobility: Floats  # (n,) most speed that an impulse of 1 N s can give it, twist left out, 1/kg
    grip: Floats  # (n,) mass that friction there must at least stop, kg
    blunt: Floats  # (n,) 1 where the normal is zero, else 0
    start: Ints  # (p + 1,) first point of each part
    cells: Ints  # (p + 1,) first cell of each part: a cell is a clump of points of one part
    cell_start: Ints  # (cells + 1,) first point of each cell
    cell_centre: Floats  # (cells, 3) bounding spheres of the cells, m
    cell_radius: Floats  # (cells,) m
    centre: Floats  # (p, 3) bounding spheres of the parts, m
    radius: Floats  # (p,) m
    reach: Floats  # (p,) greatest length of g on the part, m/rad
    limb: Ints  # (p,) limb that carries the part, or -1
    rides: Ints  # (p,) 1 where phi is 1 all over the part, or where no limb carries it
    prop: Ints  # (p,) arm whose prop the part is, or -1
    shallow: Floats  # (p,) one over the greatest depth that the model is good for, 1/m
    span: float  # greatest distance of a point from what carries it: O, or its share of its limb's mass, m
    whirl: float  # greatest length of g, m/rad
    axis: Floats  # (l, 3) root -> tip
    side: Floats  # (l, 2, 3) directions across, of an arm in plane and out of plane
    tip: Floats  # (l, 3) where the limb's mass sits, m
    tip_mass: Floats  # (l,) kg
    lightness: Floats  # (l,) 1 / tip mass, 1/kg
    stiffness: Floats  # (l, 3) across, across, along, N/m
    damping: Floats  # (l, 3) N s/m
    tautness: Floats  # (l,) h: stiffness grows by 1 + h |u|², 1/m²
    sway: Floats  # (l, 2) time in which a swing, and the twist, goes through one radian, s
    use: Floats  # (l, 3) utilisation per root force, across, across, along, 1/N
    snag: Floats  # (l,) way dragged along, m, after which the root's force counts; below zero: always
    length: Floats  # (a,) of each arm, m
    rise: Floats  # (a,) height of the tip's mass above the arm's middle, m
    twist_inertia: Floats  # (a,) of the tip about the arm's axis, kg m²
    twist_lightness: Floats  # (a,) one over it
    twist_stiffness: Floats  # (a,) N m/rad
    twist_damping: Floats  # (a,) N m s/rad
    twist_use: Floats  # (a,) utilisation per root torque, 1/(N m)
    rotor: Floats  # (a,) inertia of prop and bell about the motor's axis, kg m²
    rotor_lightness: Floats  # (a,) one over it
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
    snag_force: float  # contact force above which a lead is dragged along, N


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
    state: Floats  # (blocks, 13 + 5 a) position and velocity of O, quaternion, body rate, tips, twist rates
    speed: Floats  # (blocks, 1) closing speed at first contact, m/s
    strength: Floats  # (blocks, 2 a) squared interaction that breaks each arm, force that breaks each prop, N
    peak: Floats  # (blocks, p) largest summed normal force by part, N
    impulse: Floats  # (blocks, p) N s
    touched: Floats  # (blocks, p) time of first touch, s
    root: Floats  # (blocks, 4 l) of each limb: peak root forces across, N, peak utilisation and travel, m
    twist: Floats  # (blocks, a) peak torque at each arm's root about its axis, N m
    shear: Floats  # (blocks, 2 a) peak sideways force on the screws of arm root and motor, N
    broken: Floats  # (blocks, 2 a) time at which each arm, then each prop broke, s
    result: Floats  # (blocks, len(RESULT)) scalars
    flags: Floats  # (blocks, 1) FLAG_* bits as a number
    trace: Floats  # (blocks, frames, 8 + 3 l + a) time, position, quaternion, u of each limb, twists


class Room(NamedTuple):
    """Memory of the crash that is running; arrays of values, but for the steps at which to look again."""

    at: Floats  # (l, 3) places of the limbs' masses, world frame, m
    go: Floats  # (l, 3) their velocities, world frame, m/s
    push: Floats  # (l, 3) Q: contact forces on the limbs' masses, body frame, N
    lever: (
        Floats  # (l, 3) what the root bears beyond the limb's springs, N: of arms along e_j, else body frame
    )
    dragged: Floats  # (l, 1) way dragged along, m
    root: Floats  # (l, 4) peak root forces across, N, squared peaks of utilisation and of travel
    angle: Floats  # (a, 1) twist of each arm, rad
    turning: Floats  # (a, 1) rate of its tip about the arm's axis, twist and body together, rad/s
    wring: Floats  # (a, 1) torque of contacts on it, N m
    wrung: Floats  # (a, 1) peak torque, N m
    whole: Floats  # (a, 1) share of the arm's stiffness that is left
    spin: Floats  # (a, 1) rate of each prop, rad/s
    blade: Floats  # (a, 1) 1 while the prop is whole, 0 once it broke
    slid: Floats  # (a, 2) peak squared sideways forces, N²
    z: Floats  # (5, 3) travel of the stack on its mount, of three boards on the stack, of the battery, m
    dz: Floats  # (5, 3) its rate, m/s
    deepest: Floats  # (n, 1) greatest depth of the patch's middle so far, m
    spread: Floats  # (n, 1) half of what the depths of its slices differ by, m
    braked: Floats  # (n, 2) forces of damping and friction in the last step, N
    weight: Floats  # (n, 1) area pressed, 0 while not touching, m²
    stiff: Floats  # (l + 1, 1) squared rate of the contacts on each limb and the core in this step, 1/s²
    touching: Floats  # (l + 1, 1) friction's cap for a unit mass: 0.5 / (dt contacts in the last step), 1/s
    counted: Floats  # (l + 1, 1) contacts there in this step
    felt: Floats  # (3, 3) sums since the boards were stepped: of a_O, of w', of the force on the battery
    pushed: Ints  # (l,) whether contacts push the limb in this step
    busy: Ints  # (l + 1,) 2 with contacts on the limb or core in this step, 1 with contacts in the last
    wake: Ints  # (p,) way, nm, after which a part must be looked at again
    stir: Ints  # (cells,) the same of a cell
    rouse: Ints  # (n,) the same of a point
