"""Equations of motion: a rigid core that carries springy limbs.

A limb is a mass m on three springs: the tip of an arm, of an antenna, the loop of a lead, a camera on its
soft mount. Its place X and velocity U are kept in the world frame beside those of the core, x and V. Seen
from the core's centre of gravity O it stands at r = R'(X - x), by d = r - r0 away from its rest, and moves
relative to the core with d' = R'(U - V) - w x r. With e_j the directions across and along,

    u_j = e_j . d     S = Q - sum (k_j (1 + h |u|²) u_j + c_j u'_j) e_j          force on it, Q from contacts
    m U'   = R S
    m_c V' = R (F - sum S)
    I w'   = T - sum (r x S + a tau) - w x (I w + H)

Arms also twist by theta about their axis a = e_2. The tip's mass stands by ``rise`` above the arm's middle,
so the first spring feels u_0 + rise theta; J is the tip's inertia about the axis, Omega its rate:

    J Omega' = tau = q - k_t theta - c_t theta' - rise (k_0 u_0 + c_0 u'_0),   theta' = Omega - a . w

F and T sum the contacts; a contact on a limb moves with phi d + theta g, so Q = sum phi F and q = sum g . F.
H is the angular momentum of props and twisting tips: it makes the quad answer a blow like a gyroscope.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import most, size, some, sqrt, where
from crashworthy.impact.rigid import (
    Nine,
    Triple,
    along,
    cross,
    dot,
    into_body,
    into_world,
    less,
    plus,
    row,
    symmetric_times,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft, Room, Task

    Floats = NDArray[np.float64]

__all__ = ["REMNANT", "flex", "limb_motion", "pull_strap", "shake_boards", "twist_arms"]

REMNANT: Final = 0.05
"""Share of its stiffness that a broken arm keeps: fibres that still hang together (assumption)."""


@physics
def limb_motion(
    craft: Craft, room: Room, limb: int, R: Nine, x: Triple, V: Triple, w: Triple
) -> tuple[Triple, Triple, Triple]:
    """Place r of a limb's mass, its deflection d (m) and its rate d' (m/s), body frame."""
    r = into_body(R, less(row(room.at, limb), x))
    rate = less(into_body(R, less(row(room.go, limb), V)), cross(w, r))
    return r, less(r, row(craft.tip, limb)), rate


@physics
def flex(
    craft: Craft, room: Room, task: Task, b: int, R: Nine, x: Triple, V: Triple, w: Triple, force: Triple,
    torque: Triple, dt: float, time: float,
) -> tuple[Triple, Triple, float]:  # fmt: skip
    """Step the limbs' velocities and places, record what their roots bear, break arms that are too weak.

    Root force = spring + sum (s - phi) F: what contacts short of the tip add beyond their share phi of it;
    times an arm's length it is the root moment. Screws bear what lies in their plane: along the arm, and
    across it.

    Args:
        craft: the quad.
        room: the limbs.
        task: ``strength`` is read, ``broken`` set here.
        b: block.
        R: attitude.
        x: place of O, world frame, m.
        V: its velocity, m/s.
        w: body rate.
        force: sum of the contact forces, N.
        torque: theirs about O, N m.
        dt: step, s.
        time: now, s.

    Returns:
        accelerations of O (m/s²) and of the turning (rad/s²), body frame; energy lost in the limbs, J.
    """
    momentum = symmetric_times(craft.inertia, w)
    f, t = force, torque
    lost = 0.0 * w[0]
    for limb in range(len(craft.tip_mass)):
        r, d, rate = limb_motion(craft, room, limb, R, x, V, w)
        e0 = craft.side[limb, 0, 0], craft.side[limb, 0, 1], craft.side[limb, 0, 2]
        e1 = craft.side[limb, 1, 0], craft.side[limb, 1, 1], craft.side[limb, 1, 2]
        e2 = row(craft.axis, limb)
        u0, u1, u2 = dot(d, e0), dot(d, e1), dot(d, e2)
        v0, v1, v2 = dot(rate, e0), dot(rate, e1), dot(rate, e2)
        arm = limb < len(craft.rotor)
        tight, theta, turned = 1.0 + craft.tautness[limb] * dot(d, d), 0.0 * lost, 0.0 * lost
        if arm:
            tight, theta = room.whole[limb, 0], room.angle[limb, 0]
            turned = room.turning[limb, 0] - dot(e2, w)
            u0, v0 = u0 + craft.rise[limb] * theta, v0 + craft.rise[limb] * turned
        k0, k1, k2 = (
            craft.stiffness[limb, 0] * u0,
            craft.stiffness[limb, 1] * u1,
            craft.stiffness[limb, 2] * u2,
        )
        c0, c1, c2 = craft.damping[limb, 0] * v0, craft.damping[limb, 1] * v1, craft.damping[limb, 2] * v2
        lost += (c0 * v0 + c1 * v1 + c2 * v2) * dt
        k0, k1, k2 = tight * k0, tight * k1, tight * k2
        S = along(along(along(row(room.push, limb), -(k0 + c0), e0), -(k1 + c1), e1), -(k2 + c2), e2)
        f, t = less(f, S), less(t, cross(r, S))
        # What the root bears.
        h0, h1, h2 = k0 + room.lever[limb, 0], k1 + room.lever[limb, 1], k2 + c2 + room.lever[limb, 2]
        s0, s1, s2 = h0 * craft.use[limb, 0], h1 * craft.use[limb, 1], h2 * craft.use[limb, 2]
        use = s0 * s0 + s1 * s1 + s2 * s2
        if arm:
            J, rotor = craft.twist_inertia[limb], craft.rotor[limb]
            spring = tight * craft.twist_stiffness[limb] * theta
            drag = craft.twist_damping[limb] * turned
            lost += drag * turned * dt
            tau = room.wring[limb, 0] - spring - drag - craft.rise[limb] * (k0 + c0)
            t = along(t, -tau, e2)
            spun = J * room.turning[limb, 0]
            momentum = along(momentum, spun, e2)
            momentum = momentum[0], momentum[1], momentum[2] + rotor * room.spin[limb, 0]
            room.turning[limb, 0] = room.turning[limb, 0] + dt * tau / J
            s0 = spring * craft.twist_use[limb]
            use += s0 * s0
            room.wrung[limb, 0] = most(room.wrung[limb, 0], size(spring))
            room.slid[limb, 0] = most(room.slid[limb, 0], h2 * h2 + h0 * h0)
            room.slid[limb, 1] = most(room.slid[limb, 1], (k2 + c2) * (k2 + c2) + (k0 + c0) * (k0 + c0))
            room.root[limb, 0] = most(room.root[limb, 0], size(h0))
            room.root[limb, 1] = most(room.root[limb, 1], size(h1))
            if some((use > task.strength[b, limb]) & (tight > REMNANT)):
                lost += _snap(craft, room, task, b, limb, (use, theta), (u0, u1, u2), time)
        else:
            use = where(room.dragged[limb, 0] >= craft.snag[limb], use, 0.0)
        room.root[limb, 2] = most(room.root[limb, 2], use)
        room.root[limb, 3] = most(room.root[limb, 3], dot(d, d))
        U = along(row(room.go, limb), dt * craft.lightness[limb], into_world(R, S))
        X = along(row(room.at, limb), dt, U)
        for j in range(3):
            room.go[limb, j] = U[0] if j == 0 else (U[1] if j == 1 else U[2])
            room.at[limb, j] = X[0] if j == 0 else (X[1] if j == 1 else X[2])
    t = less(t, cross(w, momentum))
    m = 1.0 / craft.core_mass
    return (m * f[0], m * f[1], m * f[2]), symmetric_times(craft.inertia_inverse, t), lost


@physics
def twist_arms(craft: Craft, room: Room, w: Triple, dt: float) -> None:
    """Step the twist of the arms, once body and tips have their new rates."""
    for a in range(len(craft.rotor)):
        rate = room.turning[a, 0] - dot(row(craft.axis, a), w)
        room.angle[a, 0] = room.angle[a, 0] + dt * rate


@physics
def _snap(
    craft: Craft, room: Room, task: Task, b: int, a: int, use: tuple[float, float], u: Triple, time: float
) -> float:
    """Break an arm where its utilisation is above its strength; the strain energy that is lost, J."""
    breaks = (use[0] > task.strength[b, a]) & (room.whole[a, 0] > REMNANT)
    task.broken[b, a] = where(breaks, time, task.broken[b, a])
    room.whole[a, 0] = where(breaks, REMNANT, room.whole[a, 0])
    strain = craft.twist_stiffness[a] * use[1] * use[1]
    for j in range(3):
        one = u[0] if j == 0 else (u[1] if j == 1 else u[2])
        strain += craft.stiffness[a, j] * one * one
    return where(breaks, (1.0 - REMNANT) * 0.5 * strain, 0.0)


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
