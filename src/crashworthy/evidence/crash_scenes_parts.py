"""Scenes of the moving parts and of obstacles with give or corners, run through the product's kernel."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.evidence import crash_scenes as scenes
from crashworthy.impact.arrange import make_craft
from crashworthy.impact.limbs import Limb, Twist
from crashworthy.impact.obstacle import BOX, GAP, PARAMS, RUBBLE, SPIKE
from crashworthy.impact.scene import Scene, plane, run, single_bed
from crashworthy.strength.beam import deflection_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft

    Floats = NDArray[np.float64]

__all__ = [
    "RIM",
    "ROTOR",
    "board_step",
    "broken_arm",
    "decay",
    "giving",
    "glance_at",
    "held_contact",
    "precession",
    "pressed_arm",
    "rubbed_prop",
    "strap_pull",
    "turned",
]

ROTOR = 1e-5
"""Inertia of the spinning prop of the scenes, kg m²."""

RIM = 0.05
"""Radius at which it is rubbed, m."""


def spinner(rotor: float, spin: float, inertia: Floats | None = None, mass: float = 0.5) -> Craft:
    """A rigid body with one spinning disc in its middle, touched at the disc's rim."""
    return make_craft(
        core_mass=mass,
        inertia=np.eye(3) * 4e-4 if inertia is None else inertia,
        position=np.array([[RIM, 0.0, 0.0]]),
        area=np.ones(1),
        normal=np.zeros((1, 3)),
        part=np.zeros(1, dtype=np.int32),
        depth_limit=np.array([math.inf]),
        limbs=[
            Limb(
                place=np.zeros(3),
                axis=np.array([1.0, 0.0, 0.0]),
                mass=1e-12,
                stiffness=np.full(3, 1e-7),
                damping=np.zeros(3),
                length=1.0,
                twist=Twist(1e-9, 1e-5, 0.0),
            )
        ],
        prop=np.zeros(1, dtype=np.int32),
        rotor=np.array([rotor]),
        spin=np.array([spin]),
    )


@lru_cache(maxsize=4)
def precession(momentum: float, across: float, polar: float, rate: float, time: float) -> Scene:
    """Free flight of a body of revolution (inertias ``across`` twice and ``polar``) with a rotor in it."""
    craft = spinner(ROTOR, momentum / ROTOR, np.diag([across, across, polar]))
    state = scenes.start((0.0, 0.0, -1.0), height=10.0, spin=(rate, 0.0, 0.0))
    return run(craft, single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=round(time / 1e-6))


@lru_cache(maxsize=4)
def rubbed_prop(spin: float, speed: float, mu: float) -> Scene:
    """A body flies along x until the rim of its spinning disc meets an elastic wall."""
    state = scenes.start((speed, 0.0, 0.0), height=0.0)
    state[0] = -RIM - 1e-12
    dt = math.pi * math.sqrt(0.5 / 1e6) / 4000.0
    wall = plane((-1.0, 0.0, 0.0))
    return run(
        spinner(ROTOR, spin), single_bed(1e6, scenes.HUGE, mu=mu), state, obstacles=wall, dt=dt, steps=5000
    )


@lru_cache(maxsize=8)
def giving(mass: float, speed: float, stiffness: float, other: float, spring: float, damping: float) -> Scene:
    """A ball on an elastic wall of mass ``other`` that hangs on a damped spring; half a second at most."""
    rows = plane()
    rows[12], rows[13], rows[14] = 1.0 / other, spring, damping
    swing = math.sqrt(stiffness * (1.0 / mass + 1.0 / other))
    dt = math.pi / swing / 2000.0
    beds = single_bed(stiffness, scenes.HUGE)
    return run(scenes.ball(mass), beds, scenes.start((0.0, 0.0, -speed)), obstacles=rows, dt=dt, steps=8000)


@lru_cache(maxsize=8)
def glance_at(kind: int, speed: float, radius: float, offset: float) -> Scene:
    """A ball meets the round of an obstacle ``offset`` beside its middle and glances off it.

    The round is the corner of a box, the second post of a gap, the tip of a spike or a stone three stones
    away from where the row of stones begins; its middle lies at the origin and the ball comes along +x.
    """
    rows = np.zeros((PARAMS, 1))
    rows[6] = radius
    if kind == BOX:
        rows[5], rows[7], rows[10], rows[11] = 1.0, 1.0, 0.04, 0.03
        rows[0], rows[1] = 0.04, -0.03
    elif kind == GAP:
        rows[5], rows[8], rows[10] = 1.0, 1.0, 0.5
        rows[1] = -0.5
    elif kind == SPIKE:
        rows[3] = 1.0
    elif kind == RUBBLE:
        rows[3], rows[8], rows[10], rows[11] = -1.0, 1.0, 0.2, 0.01
        rows[0], rows[1] = 0.01, -0.6
    state = scenes.start((speed, 0.0, 0.0), height=0.0)
    state[0] = -math.sqrt(radius**2 - offset**2) - 1e-9
    state[1] = offset
    kinds = np.array([kind], dtype=np.int32)
    beds = single_bed(1e11, scenes.HUGE)
    return run(scenes.ball(0.05), beds, state, obstacles=rows, kinds=kinds, dt=1e-8, steps=600)


@lru_cache(maxsize=4)
def strap_pull(normal: tuple[float, float, float], speed: float, rate: float, damping: float) -> Scene:
    """A body of 0.7 kg thrown back by a hard plane; its pack of 0.2 kg feels a step of velocity."""
    craft = scenes.ball(0.7)._replace(
        pack_mass=0.2, pack_part=1, pack_rate=rate, pack_damping=damping, pack_friction=0.6
    )
    away = np.array(normal)
    state = scenes.start(height=0.0)
    state[3:6, 0] = -speed * away
    state[0:3, 0] = 1e-12 * away
    time = 0.45 * 2.0 * math.pi / rate
    return run(craft, single_bed(3e10, scenes.HUGE), state, dt=1e-7, steps=round(time / 1e-7),
                      obstacles=plane(normal))  # fmt: skip


@lru_cache(maxsize=2)
def board_step(speed: float, stack: float, quality: float) -> Scene:
    """A body thrown back by a hard plane; its stack at ``stack`` Hz carries three boards."""
    craft = scenes.ball(0.7)._replace(
        stack_rate=2.0 * math.pi * stack,
        stack_damping=0.5 / quality,
        board_rate=2.0 * math.pi * np.array([250.0, 500.0, 900.0]),
        board_damping=0.05,
    )
    state = scenes.start((0.0, 0.0, -0.5 * speed))
    return run(craft, single_bed(3e10, scenes.HUGE), state, dt=5e-7, steps=20000, obstacles=plane())


@lru_cache(maxsize=2)
def decay(stiffness: float, tip_mass: float, damping: float) -> Scene:
    """Four damped arms on a core of a billion kg, bent up by 1 mm and let go: 20 ms of free swing."""
    craft = scenes.four_arms(1e9, tip_mass, stiffness, inertia=1e9, damping=damping)
    state = scenes.start((0.0, 0.0, -1e-3), height=10.0, arms=np.array([[0.0, 1e-3, 0.0, 0.0]] * 4))
    return run(craft, single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=20000, every=1)


@lru_cache(maxsize=2)
def broken_arm(stiffness: float, tip_mass: float) -> Scene:
    """Arms on a core that cannot move, struck to 5 m/s and too weak for it: they swing on what is left."""
    craft = scenes.four_arms(1e9, tip_mass, stiffness, inertia=1e9)
    state = scenes.start(height=10.0, arms=np.array([[0.0, 0.0, 0.0, 5.0]] * 4))
    limits = np.vstack([np.full((4, 1), 1e-3), np.full((4, 1), np.inf)])
    return run(craft, single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=20000, every=1, strength=limits)


@lru_cache(maxsize=2)
def pressed_arm(station: float, length: float) -> Scene:
    """An arm on a core that cannot turn meets a soft floor at ``station``: force and root moment."""
    phi = np.array([float(deflection_shape(np.array([station]))[0])])
    k = np.array([1e6, 1e6, 1e7])
    axis = np.array([1.0, 0.0, 0.0])
    craft = make_craft(
        core_mass=1.0,
        inertia=np.eye(3) * 1e9,
        position=np.array([[station * length, 0.0, 0.0]]),
        area=np.ones(1),
        normal=np.zeros((1, 3)),
        part=np.zeros(1, dtype=np.int32),
        depth_limit=np.array([math.inf]),
        limbs=[
            Limb(
                place=length * axis,
                axis=axis,
                mass=0.02,
                stiffness=k,
                damping=2.0 * np.sqrt(k * 0.02),
                use=np.array([length, length, 0.0]),
                length=length,
                twist=Twist(1e-6, 10.0, 0.0),
            )
        ],
        limb=np.zeros(1, dtype=np.int32),
        share=(phi, station - phi),
    )
    dt = math.pi * math.sqrt(1.0 / 1e3) / 50000.0
    return run(craft, single_bed(1e3, scenes.HUGE), scenes.start((0.0, 0.0, -1.0)), dt=dt, steps=25000)


@lru_cache(maxsize=4)
def held_contact(law: int, mass: float, speed: float, stiffness: float) -> Scene:
    """A ball stopped in the middle of its contact, where all its energy is stored in the bed."""
    power = 1.5 if law else 1.0
    if power == 1.0:
        time = 0.5 * math.pi * math.sqrt(mass / stiffness)
    else:
        time = 0.5 * scenes.hertz_duration(mass, speed, stiffness)
    beds = single_bed(stiffness, scenes.HUGE, law=law)
    return run(
        scenes.ball(mass), beds, scenes.start((0.0, 0.0, -speed)), law=law, dt=time / 4000.0, steps=4000
    )


@lru_cache(maxsize=2)
def turned(rate: float, time: float) -> Scene:
    """A ball that flies away from everything, spinning about z; its last frame tells its attitude."""
    state = scenes.start((0.0, 0.0, -1.0), height=10.0, spin=(0.0, 0.0, rate))
    steps = round(time / 1e-6)
    return run(scenes.ball(0.5), single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=steps, every=steps)
