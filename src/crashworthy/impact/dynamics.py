"""Equations of motion: a rigid core with four springy arms whose tips are eliminated.

Generalised coordinates are the pose of the core (6) and, per arm, the tip deflections u = (in plane, out of
plane). With a the arm's axis, r the tip seen from the core's centre of gravity O, and e_j the bending
directions, the tip moves with a_tip = a_O + w' x r + b + u''_j e_j,  b = w x (w x r) + 2 w x u'.
Each tip equation m e_j . a_tip = S_j, with S_j = Q_j - k_j u_j - c_j u'_j, eliminates u'', leaving

    [ M  B ] [a_O]   [ F - sum (S_j e_j + m a (a . b))                    ]
    [ B' C ] [w' ] = [ T - w x (I w + H) - sum (r x S_j e_j + m (r x a)(a . b)) ]

    M = m_c 1 + sum m a a',   B = sum m a (r x a)',   C = I_c + sum m (r x a)(r x a)'

M is constant, so its inverse is; what remains is one symmetric 3x3 solve a step. H is the angular momentum of
the spinning props, along body z: it makes the quad answer a blow like a gyroscope. All in the body frame.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import most, size, some, sqrt, where
from crashworthy.impact.ledger import tip_motion
from crashworthy.impact.rigid import (
    Triple,
    along,
    cross,
    dot,
    less,
    plus,
    row,
    solve_symmetric3,
    symmetric_times,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft, Room

    Floats = NDArray[np.float64]

__all__ = ["REMNANT", "accelerations", "bend_arms", "pull_strap", "shake_boards"]

REMNANT: Final = 0.05
"""Share of its stiffness that a broken arm keeps: fibres that still hang together (assumption)."""


@physics
def accelerations(
    craft: Craft, room: Room, w: Triple, force: Triple, torque: Triple
) -> tuple[Triple, Triple]:
    """Accelerations of the core: of O (m/s²) and of the turning (rad/s²), body frame.

    Args:
        craft: the quad.
        room: deflections and contact forces; ``place``, ``bias`` and ``spring`` are set here.
        w: body rate.
        force: sum of the contact forces.
        torque: theirs about O.
    """
    inertia, W = craft.inertia, craft.mass_inverse
    momentum = symmetric_times(inertia, w)
    turned = momentum[2]
    for a in range(len(craft.tip_mass)):
        turned = turned + craft.rotor[a] * room.spin[a, 0]
    f = force
    t = less(torque, cross(w, (momentum[0], momentum[1], turned)))
    zero = 0.0 * w[0]
    c00, c01, c02 = inertia[0, 0] + zero, inertia[0, 1] + zero, inertia[0, 2] + zero
    c11, c12, c22 = inertia[1, 1] + zero, inertia[1, 2] + zero, inertia[2, 2] + zero
    # Rows of B as triples: B = sum m e (r x e)'.
    b0 = b1 = b2 = (zero, zero, zero)
    for a in range(len(craft.tip_mass)):
        m, e = craft.tip_mass[a], row(craft.axis, a)
        r, rate = tip_motion(craft, room, a)
        g = cross(r, e)
        turning = cross(w, r)
        b = cross(w, plus(turning, plus(rate, rate)))
        pull = m * dot(e, b)
        S0 = (
            room.modal[a, 0]
            - room.whole[a, 0] * craft.stiffness[a, 0] * room.u[a, 0]
            - craft.damping[a, 0] * room.du[a, 0]
        )
        S1 = (
            room.modal[a, 1]
            - room.whole[a, 0] * craft.stiffness[a, 1] * room.u[a, 1]
            - craft.damping[a, 1] * room.du[a, 1]
        )
        room.spring[a, 0], room.spring[a, 1] = S0, S1
        room.place[a, 0], room.place[a, 1], room.place[a, 2] = r[0], r[1], r[2]
        room.bias[a, 0], room.bias[a, 1], room.bias[a, 2] = b[0], b[1], b[2]
        e0 = craft.side[a, 0, 0], craft.side[a, 0, 1], craft.side[a, 0, 2]
        e1 = craft.side[a, 1, 0], craft.side[a, 1, 1], craft.side[a, 1, 2]
        s = along((S0 * e0[0], S0 * e0[1], S0 * e0[2]), S1, e1)
        f = along(less(f, s), -pull, e)
        t = along(less(t, cross(r, s)), -pull, g)
        mg = (m * g[0], m * g[1], m * g[2])
        b0, b1, b2 = along(b0, e[0], mg), along(b1, e[1], mg), along(b2, e[2], mg)
        c00, c01, c02 = c00 + mg[0] * g[0], c01 + mg[0] * g[1], c02 + mg[0] * g[2]
        c11, c12, c22 = c11 + mg[1] * g[1], c12 + mg[1] * g[2], c22 + mg[2] * g[2]
    # Eliminate a_O with the inverse W of M: (C - B' W B) w' = T - B' W F.
    y0 = symmetric_times(W, (b0[0], b1[0], b2[0]))
    y1 = symmetric_times(W, (b0[1], b1[1], b2[1]))
    y2 = symmetric_times(W, (b0[2], b1[2], b2[2]))
    A = solve_symmetric3(
        c00 - (b0[0] * y0[0] + b1[0] * y0[1] + b2[0] * y0[2]),
        c01 - (b0[0] * y1[0] + b1[0] * y1[1] + b2[0] * y1[2]),
        c02 - (b0[0] * y2[0] + b1[0] * y2[1] + b2[0] * y2[2]),
        c11 - (b0[1] * y1[0] + b1[1] * y1[1] + b2[1] * y1[2]),
        c12 - (b0[1] * y2[0] + b1[1] * y2[1] + b2[1] * y2[2]),
        c22 - (b0[2] * y2[0] + b1[2] * y2[1] + b2[2] * y2[2]),
        (t[0] - dot(y0, f), t[1] - dot(y1, f), t[2] - dot(y2, f)),
    )
    f = less(f, (dot(b0, A), dot(b1, A), dot(b2, A)))
    return symmetric_times(W, f), A


@physics
def bend_arms(
    craft: Craft, room: Room, motion: tuple[Triple, Triple], dt: float, strength: Floats, broken: Floats,
    b: int, time: float,
) -> float:  # fmt: skip
    """Record what roots and screws bear, step the tips, break what is too weak.

    Root force = k u + sum (s - phi) F: the tip's spring, plus what contacts short of the tip add beyond their
    share phi of it; times the arm's length it is the root moment. The screws bear what lies in their plane:
    along the arm the contact force less the tip's inertia, across it the bending force.

    Args:
        craft: the quad.
        room: deflections, stepped here; ``bent`` and ``slid`` are raised here.
        motion: accelerations of the core.
        dt: step, s.
        strength: (blocks, 2 a) squared interaction at which an arm breaks.
        broken: (blocks, 2 a) time of breaking, set here.
        b: block.
        time: now, s.

    Returns:
        energy lost in the arms, J.
    """
    a_O, A = motion
    lost = 0.0 * a_O[0]
    for a in range(len(craft.tip_mass)):
        m, e = craft.tip_mass[a], row(craft.axis, a)
        k = plus(plus(a_O, cross(A, row(room.place, a))), row(room.bias, a))
        use = 0.0 * lost
        for j in range(2):
            s = craft.side[a, j, 0], craft.side[a, j, 1], craft.side[a, j, 2]
            bend = room.whole[a, 0] * craft.stiffness[a, j] * room.u[a, j] + room.lever[a, j]
            share = bend * craft.use[a, j]
            room.bent[a, j] = most(room.bent[a, j], size(bend))
            use += share * share
            if j == 0:
                held = room.modal[a, 0] - room.spring[a, 0]
                out = room.pull[a, 0] - m * dot(e, k)
                room.slid[a, 0] = most(room.slid[a, 0], out * out + bend * bend)
                room.slid[a, 1] = most(room.slid[a, 1], out * out + held * held)
            rate = room.du[a, j]
            lost += craft.damping[a, j] * rate * rate * dt
            rate = rate + dt * (room.spring[a, j] * craft.lightness[a] - dot(s, k))
            room.du[a, j] = rate
            room.u[a, j] = room.u[a, j] + dt * rate
        room.bent[a, 2] = most(room.bent[a, 2], use)
        breaks = (use > strength[b, a]) & (room.whole[a, 0] > REMNANT)
        if some(breaks):
            broken[b, a] = where(breaks, time, broken[b, a])
            u0, u1 = room.u[a, 0], room.u[a, 1]
            strain = 0.5 * (craft.stiffness[a, 0] * u0 * u0 + craft.stiffness[a, 1] * u1 * u1)
            lost += where(breaks, (1.0 - REMNANT) * strain, 0.0)
            room.whole[a, 0] = where(breaks, REMNANT, room.whole[a, 0])
    return lost


@physics
def _felt_at(place: Floats, motion: tuple[Triple, Triple], w: Triple) -> Triple:
    """Acceleration of a place that moves with the core."""
    p = (place[0], place[1], place[2])
    return plus(plus(motion[0], cross(motion[1], p)), cross(w, cross(w, p)))


@physics
def shake_boards(
    craft: Craft, room: Room, motion: tuple[Triple, Triple], w: Triple, dt: float
) -> tuple[float, float, Triple]:
    """Step the stack on its mount and three boards on the stack, one damped spring for each axis.

    z'' = -a - 2 zeta wn z' - wn² z, with a the acceleration of what carries it: of the core for the stack, of
    the stack for the boards. The boards are too light to move the stack.

    Returns:
        squared acceleration of the stack, its squared pseudo-velocity wn² z², and those of the boards.
    """
    base = _felt_at(craft.stack, motion, w)
    wn, zeta = craft.stack_rate, craft.stack_damping
    zero = 0.0 * base[0]
    felt = moved = p0 = p1 = p2 = zero
    for i in range(3):
        under = base[0] if i == 0 else (base[1] if i == 1 else base[2])
        pull = -2.0 * zeta * wn * room.dz[0, i] - wn * wn * room.z[0, i]
        felt += pull * pull
        rate = room.dz[0, i] + dt * (pull - under)
        room.dz[0, i] = rate
        travel = room.z[0, i] + dt * rate
        room.z[0, i] = travel
        moved += travel * travel
        for j in range(3):
            wb = craft.board_rate[j]
            rate = room.dz[1 + j, i]
            rate = rate - dt * (pull + 2.0 * craft.board_damping * wb * rate + wb * wb * room.z[1 + j, i])
            room.dz[1 + j, i] = rate
            travel = room.z[1 + j, i] + dt * rate
            room.z[1 + j, i] = travel
            square = wb * wb * travel * travel
            if j == 0:
                p0 += square
            elif j == 1:
                p1 += square
            else:
                p2 += square
    return felt, wn * wn * moved, (p0, p1, p2)


@physics
def pull_strap(
    craft: Craft, room: Room, motion: tuple[Triple, Triple], w: Triple, pushed: Triple, dt: float
) -> float:
    """Step the battery on its pad and strap; squared pull on the strap, N².

    The battery is a mass on a damped spring for each axis, m z'' = F - m a - c z' - k z, with F the contact
    force on it and a the acceleration of its place. The strap bears what lifts the battery off its seat, and
    what would slide it beyond the seat's friction. What it weighs back on the core is left out: the core
    carries the battery's mass.

    Args:
        craft: the quad.
        room: travel of the battery, row 4 of ``z``.
        motion: accelerations of the core.
        w: body rate.
        pushed: contact force on the battery, N.
        dt: step, s.
    """
    base = _felt_at(craft.pack, motion, w)
    wn, zeta = craft.pack_rate, craft.pack_damping
    for i in range(3):
        under = base[0] if i == 0 else (base[1] if i == 1 else base[2])
        push = pushed[0] if i == 0 else (pushed[1] if i == 1 else pushed[2])
        rate = room.dz[4, i]
        pull = push / craft.pack_mass - under - 2.0 * zeta * wn * rate - wn * wn * room.z[4, i]
        rate = rate + dt * pull
        room.dz[4, i] = rate
        room.z[4, i] = room.z[4, i] + dt * rate
    k = craft.pack_mass * wn * wn
    seat = most(-room.z[4, 2], 0.0)
    lift = most(room.z[4, 2], 0.0)
    aside = sqrt(room.z[4, 0] * room.z[4, 0] + room.z[4, 1] * room.z[4, 1])
    slide = most(aside - craft.pack_friction * seat, 0.0)
    return k * k * (lift * lift + slide * slide)
