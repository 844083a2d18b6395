"""From the build to the kernel's numbers: core and tips, contact points, beds for every surface and part."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.arrange import make_craft
from crashworthy.impact.contact import BED, Bed, bed_of, combine, damping_number, yield_depth
from crashworthy.impact.craft import STEP_LIMIT, Beds
from crashworthy.impact.limbs import limbs_of
from crashworthy.impact.obstacle import SURFACES
from crashworthy.materials.table import value
from crashworthy.strength.beam import deflection_shape
from crashworthy.strength.limbs import stack_frequency

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.craft import Craft
    from crashworthy.impact.limbs import Limb

    Floats = NDArray[np.float64]

__all__ = ["Model", "longest_step", "make_beds", "model_of"]

_FREE: Final = ("prop", "antenna", "lead", "strap")
"""Kinds that give way by folding aside: their depth is no sign of a bad result."""


_TURNS: Final = (1.0, -1.0, -1.0, 1.0)
"""Sense in which the prop at each corner turns: neighbours turn against each other."""


class Model(NamedTuple):
    """All that a chunk of crashes needs of the build; plain arrays, so it can be sent to another process.

    Attributes:
        craft, beds: for the kernel.
        parts: (p,) index into ``Quad.parts`` of each part that has contact points.
        origin: (3,) centre of gravity of the core in the quad's frame, m.
        limbs: (l,) index into ``Quad.parts`` of the part that each limb is reported as; arms first.
        step: longest time step that the limbs' own springs allow, s.
    """

    craft: Craft
    beds: Beds
    parts: NDArray[np.int32]
    origin: Floats
    limbs: NDArray[np.int32]
    step: float


def _require(good: bool, what: str, remedy: str, field: str = "") -> None:
    if not good:
        raise ScenarioError(Problem(what, remedy, field=field))


def make_beds(surfaces: tuple[Bed, ...], parts: tuple[Bed, ...], law: int = BED) -> Beds:
    """Combine every surface with every part."""
    shape = (len(surfaces), len(parts))
    k, p, d, y, mu = (np.zeros(shape) for _ in range(5))
    ground = np.zeros(shape, dtype=np.int32)
    for s, surface in enumerate(surfaces):
        for i, part in enumerate(parts):
            both = combine(surface, part)
            k[s, i], p[s, i], mu[s, i] = both.stiffness, both.crush, both.friction
            d[s, i] = yield_depth(law, both.stiffness, both.crush)
            y[s, i] = damping_number(both.restitution)
            ground[s, i] = surface.crush < part.crush
    return Beds(k, p, d, y, mu, ground)


def model_of(quad: Quad) -> Model:
    """Turn a build into the kernel's numbers.

    The core is everything but the tip masses, so that mass, centre of gravity and inertia of the whole are
    those of the build.

    Raises:
        ScenarioError: the build has no contact points, no mass, or sizes that cannot be crashed.
    """
    whole, points = quad.mass_properties, quad.points
    _require(len(points) > 0, "the build has no shape that could touch anything", "add arms, plates or parts")
    finite = all(np.isfinite(x).all() for x in (points.position, points.area, points.normal, whole.inertia))
    _require(finite, "the build's geometry holds a number that is not finite", "check the sizes in the sheet")
    _require(math.isfinite(whole.mass) and whole.mass > 0.0, "the build has no mass", "give its parts mass")
    _require(
        bool((points.area > 0.0).any()), "the build's skin has no area", "check thicknesses in the sheet"
    )

    limbs = limbs_of(quad)
    mass = np.array([m.mass for m in limbs])
    tips = mass[: len(quad.arms)].sum()
    core_mass = whole.mass - float(mass.sum())
    _require(
        core_mass > 0.1 * whole.mass,
        f"motors and props weigh {tips:.3f} of {whole.mass:.3f} kg: nothing is left for the core",
        "check the masses of motors, props and arms",
        "motors.mass",
    )
    places = np.array([m.place for m in limbs]).reshape(-1, 3)
    origin = (whole.mass * whole.cog - mass @ places) / core_mass
    inertia = whole.inertia + _spread(whole.mass, whole.cog - origin)
    for m in limbs:
        inertia = inertia - _spread(m.mass, m.place - origin)
        if m.twist is not None:
            inertia = inertia - m.twist.inertia * np.outer(m.axis, m.axis)
    size, turn = np.linalg.eigh(inertia)
    # A core lighter in rotation than its own mass at 10 mm is a sheet whose masses sit at the tips.
    inertia = turn @ np.diag(np.maximum(size, core_mass * 1e-4)) @ turn.T

    owners, part = np.unique(points.part, return_inverse=True)
    owners = owners.astype(np.int32)
    extents = [quad.parts[i].vertices for i in owners]
    limits = [
        math.inf
        if quad.parts[i].kind in _FREE
        else 0.5 * max(1e-3, float(np.ptp(v, axis=0).min()) if len(v) else 1e-3)
        for i, v in zip(owners, extents, strict=True)
    ]
    limb, share = _carried(quad, limbs)
    craft = make_craft(
        core_mass=core_mass,
        inertia=inertia,
        position=points.position - origin,
        area=points.area,
        normal=points.normal,
        spread=points.spread,
        part=part.astype(np.int32),
        depth_limit=np.array(limits),
        limbs=[m._replace(place=m.place - origin) for m in limbs],
        limb=limb,
        share=share,
        stack=_stack_place(quad) - origin,
        prop=np.array(
            [quad.parts[i].arm if quad.parts[i].kind == "prop" else -1 for i in owners], dtype=np.int32
        ),
        rotor=np.array([_rotor(quad, i) for i in range(len(quad.arms))]),
        spin=value("part_prop", "spin") * np.array([_TURNS[a.corner] for a in quad.arms]),
        pack=_pack(quad, owners, origin),
    )
    craft = craft._replace(stack_rate=2.0 * math.pi * stack_frequency(quad))
    parts = tuple(
        bed_of(f"part_{quad.parts[i].kind}", quad.parts[i].material, "part_default") for i in owners
    )
    surfaces = tuple(bed_of(f"surface_{s}") for s in SURFACES)
    reported = np.array([m.parts[0] for m in limbs], dtype=np.int32)
    return Model(craft, make_beds(surfaces, parts), owners, origin, reported, longest_step(craft))


def longest_step(craft: Craft) -> float:
    """Time step at which the quickest limb keeps its distance from instability: 0.2 of 2/omega, s.

    omega² <= k (1/m + 1/m_c + r²/I) for each spring, r the place of its mass.
    """
    if len(craft.tip_mass) == 0:
        return math.inf
    least = float(np.linalg.eigvalsh(craft.inertia)[0])
    core = 1.0 / craft.core_mass + (craft.tip**2).sum(axis=1) / least
    fastest = float((craft.stiffness * (craft.lightness + core)[:, None]).max())
    if len(craft.rotor):
        raised = craft.stiffness[: len(craft.rotor), 0] * craft.rise**2 + craft.twist_stiffness
        fastest = max(fastest, float((raised * (1.0 / craft.twist_inertia + 1.0 / least)).max()))
    return STEP_LIMIT * 2.0 / math.sqrt(fastest)


def _carried(quad: Quad, limbs: Sequence[Limb]) -> tuple[NDArray[np.int32], tuple[Floats, Floats]]:
    """Limb of each contact point, its share phi, and what the root bears beyond phi."""
    points = quad.points
    limb = np.array(points.arm, dtype=np.int32)
    phi = np.where(limb >= 0, deflection_shape(points.station), 0.0)
    rest = np.where(limb >= 0, np.clip(points.station, 0.0, 1.0) - phi, 0.0)
    for index, m in enumerate(limbs[len(quad.arms) :], start=len(quad.arms)):
        for which in m.parts:
            own = np.flatnonzero(points.part == which)
            limb[own] = index
            shares = (
                m.share(points.position[own])
                if which == m.parts[0]
                else (np.ones(len(own)), np.zeros(len(own)))
            )
            phi[own], rest[own] = shares
    return limb, (phi, rest)


def _spread(mass: float, d: Floats) -> Floats:
    """Inertia of a point mass at ``d`` (parallel axes)."""
    inertia: Floats = mass * (float(d @ d) * np.eye(3) - np.outer(d, d))
    return inertia


def _rotor(quad: Quad, index: int) -> float:
    """Inertia of prop and bell of an arm about the motor's axis, kg m²."""
    arm = quad.arms[index]
    prop = quad.parts[arm.prop].inertia[2, 2] if arm.prop >= 0 else 0.0
    bell = quad.parts[arm.motor].inertia[2, 2] * value("part_motor", "bell_share") if arm.motor >= 0 else 0.0
    return max(float(prop + bell), 1e-7)


def _pack(quad: Quad, owners: NDArray[np.int32], origin: Floats) -> tuple[int, float, Floats] | None:
    """The battery among the craft's parts: number, mass and place; None without one."""
    for number, index in enumerate(owners):
        part = quad.parts[index]
        if part.kind == "battery" and part.mass > 0.0:
            return number, part.mass, part.centre - origin
    return None


def _stack_place(quad: Quad) -> Floats:
    """Centre of gravity of the boards; of the whole quad when there are none."""
    boards = [p for p in quad.parts if p.kind == "board"]
    mass = sum(p.mass for p in boards)
    if mass <= 0.0:
        return quad.mass_properties.cog
    place: Floats = sum((p.mass * p.centre for p in boards), np.zeros(3)) / mass
    return place
