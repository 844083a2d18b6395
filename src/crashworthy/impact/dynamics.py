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

__all__ = [
    "REMNANT",
    "averages",
    "beat_of",
    "flex",
    "gather",
    "limb_motion",
    "pull_strap",
    "shake_boards",
    "twist_arms",
]

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
def _contacts(room: Room, limb: int, zero: float) -> tuple[Triple, Triple]:
    """Contact forces on a limb's mass, and what its root bears besides; the next step starts bare."""
    push = lever = (zero, zero, zero)
    if room.pushed[limb]:
        push, lever = row(room.push, limb), row(room.lever, limb)
        for j in range(3):
            room.push[limb, j], room.lever[limb, j] = 0.0, 0.0
        room.pushed[limb] = 0
    return push, lever


@physics
def _go_on(craft: Craft, room: Room, limb: int, R: Nine, S: Triple, dt: float) -> float:
    """Step a limb's velocity and place; its squared speed, m²/s²."""
    U = along(row(room.go, limb), dt * craft.lightness[limb], into_world(R, S))
    X = along(row(room.at, limb), dt, U)
    room.go[limb, 0], room.go[limb, 1], room.go[limb, 2] = U[0], U[1], U[2]
    room.at[limb, 0], room.at[limb, 1], room.at[limb, 2] = X[0], X[1], X[2]
    return dot(U, U)


@physics
def _flex_arm(
    craft: Craft, room: Room, task: Task, b: int, arm: int, R: Nine, x: Triple, V: Triple, w: Triple,
    dt: float, time: float,
) -> tuple[Triple, Triple, float, float, float]:  # fmt: skip
    """One arm: force S, its moment r x S + a tau, spin J Omega, energy lost, squared speed of the tip."""
    r, d, rate = limb_motion(craft, room, arm, R, x, V, w)
    e0 = craft.side[arm, 0, 0], craft.side[arm, 0, 1], craft.side[arm, 0, 2]
    e1 = craft.side[arm, 1, 0], craft.side[arm, 1, 1], craft.side[arm, 1, 2]
    e2 = row(craft.axis, arm)
    whole, theta = room.whole[arm, 0], room.angle[arm, 0]
    turned = room.turning[arm, 0] - dot(e2, w)
    u0, u1, u2 = dot(d, e0) + craft.rise[arm] * theta, dot(d, e1), dot(d, e2)
    v0, v1, v2 = dot(rate, e0) + craft.rise[arm] * turned, dot(rate, e1), dot(rate, e2)
    k0, k1, k2 = craft.stiffness[arm, 0] * u0, craft.stiffness[arm, 1] * u1, craft.stiffness[arm, 2] * u2
    k0, k1, k2 = whole * k0, whole * k1, whole * k2
    c0, c1, c2 = craft.damping[arm, 0] * v0, craft.damping[arm, 1] * v1, craft.damping[arm, 2] * v2
    lost = (c0 * v0 + c1 * v1 + c2 * v2) * dt
    wring = 0.0 * theta
    if room.pushed[arm]:
        wring = wring + room.wring[arm, 0]
        room.wring[arm, 0] = 0.0
    push, lever = _contacts(room, arm, 0.0 * theta)
    S = along(along(along(push, -(k0 + c0), e0), -(k1 + c1), e1), -(k2 + c2), e2)
    spring = whole * craft.twist_stiffness[arm] * theta
    drag = craft.twist_damping[arm] * turned
    lost += drag * turned * dt
    tau = wring - spring - drag - craft.rise[arm] * (k0 + c0)
    spun = craft.twist_inertia[arm] * room.turning[arm, 0]
    room.turning[arm, 0] = room.turning[arm, 0] + dt * tau * craft.twist_lightness[arm]
    # What root and screws bear.
    h0, h1, h2 = k0 + lever[0], k1 + lever[1], k2 + c2 + lever[2]
    s0, s1, s2 = h0 * craft.use[arm, 0], h1 * craft.use[arm, 1], spring * craft.twist_use[arm]
    use = s0 * s0 + s1 * s1 + s2 * s2
    held, pulled = k0 + c0, k2 + c2
    room.slid[arm, 0] = most(room.slid[arm, 0], h2 * h2 + h0 * h0)
    room.slid[arm, 1] = most(room.slid[arm, 1], pulled * pulled + held * held)
    room.wrung[arm, 0] = most(room.wrung[arm, 0], size(spring))
    room.root[arm, 0] = most(room.root[arm, 0], size(h0))
    room.root[arm, 1] = most(room.root[arm, 1], size(h1))
    room.root[arm, 2] = most(room.root[arm, 2], use)
    room.root[arm, 3] = most(room.root[arm, 3], dot(d, d))
    if some((use > task.strength[b, arm]) & (whole > REMNANT)):
        lost += _snap(craft, room, task, b, arm, (use, theta), (u0, u1, u2), time)
    return S, along(cross(r, S), tau, e2), spun, lost, _go_on(craft, room, arm, R, S, dt)


@physics
def _flex_tip(
    craft: Craft, room: Room, limb: int, R: Nine, x: Triple, V: Triple, w: Triple, dt: float
) -> tuple[Triple, Triple, float, float]:
    """Another limb, alike both ways across: S, its moment r x S, energy lost, squared speed."""
    r, d, rate = limb_motion(craft, room, limb, R, x, V, w)
    e = row(craft.axis, limb)
    u, v, square = dot(d, e), dot(rate, e), dot(d, d)
    k, c = craft.stiffness[limb, 0], craft.damping[limb, 0]
    k_more, c_more = craft.stiffness[limb, 2] - k, craft.damping[limb, 2] - c
    tight = 1.0 + craft.tautness[limb] * square
    spring = along((k * d[0], k * d[1], k * d[2]), k_more * u, e)
    spring = tight * spring[0], tight * spring[1], tight * spring[2]
    drag = along((c * rate[0], c * rate[1], c * rate[2]), c_more * v, e)
    push, lever = _contacts(room, limb, 0.0 * square)
    S = less(less(push, spring), drag)
    borne = plus(spring, lever)
    pull = dot(borne, e)
    across, pull = most(dot(borne, borne) - pull * pull, 0.0), pull * craft.use[limb, 2]
    use = craft.use[limb, 0] * craft.use[limb, 0] * across + pull * pull
    use = where(room.dragged[limb, 0] >= craft.snag[limb], use, 0.0)
    room.root[limb, 2] = most(room.root[limb, 2], use)
    room.root[limb, 3] = most(room.root[limb, 3], square)
    return S, cross(r, S), dot(drag, rate) * dt, _go_on(craft, room, limb, R, S, dt)


@physics
def flex(
    craft: Craft, room: Room, task: Task, b: int, R: Nine, x: Triple, V: Triple, w: Triple, force: Triple,
    torque: Triple, dt: float, time: float,
) -> tuple[Triple, Triple, float, tuple[float, float]]:  # fmt: skip
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
        accelerations of O (m/s²) and of the turning (rad/s²), body frame; energy lost in the limbs, J;
        squared speeds of the fastest arm and of the fastest other limb, m²/s².
    """
    momentum = symmetric_times(craft.inertia, w)
    f, t = force, torque
    lost = fast_arm = fast_tip = 0.0 * w[0]
    for arm in range(len(craft.rotor)):
        S, turn, spun, off, fast = _flex_arm(craft, room, task, b, arm, R, x, V, w, dt, time)
        f, t, lost = less(f, S), less(t, turn), lost + off
        momentum = along(momentum, spun, row(craft.axis, arm))
        momentum = momentum[0], momentum[1], momentum[2] + craft.rotor[arm] * room.spin[arm, 0]
        fast_arm = most(fast_arm, fast)
    for limb in range(len(craft.rotor), len(craft.tip_mass)):
        S, turn, off, fast = _flex_tip(craft, room, limb, R, x, V, w, dt)
        f, t, lost = less(f, S), less(t, turn), lost + off
        fast_tip = most(fast_tip, fast)
    t = less(t, cross(w, momentum))
    m = 1.0 / craft.core_mass
    a_O = m * f[0], m * f[1], m * f[2]
    return a_O, symmetric_times(craft.inertia_inverse, t), lost, (fast_arm, fast_tip)


@physics
def twist_arms(craft: Craft, room: Room, w: Triple, spin: float, dt: float) -> float:
    """Step the twist of the arms, once body and tips have their new rates; the fastest of them, rad/s."""
    whirl = 0.0 * spin
    for a in range(len(craft.rotor)):
        rate = room.turning[a, 0] - dot(row(craft.axis, a), w)
        theta = room.angle[a, 0] + dt * rate
        room.angle[a, 0] = theta
        whirl = most(whirl, size(rate) + spin * size(theta))
    return whirl


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
def gather(room: Room, a_O: Triple, A: Triple, pushed: Triple) -> None:
    """Add up what boards and battery will feel when they are stepped next."""
    for j in range(3):
        room.felt[0, j] = room.felt[0, j] + (a_O[0] if j == 0 else (a_O[1] if j == 1 else a_O[2]))
        room.felt[1, j] = room.felt[1, j] + (A[0] if j == 0 else (A[1] if j == 1 else A[2]))
        room.felt[2, j] = room.felt[2, j] + (pushed[0] if j == 0 else (pushed[1] if j == 1 else pushed[2]))


@physics
def averages(room: Room, beat: int) -> tuple[Triple, Triple, Triple]:
    """Mean of what was gathered over ``beat`` steps: a_O, w', force on the battery; gathering starts anew."""
    m = 1.0 / beat
    a, A, F = row(room.felt, 0), row(room.felt, 1), row(room.felt, 2)
    for i in range(3):
        for j in range(3):
            room.felt[i, j] = 0.0
    return (m * a[0], m * a[1], m * a[2]), (m * A[0], m * A[1], m * A[2]), (m * F[0], m * F[1], m * F[2])


@physics
def beat_of(craft: Craft, dt: float) -> int:
    """Steps after which boards and battery are stepped: a radian of the quickest takes at least four.

    What drives them is averaged in between, so no blow is missed.
    """
    quickest = max(craft.stack_rate, craft.pack_rate)
    for j in range(3):
        quickest = max(quickest, craft.board_rate[j])
    return max(1, min(8, int(0.25 / (dt * quickest))))


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
