"""From the build to the kernel's numbers: core and tips, contact points, beds for every surface and part."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.contact import BED, Bed, bed_of, combine, damping_number, yield_depth
from crashworthy.impact.craft import Beds, Craft
from crashworthy.impact.obstacle import SURFACES
from crashworthy.materials.table import value
from crashworthy.strength.beam import arm_beam, deflection_shape
from crashworthy.strength.capacity import arm_root_moments

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad

    Floats = NDArray[np.float64]

__all__ = ["Model", "make_beds", "make_craft", "model_of"]

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
    """

    craft: Craft
    beds: Beds
    parts: NDArray[np.int32]
    origin: Floats


def _require(good: bool, what: str, remedy: str, field: str = "") -> None:
    if not good:
        raise ScenarioError(Problem(what, remedy, field=field))


def contact_masses(core_mass: float, inertia: Floats, tip_mass: Floats, reach: float) -> NDArray[np.float64]:
    """Lightest mass that a contact on each arm, and (last) on the core, can meet, kg.

    Core: 1/(1/m + r^2/I_min), a bound for any point within ``reach``.
    """
    smallest = float(np.linalg.eigvalsh(inertia)[0])
    core = 1.0 / (1.0 / core_mass + reach**2 / smallest)
    return np.append(tip_mass, core)


def make_craft(
    *,
    core_mass: float,
    inertia: Floats,
    position: Floats,
    area: Floats,
    normal: Floats,
    part: NDArray[np.int32],
    arm: NDArray[np.int32],
    station: Floats,
    depth_limit: Floats,
    axis: Floats | None = None,
    tip: Floats | None = None,
    tip_mass: Floats | None = None,
    stiffness: Floats | None = None,
    damping: Floats | None = None,
    length: Floats | None = None,
    moment_capacity: Floats | None = None,
    stack: Floats | None = None,
    prop: NDArray[np.int32] | None = None,
    rotor: Floats | None = None,
    spin: Floats | None = None,
    pack: tuple[int, float, Floats] | None = None,
) -> Craft:
    """Arrange arrays for the kernel; used for builds and for the bodies of the outside checks.

    Args:
        core_mass: kg.
        inertia: (3, 3) of the core about its centre of gravity, the origin, kg m².
        position: (n, 3) contact points relative to the origin, m.
        area: (n,) m².
        normal: (n, 3); zero rows press whatever the direction.
        part: (n,) 0...p-1, ascending, every part at least once.
        arm: (n,) arm or -1.
        station: (n,) along the arm.
        depth_limit: (p,) m.
        axis: (a, 3) arm axes, horizontal; none of the following may be missing when it is given.
        tip: (a, 3) places of the tip masses relative to the origin, m.
        tip_mass: (a,) kg.
        stiffness: (a, 2) in plane, out of plane, N/m.
        damping: (a, 2) N s/m.
        length: (a,) m.
        moment_capacity: (a, 2) N m.
        stack: (3,) place of the boards relative to the origin, m.
        prop: (p,) arm whose prop each part is, or -1.
        rotor: (a,) inertia of prop and bell about the motor's axis, kg m².
        spin: (a,) their rate about body z at first touch, rad/s.
        pack: part, mass (kg) and place (m) of the strapped battery.
    """
    none, none2 = np.zeros(0), np.zeros((0, 2))
    axis = np.zeros((0, 3)) if axis is None else axis
    tip = np.zeros((0, 3)) if tip is None else tip
    tip_mass = none if tip_mass is None else tip_mass
    side = np.zeros((len(axis), 2, 3))
    for a, e in enumerate(axis):
        up = np.array([0.0, 0.0, 1.0])
        side[a, 0] = np.cross(up, e) / np.linalg.norm(np.cross(up, e))
        side[a, 1] = np.cross(e, side[a, 0])
    start = np.searchsorted(part, np.arange(len(depth_limit) + 1)).astype(np.int32)
    low = np.array([position[s:e].min(axis=0) for s, e in pairwise(start)])
    high = np.array([position[s:e].max(axis=0) for s, e in pairwise(start)])
    centre = 0.5 * (low + high)
    radius = np.sqrt(np.maximum.reduceat(((position - centre[part]) ** 2).sum(axis=1), start[:-1])) + 1e-9
    mass = core_mass * np.eye(3) + np.einsum("a,ai,aj->ij", tip_mass, axis, axis)
    core = arm < 0
    reach = float(np.sqrt((position[core] ** 2).sum(axis=1).max())) if core.any() else 0.0

    def plain(x: Floats) -> Floats:
        return np.ascontiguousarray(x, dtype=np.float64)

    cells, cell_start, order = _cells(position, start)
    position, area, normal, station = (x[order] for x in (position, area, normal, station))
    core = core[order]
    spans = list(pairwise(cell_start))
    cell_centre = np.array([0.5 * (position[s:e].min(axis=0) + position[s:e].max(axis=0)) for s, e in spans])
    cell_radius = np.array(
        [
            np.linalg.norm(position[s:e] - m, axis=1).max()
            for (s, e), m in zip(spans, cell_centre, strict=True)
        ]
    )
    masses = contact_masses(core_mass, inertia, tip_mass, reach)
    carrier = np.ascontiguousarray(arm[start[:-1]], dtype=np.int32)
    prop = np.full(len(carrier), -1, dtype=np.int32) if prop is None else prop
    rotor = np.full(len(axis), 1.0) if rotor is None else rotor
    grip = masses[carrier].copy()
    for p, a in enumerate(prop):
        if a >= 0:
            out = np.linalg.norm((position[start[p] : start[p + 1]] - tip[a])[:, :2], axis=1).max()
            grip[p] = 1.0 / (1.0 / grip[p] + out**2 / rotor[a])
    return Craft(
        core_mass=float(core_mass),
        inertia=plain(inertia),
        mass_inverse=plain(np.linalg.inv(mass)),
        position=plain(position),
        area=plain(area),
        normal=plain(normal),
        shape=plain(np.where(core, 0.0, deflection_shape(station))),
        station=plain(np.where(core, 0.0, np.clip(station, 0.0, 1.0))),
        blunt=plain((normal == 0.0).all(axis=1).astype(np.float64)),
        start=start,
        cells=cells,
        cell_start=cell_start,
        cell_centre=plain(cell_centre),
        cell_radius=plain(cell_radius + 1e-9),
        centre=plain(centre),
        radius=plain(radius),
        arm=carrier,
        prop=np.ascontiguousarray(prop, dtype=np.int32),
        shallow=plain(1.0 / depth_limit),
        axis=plain(axis),
        side=side,
        tip=plain(tip),
        tip_mass=plain(tip_mass),
        stiffness=plain(none2 if stiffness is None else stiffness),
        damping=plain(none2 if damping is None else damping),
        length=plain(none if length is None else length),
        lightness=plain(1.0 / tip_mass),
        use=plain(none2 if moment_capacity is None else np.asarray(length)[:, None] / moment_capacity),
        contact_mass=masses,
        grip=plain(grip),
        rotor=plain(rotor),
        spin=plain(np.zeros(len(axis)) if spin is None else spin),
        stack=plain(np.zeros(3) if stack is None else stack),
        stack_rate=2.0 * math.pi * value("stack_mount", "frequency"),
        stack_damping=0.5 / value("stack_mount", "quality"),
        board_rate=2.0 * math.pi * np.array([value("board", f"frequency_{i}") for i in (1, 2, 3)]),
        board_damping=0.5 / value("board", "quality"),
        pack=plain(np.zeros(3) if pack is None else pack[2]),
        pack_mass=0.0 if pack is None else float(pack[1]),
        pack_part=-1 if pack is None else int(pack[0]),
        pack_rate=2.0 * math.pi * value("strap_mount", "frequency"),
        pack_damping=0.5 / value("strap_mount", "quality"),
        pack_friction=value("part_battery", "seat_friction"),
    )


CELL: Final = 8
"""Most contact points in a clump that is looked at, or left alone, as one."""


def _cells(
    position: Floats, start: NDArray[np.int32]
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int64]]:
    """Clumps of points of one part: first cell of each part, first point of each cell, order of the points.

    A part is halved across its longest side until no piece has more than ``CELL`` points.
    """
    order: list[int] = []
    edges, cells = [0], [0]
    for s, e in pairwise(start):
        stack = [np.arange(s, e)]
        while stack:
            piece = stack.pop()
            if len(piece) > CELL:
                axis = int(np.argmax(np.ptp(position[piece], axis=0)))
                piece = piece[np.argsort(position[piece, axis], kind="stable")]
                half = len(piece) // 2
                stack += [piece[half:], piece[:half]]
                continue
            order += piece.tolist()
            edges.append(len(order))
        cells.append(len(edges) - 1)
    return np.array(cells, dtype=np.int32), np.array(edges, dtype=np.int32), np.array(order)


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

    beams = [arm_beam(arm) for arm in quad.arms]
    tip_mass = np.array([b.tip_mass for b in beams])
    core_mass = whole.mass - float(tip_mass.sum())
    _require(
        core_mass > 0.1 * whole.mass,
        f"motors and props weigh {tip_mass.sum():.3f} of {whole.mass:.3f} kg: nothing is left for the core",
        "check the masses of motors, props and arms",
        "motors.mass",
    )
    tip = np.array([_tip_place(quad, i) for i in range(len(quad.arms))]).reshape(-1, 3)
    origin = (whole.mass * whole.cog - tip_mass @ tip) / core_mass
    inertia = whole.inertia + _spread(whole.mass, whole.cog - origin)
    for m, r in zip(tip_mass, tip, strict=True):
        inertia = inertia - _spread(float(m), r - origin)
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
    craft = make_craft(
        core_mass=core_mass,
        inertia=inertia,
        position=points.position - origin,
        area=points.area,
        normal=points.normal,
        part=part.astype(np.int32),
        arm=points.arm,
        station=points.station,
        depth_limit=np.array(limits),
        axis=np.array([a.axis for a in quad.arms]).reshape(-1, 3),
        tip=tip - origin,
        tip_mass=tip_mass,
        stiffness=np.array([b.stiffness for b in beams]).reshape(-1, 2),
        damping=np.array([b.damping for b in beams]).reshape(-1, 2),
        length=np.array([b.length for b in beams]),
        moment_capacity=np.array([arm_root_moments(a)[::-1] for a in quad.arms]).reshape(-1, 2),
        stack=_stack_place(quad) - origin,
        prop=np.array(
            [quad.parts[i].arm if quad.parts[i].kind == "prop" else -1 for i in owners], dtype=np.int32
        ),
        rotor=np.array([_rotor(quad, i) for i in range(len(quad.arms))]),
        spin=value("part_prop", "spin") * np.array([_TURNS[a.corner] for a in quad.arms]),
        pack=_pack(quad, owners, origin),
    )
    parts = tuple(
        bed_of(f"part_{quad.parts[i].kind}", quad.parts[i].material, "part_default") for i in owners
    )
    surfaces = tuple(bed_of(f"surface_{s}") for s in SURFACES)
    return Model(craft, make_beds(surfaces, parts), owners, origin)


def _spread(mass: float, d: Floats) -> Floats:
    """Inertia of a point mass at ``d`` (parallel axes)."""
    inertia: Floats = mass * (float(d @ d) * np.eye(3) - np.outer(d, d))
    return inertia


def _tip_place(quad: Quad, index: int) -> Floats:
    """Centre of gravity of what rides at the tip of an arm: motor, prop and, at the tip, the rest."""
    arm = quad.arms[index]
    riders = [quad.parts[i] for i in (arm.motor, arm.prop) if i >= 0]
    ridden = sum(p.mass for p in riders)
    total = max(ridden, arm.carried + 1e-12)
    moment = sum((p.mass * (p.centre - arm.tip) for p in riders), np.zeros(3))
    place: Floats = arm.tip + moment / total
    return place


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
