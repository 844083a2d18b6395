"""Scenes with known outcomes, run through the product's own kernel, for the checks of the crash engine."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.impact.contact import BED, HERTZ
from crashworthy.impact.model import make_craft
from crashworthy.impact.obstacle import CYLINDER, PARAMS
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
    "hertz_drop",
    "hertz_duration",
    "hertz_peak",
    "offset_impact",
    "start",
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
        arm=-np.ones(1, dtype=np.int32),
        station=np.zeros(1),
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
        arm=-np.ones(1, dtype=np.int32),
        station=np.zeros(1),
        depth_limit=np.array([math.inf]),
        axis=axis,
        tip=length * axis,
        tip_mass=np.full(4, tip_mass),
        stiffness=np.full((4, 2), stiffness),
        damping=np.full((4, 2), damping),
        length=np.full(4, length),
        moment_capacity=np.ones((4, 2)),
    )


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
