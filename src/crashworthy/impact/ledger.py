"""Keeping account of a crash: energy, momentum, and when nothing can touch any more."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import most, size, sqrt
from crashworthy.impact.obstacle import CYLINDER, GAP, PLANE, RUBBLE, Shape, gap_normal
from crashworthy.impact.rigid import Triple, along, cross, dot, plus, row

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft, Room

    Floats = NDArray[np.float64]

__all__ = ["energy", "never_again", "tip_motion", "tips_momentum"]


@physics
def tip_motion(craft: Craft, room: Room, a: int) -> tuple[Triple, Triple]:
    """Place (m) and velocity relative to the core (m/s) of the tip of arm ``a``, body frame."""
    e0 = craft.side[a, 0, 0], craft.side[a, 0, 1], craft.side[a, 0, 2]
    e1 = craft.side[a, 1, 0], craft.side[a, 1, 1], craft.side[a, 1, 2]
    place = along(along(row(craft.tip, a), room.u[a, 0], e0), room.u[a, 1], e1)
    d0, d1 = room.du[a, 0], room.du[a, 1]
    return place, (
        d0 * e0[0] + d1 * e1[0],
        d0 * e0[1] + d1 * e1[1],
        d0 * e0[2] + d1 * e1[2],
    )


@physics
def energy(craft: Craft, room: Room, v: Triple, w: Triple) -> float:
    """Kinetic energy of core, tips and spinning props and strain energy of the arms, J."""
    J = craft.inertia
    total: float = 0.5 * craft.core_mass * dot(v, v)
    total += 0.5 * (J[0, 0] * w[0] * w[0] + J[1, 1] * w[1] * w[1] + J[2, 2] * w[2] * w[2])
    total += J[0, 1] * w[0] * w[1] + J[0, 2] * w[0] * w[2] + J[1, 2] * w[1] * w[2]
    for a in range(len(craft.tip_mass)):
        place, rate = tip_motion(craft, room, a)
        t = plus(plus(v, cross(w, place)), rate)
        total += 0.5 * craft.tip_mass[a] * dot(t, t)
        u0, u1 = room.u[a, 0], room.u[a, 1]
        strain = 0.5 * (craft.stiffness[a, 0] * u0 * u0 + craft.stiffness[a, 1] * u1 * u1)
        total += room.whole[a, 0] * strain
        total += 0.5 * craft.rotor[a] * room.spin[a, 0] * room.spin[a, 0]
    return total


@physics
def tips_momentum(craft: Craft, room: Room, w: Triple) -> Triple:
    """Momentum of the tips in excess of their mass times the core's velocity, body frame, kg m/s."""
    m = (0.0 * w[0], 0.0 * w[0], 0.0 * w[0])
    for a in range(len(craft.tip_mass)):
        place, rate = tip_motion(craft, room, a)
        m = along(m, craft.tip_mass[a], plus(cross(w, place), rate))
    return m


@physics
def never_again(
    craft: Craft, room: Room, kind: int, shape: Shape, v: Triple, w: Triple, reach: float, left: float
) -> bool:
    """Whether no part can reach the obstacle within the time ``left``, however the quad turns.

    The gap of a part's sphere shrinks at most by its turning, and the gap of a convex obstacle to a point in
    straight flight lies above its tangent; so the bound below is linear in time and safe at both ends. Rubble
    counts as a floor at the top of its stones, a gap as one post and then the other.

    Args:
        craft: the quad.
        room: its deflections.
        kind: shape of the obstacle.
        shape: the obstacle in the body frame.
        v: velocity of O, body frame.
        w: body rate.
        reach: how far the obstacle itself can still swing, m.
        left: time, s.
    """
    margin = reach + 1e-3
    for a in range(len(craft.tip_mass)):
        margin = most(margin, reach + 1e-3 + 2.0 * (size(room.u[a, 0]) + size(room.u[a, 1])))
    rate = sqrt(dot(w, w))
    clear = rate >= 0.0
    for second in range(2 if kind == GAP else 1):
        solid, whole = kind, shape
        if kind == RUBBLE:
            solid = PLANE
            top = along(shape.point, most(shape.high + shape.radius, 0.0), shape.axis)
            whole = Shape(top, shape.axis, shape.across, shape.third, shape.radius, shape.wide, shape.high)
        elif kind == GAP:
            solid = CYLINDER
            post = along(shape.point, second * shape.wide, shape.across)
            whole = Shape(post, shape.axis, shape.across, shape.third, shape.radius, shape.wide, shape.high)
        for p in range(len(craft.radius)):
            place = row(craft.centre, p)
            gap, n = gap_normal(solid, whole, place)
            gap = gap - (craft.radius[p] + margin)
            closing = rate * sqrt(dot(place, place)) - dot(n, v)
            clear = clear & (gap >= 0.0) & (gap >= closing * left)
    return clear
