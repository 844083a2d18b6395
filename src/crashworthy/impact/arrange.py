"""Arrange bodies, limbs and contact points as the arrays that the kernel takes."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.craft import Craft
from crashworthy.materials.table import value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.impact.limbs import Limb

    Floats = NDArray[np.float64]

__all__ = ["make_craft"]


def make_craft(
    *,
    core_mass: float,
    inertia: Floats,
    position: Floats,
    area: Floats,
    normal: Floats,
    part: NDArray[np.int32],
    depth_limit: Floats,
    spread: Floats | None = None,
    limbs: Sequence[Limb] = (),
    limb: NDArray[np.int32] | None = None,
    share: tuple[Floats, Floats] | None = None,
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
        depth_limit: (p,) m.
        spread: (n, 6) variance of the skin about each point, xx, yy, zz, xy, xz, yz, m²; none by default.
        limbs: what gives, places relative to the origin; first those that twist, the arms.
        limb: (n,) limb that carries a point, or -1.
        share: (n,) phi, and (n,) what a root bears of a sideways force beyond phi; 1 and 0 by default.
        stack: (3,) place of the boards relative to the origin, m.
        prop: (p,) arm whose prop each part is, or -1.
        rotor: (a,) inertia of prop and bell about the motor's axis, kg m².
        spin: (a,) their rate about body z at first touch, rad/s.
        pack: part, mass (kg) and place (m) of the strapped battery.
    """
    n = len(area)
    limb = np.full(n, -1, dtype=np.int32) if limb is None else limb
    on = limb >= 0
    phi: Any
    rest: Any
    phi, rest = (on * 1.0, np.zeros(n)) if share is None else share
    start = np.searchsorted(part, np.arange(len(depth_limit) + 1)).astype(np.int32)
    low = np.array([position[s:e].min(axis=0) for s, e in pairwise(start)])
    high = np.array([position[s:e].max(axis=0) for s, e in pairwise(start)])
    centre = 0.5 * (low + high)
    # Slices spread evenly over +-w about the middle have the variance w²/3.
    spread = np.zeros((n, 6)) if spread is None else 3.0 * spread
    bulge = np.sqrt(np.maximum(np.linalg.eigvalsh(spread[:, [[0, 3, 4], [3, 1, 5], [4, 5, 2]]])[:, 2], 0.0))
    off = np.linalg.norm(position - centre[part], axis=1) + bulge
    radius = np.maximum.reduceat(off, start[:-1]) + 1e-9
    carrier = np.ascontiguousarray(limb[start[:-1]], dtype=np.int32)
    prop = np.full(len(carrier), -1, dtype=np.int32) if prop is None else prop

    cells, cell_start, order = _cells(position, start)
    position, area, normal = position[order], area[order], normal[order]
    spread, bulge = spread[order], bulge[order]
    limb, phi, rest = limb[order], phi[order], rest[order]
    spans = list(pairwise(cell_start))
    cell_centre = np.array([0.5 * (position[s:e].min(axis=0) + position[s:e].max(axis=0)) for s, e in spans])
    cell_radius = np.array(
        [
            (np.linalg.norm(position[s:e] - m, axis=1) + bulge[s:e]).max()
            for (s, e), m in zip(spans, cell_centre, strict=True)
        ]
    )
    hung = _arrange(limbs)
    arms = len(hung.twist_inertia)
    rotor = np.full(arms, 1.0) if rotor is None else rotor
    screw = _screw(limbs, position, limb, phi)
    mobility, off = _mobility(core_mass, inertia, limbs, position, limb, phi, screw)
    lightness = np.zeros(len(limbs) + 1)
    lightness[1 : arms + 1] = hung.twist_lightness
    turned = (screw**2).sum(axis=1) * lightness[limb + 1]
    rub = mobility + turned
    for p, a in enumerate(prop):
        if a >= 0:
            own = slice(start[p], start[p + 1])
            rub[own] += ((position[own] - hung.tip[a])[:, :2] ** 2).sum(axis=1) / rotor[a]

    return Craft(
        core_mass=float(core_mass),
        inertia=_plain(inertia),
        inertia_inverse=_plain(np.linalg.inv(inertia)),
        position=_plain(position),
        area=_plain(area),
        spread=_plain(spread),
        bulge=_plain(bulge),
        normal=_plain(normal),
        shape=_plain(phi),
        rest=_plain(rest),
        screw=_plain(screw),
        mobility=_plain(mobility),
        grip=_plain(1.0 / rub),
        blunt=_plain((normal == 0.0).all(axis=1)),
        start=start,
        cells=cells,
        cell_start=cell_start,
        cell_centre=_plain(cell_centre),
        cell_radius=_plain(cell_radius + 1e-9),
        centre=_plain(centre),
        radius=_plain(radius),
        reach=_plain(np.sqrt(np.maximum.reduceat((screw**2).sum(axis=1), start[:-1]))),
        limb=carrier,
        rides=((np.minimum.reduceat(phi, start[:-1]) >= 1.0) | (carrier < 0)).astype(np.int32),
        prop=np.ascontiguousarray(prop, dtype=np.int32),
        shallow=_plain(1.0 / depth_limit),
        span=float((off + bulge).max()),
        whirl=float(np.linalg.norm(screw, axis=1).max()),
        rotor_lightness=_plain(1.0 / rotor),
        rotor=_plain(rotor),
        spin=_plain(np.zeros(arms) if spin is None else spin),
        stack=_plain(np.zeros(3) if stack is None else stack),
        stack_rate=2.0 * math.pi * value("stack_mount", "frequency"),
        stack_damping=0.5 / value("stack_mount", "quality"),
        board_rate=2.0 * math.pi * np.array([value("board", f"frequency_{i}") for i in (1, 2, 3)]),
        board_damping=0.5 / value("board", "quality"),
        pack=_plain(np.zeros(3) if pack is None else pack[2]),
        pack_mass=0.0 if pack is None else float(pack[1]),
        pack_part=-1 if pack is None else int(pack[0]),
        pack_rate=2.0 * math.pi * value("strap_mount", "frequency"),
        pack_damping=0.5 / value("strap_mount", "quality"),
        pack_friction=value("part_battery", "seat_friction"),
        snag_force=value("part_lead", "snag_force"),
        **hung._asdict(),
    )


def _plain(x: Any) -> Floats:
    return np.ascontiguousarray(x, dtype=np.float64)


class _Hung(NamedTuple):
    """The limbs as arrays; names as in ``Craft``."""

    axis: Floats
    side: Floats
    tip: Floats
    tip_mass: Floats
    lightness: Floats
    stiffness: Floats
    damping: Floats
    tautness: Floats
    sway: Floats
    use: Floats
    snag: Floats
    length: Floats
    rise: Floats
    twist_inertia: Floats
    twist_lightness: Floats
    twist_stiffness: Floats
    twist_damping: Floats
    twist_use: Floats


def _arrange(limbs: Sequence[Limb]) -> _Hung:
    """Limbs to arrays."""
    twists = [m.twist for m in limbs if m.twist is not None]
    if any(m.twist is None for m in limbs[: len(twists)]):
        raise ScenarioError(Problem("limbs are out of order", "give those that twist, the arms, first"))

    def table(rows: Sequence[object], *shape: int) -> Floats:
        return np.ascontiguousarray(np.array(rows, dtype=np.float64).reshape(-1, *shape))

    mass = table([m.mass for m in limbs])
    softest = table([np.sqrt(m.mass / m.stiffness.min()) for m in limbs])
    turn = table([math.sqrt(t.inertia / t.stiffness) for t in twists] + [0.0] * (len(limbs) - len(twists)))
    return _Hung(
        axis=table([m.axis for m in limbs], 3),
        side=table([_across(m.axis) for m in limbs], 2, 3),
        tip=table([m.place for m in limbs], 3),
        tip_mass=mass,
        lightness=1.0 / mass,
        stiffness=table([m.stiffness for m in limbs], 3),
        damping=table([m.damping for m in limbs], 3),
        tautness=table([m.tautness for m in limbs]),
        sway=np.ascontiguousarray(np.stack([softest, turn], axis=1)),
        use=table([m.use for m in limbs], 3),
        snag=table([m.snag for m in limbs]),
        length=table([m.length for m in limbs[: len(twists)]]),
        rise=table([t.rise for t in twists]),
        twist_inertia=table([t.inertia for t in twists]),
        twist_lightness=table([1.0 / t.inertia for t in twists]),
        twist_stiffness=table([t.stiffness for t in twists]),
        twist_damping=table([t.damping for t in twists]),
        twist_use=table([t.use for t in twists]),
    )


def _across(axis: Floats) -> Floats:
    """Two unit vectors across an axis: the first level where it can be, so that arms bend in plane first."""
    up = np.array([0.0, 0.0, 1.0]) if abs(axis[2]) < 0.99 else np.array([1.0, 0.0, 0.0])
    first = np.cross(up, axis) / np.linalg.norm(np.cross(up, axis))
    return np.array([first, np.cross(axis, first)])


def _screw(limbs: Sequence[Limb], position: Floats, limb: NDArray[np.int32], phi: Floats) -> Floats:
    """(n, 3) g: displacement of each point as its arm twists, m/rad; see ``twist_ways``."""
    g = np.zeros_like(position)
    for index, m in enumerate(limbs):
        if m.twist is not None:
            own = limb == index
            g[own] = twist_ways(m, position[own], phi[own])
    return g


def twist_ways(arm: Limb, points: Floats, phi: Floats) -> Floats:
    """(n, 3) displacement of points on an arm, or on what rides at its tip, as it twists, m/rad.

    The arm turns about its own middle, below the tip's mass by ``rise``; the mass stays where it is, so that
    twist and deflection are of separate inertias: g = a x (phi o + s (p - r_e)), r_e = tip + o.

    Args:
        arm: a limb that twists.
        points: (n, 3) in the frame of its ``place``, m.
        phi: (n,) share of the tip's deflection there.
    """
    rise = 0.0 if arm.twist is None else arm.twist.rise
    below = -rise * _across(arm.axis)[1]
    end = arm.place + below
    # Uniform bar: the twist grows evenly from the root; beyond the tip everything turns along.
    station = np.clip(1.0 + (points - end) @ arm.axis / arm.length, 0.0, 1.0)
    station = np.where(phi >= 1.0, 1.0, station)
    ways: Floats = np.cross(arm.axis, phi[:, None] * below + station[:, None] * (points - end))
    return ways


def _mobility(
    core_mass: float, inertia: Floats, limbs: Sequence[Limb], position: Floats, limb: NDArray[np.int32],
    phi: Floats, screw: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """(n,) most speed that an impulse of 1 N s gives each point, 1/kg, without twist; (n,) its distance.

    A point moves with (1 - phi) v + w x (r - phi r_t) - g (a . w) + phi U; the norm of that row, each column
    over the root of its mass or least inertia, bounds what any direction gets. The distance is |r - phi r_t|.
    """
    least = float(np.linalg.eigvalsh(inertia)[0])
    tips = np.array([[0.0, 0.0, 0.0, 0.0], *([*m.place, 1.0 / m.mass] for m in limbs)])[limb + 1]
    share = np.where(limb < 0, 0.0, phi)
    off = np.linalg.norm(position - share[:, None] * tips[:, :3], axis=1)
    far = off + np.linalg.norm(screw, axis=1)
    mobility = (1.0 - share) ** 2 / core_mass + far**2 / least + share**2 * tips[:, 3]
    return mobility, off


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
