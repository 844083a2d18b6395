"""Keeping account of a crash: energy, momentum, and when nothing can touch any more."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.impact.dynamics import limb_motion
from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import least, most, size, sqrt
from crashworthy.impact.obstacle import CYLINDER, GAP, PLANE, RUBBLE, Shape, gap_normal
from crashworthy.impact.rigid import Nine, Triple, along, dot, into_body, row

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft, Room

    Floats = NDArray[np.float64]

__all__ = ["energy", "limbs_momentum", "never_again"]


@physics
def energy(craft: Craft, room: Room, R: Nine, x: Triple, V: Triple, w: Triple) -> float:
    """Kinetic energy of core, limbs and spinning props and strain energy of the limbs, J."""
    J = craft.inertia
    total: float = 0.5 * craft.core_mass * dot(V, V)
    total += 0.5 * (J[0, 0] * w[0] * w[0] + J[1, 1] * w[1] * w[1] + J[2, 2] * w[2] * w[2])
    total += J[0, 1] * w[0] * w[1] + J[0, 2] * w[0] * w[2] + J[1, 2] * w[1] * w[2]
    for limb in range(len(craft.tip_mass)):
        _, d, _ = limb_motion(craft, room, limb, R, x, V, w)
        U = row(room.go, limb)
        total += 0.5 * craft.tip_mass[limb] * dot(U, U)
        u0 = d[0] * craft.side[limb, 0, 0] + d[1] * craft.side[limb, 0, 1] + d[2] * craft.side[limb, 0, 2]
        u1 = d[0] * craft.side[limb, 1, 0] + d[1] * craft.side[limb, 1, 1] + d[2] * craft.side[limb, 1, 2]
        u2 = dot(d, row(craft.axis, limb))
        square = dot(d, d)
        share = 1.0 + 0.5 * craft.tautness[limb] * square
        if limb < len(craft.rotor):
            share, theta, turning = room.whole[limb, 0], room.angle[limb, 0], room.turning[limb, 0]
            u0 += craft.rise[limb] * theta
            total += 0.5 * craft.rotor[limb] * room.spin[limb, 0] * room.spin[limb, 0]
            total += 0.5 * craft.twist_inertia[limb] * turning * turning
            total += 0.5 * share * craft.twist_stiffness[limb] * theta * theta
        k = craft.stiffness
        total += 0.5 * share * (k[limb, 0] * u0 * u0 + k[limb, 1] * u1 * u1 + k[limb, 2] * u2 * u2)
    return total


@physics
def limbs_momentum(craft: Craft, room: Room, zero: float) -> Triple:
    """Momentum of the limbs' masses, world frame, kg m/s."""
    m = (zero, zero, zero)
    for limb in range(len(craft.tip_mass)):
        m = along(m, craft.tip_mass[limb], row(room.go, limb))
    return m


@physics
def _swing(
    craft: Craft, room: Room, limb: int, R: Nine, x: Triple, V: Triple, w: Triple, reach: float, left: float
) -> float:
    """How far a point of a limb can still stray from where it would be on a rigid quad, m.

    Twice the amplitude of a free oscillation, |d| + |d'|/omega, and of the twist.
    """
    _, d, rate = limb_motion(craft, room, limb, R, x, V, w)
    lasts = least(left, craft.sway[limb, 0])
    stray = sqrt(dot(d, d)) + lasts * sqrt(dot(rate, rate))
    if limb < len(craft.rotor):
        turned = room.turning[limb, 0] - dot(row(craft.axis, limb), w)
        lasts = least(left, craft.sway[limb, 1])
        stray += reach * (size(room.angle[limb, 0]) + lasts * size(turned))
    return 2.0 * stray


@physics
def never_again(
    craft: Craft, room: Room, kind: int, shape: Shape, R: Nine, x: Triple, V: Triple, w: Triple, reach: float,
    left: float,
) -> bool:  # fmt: skip
    """Whether no part can reach the obstacle within the time ``left``, however the quad turns.

    The gap of a part's sphere shrinks at most by its turning, and the gap of a convex obstacle to a point in
    straight flight lies above its tangent; so the bound below is linear in time and safe at both ends. Rubble
    counts as a floor at the top of its stones, a gap as one post and then the other.

    Args:
        craft: the quad.
        room: its limbs.
        kind: shape of the obstacle.
        shape: the obstacle in the body frame.
        R: attitude.
        x: place of O, world frame, m.
        V: its velocity, m/s.
        w: body rate.
        reach: how far the obstacle itself can still swing, m.
        left: time, s.
    """
    v = into_body(R, V)
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
            margin = reach + 1e-3
            if craft.limb[p] >= 0:
                margin += _swing(craft, room, craft.limb[p], R, x, V, w, craft.reach[p], left)
            place = row(craft.centre, p)
            gap, n = gap_normal(solid, whole, place)
            gap = gap - (craft.radius[p] + margin)
            closing = rate * sqrt(dot(place, place)) - dot(n, v)
            clear = clear & (gap >= 0.0) & (gap >= closing * left)
    return clear
