"""Scenes with known outcomes, run through the product's own kernel, for the checks of the crash engine."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.impact.arrange import make_craft
from crashworthy.impact.contact import BED, HERTZ
from crashworthy.impact.limbs import Limb, Twist
from crashworthy.impact.obstacle import CYLINDER, PARAMS
from crashworthy.impact.rigid import rotation
from crashworthy.impact.scene import Scene, plane, run, single_bed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft

    Floats = NDArray[np.float64]

__all__ = [
    "HERTZ_TIME",
    "HUGE",
    "ball",
    "cantilever",
    "drop",
    "four_arms",
    "free_spin",
    "half_sine",
    "hertz_drop",
    "hertz_duration",
    "hertz_peak",
    "limbed",
    "offset_impact",
    "rim_blow",
    "start",
    "thrown_back",
    "tilted",
    "tip",
    "twisting",
    "velocity_step",
]

HUGE = 1e30
"""A crush pressure that is never reached."""

HERTZ_TIME = 0.8 * math.sqrt(math.pi) * math.gamma(0.4) / math.gamma(0.9)
"""Contact time of a Hertz impact over greatest depth by speed: (4/5) sqrt(pi) G(2/5)/G(9/10) = 2.9432."""


def start(
    velocity: tuple[float, float, float] = (0.0, 0.0, 0.0),
    *,
    height: float = 1e-12,
    spin: tuple[float, float, float] = (0.0, 0.0, 0.0),
    arms: Floats | None = None,
) -> Floats:
    """One initial state, level, the origin ``height`` above the plane."""
    state = np.zeros((13, 1))
    state[2], state[6] = height, 1.0
    state[3:6, 0], state[10:13, 0] = velocity, spin
    return state if arms is None else np.vstack([state, arms.reshape(-1, 1)])


def ball(
    mass: float, point: tuple[float, float, float] = (0.0, 0.0, 0.0), inertia: Floats | None = None
) -> Craft:
    """A body with one contact point of unit area."""
    return make_craft(
        core_mass=mass,
        inertia=np.eye(3) * 1e-5 * mass if inertia is None else inertia,
        position=np.array([point]),
        area=np.ones(1),
        normal=np.zeros((1, 3)),
        part=np.zeros(1, dtype=np.int32),
        depth_limit=np.array([math.inf]),
    )


def four_arms(
    core_mass: float,
    tip_mass: float,
    stiffness: float,
    length: float = 0.08,
    *,
    inertia: float = 1.0,
    damping: float = 0.0,
) -> Craft:
    """A core with four equal arms on the diagonals, a contact point under its middle."""
    axis = np.array([[x, y, 0.0] for x, y in ((1, 1), (1, -1), (-1, 1), (-1, -1))]) / math.sqrt(2.0)
    return make_craft(
        core_mass=core_mass,
        inertia=np.diag([1.0, 1.5, 2.0]) * inertia,
        position=np.zeros((1, 3)),
        area=np.ones(1),
        normal=np.zeros((1, 3)),
        part=np.zeros(1, dtype=np.int32),
        depth_limit=np.array([math.inf]),
        limbs=[
            Limb(
                place=length * a,
                axis=a,
                mass=tip_mass,
                stiffness=np.array([1.0, 1.0, 20.0]) * stiffness,
                damping=np.full(3, damping),
                use=np.array([length, length, 0.0]),
                length=length,
                twist=Twist(1e-6, 10.0, 0.0),
            )
            for a in axis
        ],
    )


def limbed(
    core_mass: float, limb: Limb, *, inertia: float = 1.0, point: tuple[float, float, float] | None = None,
    on_limb: bool = False,
) -> Craft:  # fmt: skip
    """A core with one limb, and one contact point: under the core's middle, or on the limb."""
    return make_craft(
        core_mass=core_mass,
        inertia=np.eye(3) * inertia,
        position=np.array([(0.0, 0.0, 0.0) if point is None else point]),
        area=np.ones(1),
        normal=np.zeros((1, 3)),
        part=np.zeros(1, dtype=np.int32),
        depth_limit=np.array([math.inf]),
        limbs=[limb],
        limb=np.array([0 if on_limb else -1], dtype=np.int32),
    )


def tip(
    mass: float,
    stiffness: tuple[float, float, float],
    *,
    place: tuple[float, float, float] = (0.0, 0.0, 0.1),
    axis: tuple[float, float, float] = (1.0, 0.0, 0.0),
    quality: float = math.inf,
    **more: Any,
) -> Limb:
    """A limb; along z it moves across its axis."""
    k = np.array(stiffness)
    return Limb(np.array(place), np.array(axis), mass, k, np.sqrt(k * mass) / quality, **more)


@lru_cache(maxsize=8)
def thrown_back(speed: float, mass: float, stiffness: float, taut: float = 0.0) -> Scene:
    """A heavy core stopped and thrown back within microseconds: its limb sees a step of velocity."""
    k = (stiffness, stiffness, stiffness)
    craft = limbed(1e3, tip(mass, k, tautness=taut, use=np.full(3, 1e-3)))
    steps = round(2.0 * math.pi * math.sqrt(mass / stiffness) / 1e-7)
    return run(craft, single_bed(1e14, HUGE), start((0.0, 0.0, -0.5 * speed)), dt=1e-7, steps=steps)


@lru_cache(maxsize=8)
def half_sine(ratio: float, quality: float) -> Scene:
    """A heavy core on a linear bed is decelerated by a half-sine; what its limb does about it.

    ``ratio`` is the limb's frequency times the duration.
    """
    core, mass, k = 1e3, 0.01, 1e10
    contact = math.pi * math.sqrt(core / k)
    own = mass * (2.0 * math.pi * ratio / contact) ** 2
    craft = limbed(core, tip(mass, (own, own, own), quality=quality, use=np.full(3, 1.0 / mass)))
    steps = round((1.0 + 1.0 / ratio) * 4000)
    return run(craft, single_bed(k, HUGE), start((0.0, 0.0, -3.0)), dt=contact / 4000.0, steps=steps)


@lru_cache(maxsize=8)
def twisting(inertia: float, stiffness: float, core: float, rate: float, rise: float = 0.0) -> Scene:
    """One arm along x set twisting at ``rate`` against a core of moment of inertia ``core``; four swings."""
    spring = Twist(inertia, stiffness, 0.0, rise=rise)
    limb = tip(0.04, (1e5, 1e5, 1e6), place=(0.1, 0.0, rise), length=0.1, twist=spring)
    arm = np.array([[0.0], [0.0], [0.0], [0.0], [rate]])
    state = np.vstack([start((0.0, 0.0, -1e-9), height=10.0), arm])
    dt = 2.0 * math.pi * math.sqrt(inertia / stiffness) / 2000.0
    return run(limbed(0.5, limb, inertia=core), single_bed(1.0, HUGE), state, dt=dt, steps=8000, every=1)


@lru_cache(maxsize=8)
def rim_blow(aside: float, rise: float = 0.0) -> Scene:
    """The bell at the tip of an arm along x comes down on its rim, ``aside`` from the arm's axis, 5 m/s."""
    spring = Twist(6e-6, 12.0, 0.0, rise=rise)
    limb = tip(0.04, (1.5e5, 3e4, 1e7), place=(0.1, 0.0, rise), length=0.1, twist=spring)
    craft = limbed(0.5, limb, inertia=5e-4, point=(0.1, aside, rise), on_limb=True)
    state = start((0.0, 0.0, -5.0), height=-rise + 1e-12)
    return run(craft, single_bed(1e10, HUGE), state, dt=2e-9, steps=20000, every=1)


@lru_cache(maxsize=4)
def tilted(crush: float, steps: int = 12000) -> Scene:
    """A square of skin, 20 mm wide, oblique on its body, comes down at 4 m/s on a plane, 50 deg to it."""
    lean = math.radians(50.0)
    state = start((0.0, 0.0, -4.0), height=0.01 * math.sin(lean) + 1e-9)
    state[6:10, 0] = math.cos(0.4), 0.6 * math.sin(0.4), 0.0, 0.8 * math.sin(0.4)
    turn = np.array(rotation(tuple(state[6:10, 0]))).reshape(3, 3)
    normal = turn.T @ np.array([0.6 * math.sin(lean), 0.8 * math.sin(lean), math.cos(lean)])
    flat = 0.02**2 / 12.0 * (np.eye(3) - np.outer(normal, normal))
    craft = make_craft(
        core_mass=0.3,
        inertia=np.eye(3) * 1e3,
        position=np.zeros((1, 3)),
        area=np.ones(1),
        normal=np.zeros((1, 3)),
        spread=flat[[0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]][None],
        part=np.zeros(1, dtype=np.int32),
        depth_limit=np.array([math.inf]),
    )
    return run(craft, single_bed(2e7, crush), state, dt=5e-7, steps=steps, speed=np.array([4.0]))


def hertz_peak(mass: float, speed: float, stiffness: float) -> float:
    """Peak force of a Hertz impact on a rigid half-space: K (5 m v²/(4 K))^0.6, N."""
    return float(stiffness * (1.25 * mass * speed**2 / stiffness) ** 0.6)


def hertz_duration(mass: float, speed: float, stiffness: float) -> float:
    """Contact time of a Hertz impact, s: 2.9432 d_max / v = 3.2180 (m²/(K² v))^0.2."""
    return float(HERTZ_TIME * (1.25 * mass * speed**2 / stiffness) ** 0.4 / speed)


@lru_cache(maxsize=32)
def hertz_drop(mass: float, speed: float, stiffness: float, crush: float = HUGE, y: float = 0.0) -> Scene:
    """A ball on a rigid plane under Hertz's law, 8000 steps a contact time."""
    dt = hertz_duration(mass, speed, stiffness) / 8000.0
    steps = 400000 if crush < HUGE or y > 0.0 else 12000
    beds = single_bed(stiffness, crush, y, law=HERTZ)
    return run(
        ball(mass), beds, start((0.0, 0.0, -speed)), law=HERTZ, dt=dt, steps=steps, speed=np.array([speed])
    )


@lru_cache(maxsize=32)
def drop(
    mass: float,
    velocity: tuple[float, float, float],
    stiffness: float,
    crush: float = HUGE,
    y: float = 0.0,
    mu: float = 0.0,
) -> Scene:
    """A ball on a plane under the product's bed, about 10000 steps a contact time."""
    dt = math.pi * math.sqrt(mass / stiffness) / 10000.0
    beds = single_bed(stiffness, crush, y, mu)
    return run(
        ball(mass), beds, start(velocity), law=BED, dt=dt, steps=100000, speed=np.array([-velocity[2]])
    )


@lru_cache(maxsize=8)
def offset_impact(point: tuple[float, float, float], stiffness: float = 3e13) -> Scene:
    """A spinning rigid body struck off its centre of gravity: m 0.7 kg, I diag(4, 7, 9)e-4, Hertz."""
    dt = hertz_duration(0.7, 8.0, stiffness) / 1000.0
    craft = ball(0.7, point, np.diag([4e-4, 7e-4, 9e-4]))
    state = start((2.0, 0.0, -8.0), height=-point[2] + 1e-12, spin=(3.0, -5.0, 4.0))
    return run(craft, single_bed(stiffness, HUGE, law=HERTZ), state, law=HERTZ, dt=dt, steps=4000)


@lru_cache(maxsize=8)
def free_spin(dt: float) -> Scene:
    """Spinning free flight of a quad with undamped arms far from anything, 60 ms."""
    craft = four_arms(0.5, 0.046, 67021.18, inertia=8e-4)
    state = start((3.0, -2.0, 1.0), height=10.0, spin=(20.0, -15.0, 10.0))
    state[5] = -1.0  # falling, so that nothing ends the run early
    arms = np.array([[0.0, 1e-3, 0.0, 0.0]] * 4)
    return run(
        craft,
        single_bed(1.0, HUGE),
        np.vstack([state, arms.reshape(-1, 1)]),
        dt=dt,
        steps=round(0.06 / dt),
        every=1,
    )


@lru_cache(maxsize=2)
def cantilever(speed: float, stiffness: float, tip_mass: float, length: float) -> Scene:
    """Four arms on a core of a billion kg, tips struck to ``speed``: the root does not move."""
    craft = four_arms(1e9, tip_mass, stiffness, length, inertia=1e9)
    arms = np.array([[0.0, 0.0, 0.0, speed]] * 4)
    return run(craft, single_bed(1.0, HUGE), start(height=10.0, arms=arms), dt=1e-7, steps=20000)


@lru_cache(maxsize=2)
def glance(speed: float, radius: float, offset: float) -> Scene:
    """A ball flies along x past the axis of a rigid, frictionless pole at ``offset``, and glances off it."""
    rows = np.zeros((PARAMS, 1))
    rows[5], rows[6] = 1.0, radius
    state = start((speed, 0.0, 0.0))
    state[0] = -math.sqrt(radius**2 - offset**2) - 1e-9
    state[1] = offset
    kinds = np.array([CYLINDER], dtype=np.int32)
    return run(ball(0.05), single_bed(1e11, HUGE), state, obstacles=rows, kinds=kinds, dt=1e-9, steps=6000)


@lru_cache(maxsize=2)
def velocity_step(speed: float, frequency: float) -> Scene:
    """A body stopped and thrown back within microseconds: its undamped mount sees a step of velocity."""
    craft = ball(0.7)._replace(stack_rate=2.0 * math.pi * frequency, stack_damping=0.0)
    state = start((0.0, 0.0, -0.5 * speed))
    return run(craft, single_bed(3e9, HUGE), state, dt=1e-7, steps=60000, obstacles=plane())
