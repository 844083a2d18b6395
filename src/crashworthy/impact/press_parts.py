"""Contact of all parts with the obstacle in one step: broad phase, depth, law, friction, bookkeeping."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from crashworthy.impact.contact import friction, press
from crashworthy.impact.dynamics import limb_motion
from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import least, lowest, most, size, some, sqrt, where
from crashworthy.impact.obstacle import Shape, gap_normal
from crashworthy.impact.rigid import Nine, Triple, along, cross, dot, into_body, less, plus, row

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Beds, Craft, Room, Task

    Floats = NDArray[np.float64]

__all__ = ["NEVER", "Pressed", "press_parts"]

TOO_FAR: Final = 1e9
"""A distance that nothing reaches, m."""

NEVER: Final = 1e300
"""A time that never comes, s."""


class Pressed(NamedTuple):
    """What one step of contact gives: sums over all points."""

    force: Triple  # on the quad, N
    torque: Triple  # about O, N m
    elastic: float  # energy stored in the beds now, J
    lost: float  # energy dissipated in this step, J
    depth: float  # greatest depth over its limit
    contacts: float  # points that touch
    pack: Triple  # force on the battery, N
    steepest: float  # squared rate of the stiffest contacts, 1/s²


@physics
def _steps_off(gap: float, pace: float) -> int:
    """Steps that a gap certainly takes to close in every lane, at most a thousand."""
    steps = lowest(gap * pace)
    return int(steps) if steps < 1000.0 else 1000


@physics
def _let_go(craft: Craft, room: Room, cell: int) -> None:
    """Forget the areas of a cell that nothing touches any more."""
    if room.soiled[cell]:
        for i in range(craft.cell_start[cell], craft.cell_start[cell + 1]):
            room.weight[i, 0] = 0.0
        room.soiled[cell] = 0


@physics
def _grow(room: Room, limb: int, q: Triple, h: Triple) -> None:
    """Add to the forces on a limb's mass and to what its root bears besides."""
    for j in range(3):
        room.push[limb, j] = room.push[limb, j] + (q[0] if j == 0 else (q[1] if j == 1 else q[2]))
        room.lever[limb, j] = room.lever[limb, j] + (h[0] if j == 0 else (h[1] if j == 1 else h[2]))


@physics
def press_parts(  # noqa: C901 - one pass over the parts; taking it apart would hide the physics
    craft: Craft, beds: Beds, law: int, kind: int, surface: int, b: int, task: Task, room: Room, shape: Shape,
    drift: Triple, lightness: float, R: Nine, x: Triple, V: Triple, w: Triple, dt: float, step: int,
    pace: float, hurry: float,
) -> Pressed:  # fmt: skip
    """Sum the contact forces of one step.

    A part, or a clump of its points, that is clear of the obstacle is left alone for as many steps as it must
    at least take to come near. A point takes the share of its area that faces the obstacle when it first
    touches, and keeps it while it touches (so that its spring has an energy).

    Args:
        craft: the quad.
        beds: contact beds.
        law: law of contact.
        kind: shape of the obstacle.
        surface: row of ``beds``.
        b: block of ``task``.
        task: ``peak``, ``impulse`` and ``touched`` are raised here.
        room: ``push``, ``lever``, ``wring``, ``stiff`` and ``touching`` are set here.
        shape: the obstacle in the body frame.
        drift: velocity of the obstacle, body frame, m/s.
        lightness: one over the obstacle's moving mass, 1/kg.
        R: attitude.
        x: place of O, world frame, m.
        V: its velocity, m/s.
        w: body rate, rad/s.
        dt: time step, s.
        step: its number.
        pace: one over the distance that no point of the core can exceed in a step, 1/m.
        hurry: one over the closing speed at first contact, s/m.
    """
    arms, limbs = len(craft.rotor), len(craft.tip_mass)
    v = into_body(R, V)
    zero = 0.0 * w[0]
    none = (zero, zero, zero)
    force, torque, pack = none, none, none
    elastic, lost, depth_used, contacts, steepest = zero, zero, zero, zero, zero
    for limb in range(limbs):
        for j in range(3):
            room.push[limb, j], room.lever[limb, j] = 0.0, 0.0
    for a in range(arms):
        room.wring[a, 0] = 0.0
    for part in range(len(craft.radius)):
        if step < room.wake[part]:
            continue
        limb = craft.limb[part]
        body, twists = limb if limb >= 0 else limbs, 0 <= limb < arms
        d, d_rate, slack = none, none, zero
        theta = theta_rate = zero
        if limb >= 0:
            _, d, d_rate = limb_motion(craft, room, limb, R, x, V, w)
            slack = sqrt(dot(d, d))
        if twists:
            theta, theta_rate = room.angle[limb, 0], room.turning[limb, 0] - dot(row(craft.axis, limb), w)
            slack += craft.reach[part] * size(theta)
        quick = pace * craft.ease[part]
        gap, _ = gap_normal(kind, shape, row(craft.centre, part))
        away = _steps_off(gap - (slack + craft.radius[part]), quick)
        if away > 0:
            room.wake[part] = step + 1 + away
            for cell in range(craft.cells[part], craft.cells[part + 1]):
                _let_go(craft, room, cell)
            continue
        k, p_y = beds.stiffness[surface, part], beds.crush[surface, part]
        d_y, mu = beds.depth[surface, part], beds.friction[surface, part]
        alpha = beds.damping[surface, part] * hurry
        limit = 10.0 if beds.in_ground[surface, part] else craft.shallow[part]
        prop = craft.prop[part]
        spin, whole, rubbed = zero, zero + 1.0, zero
        hub = (0.0, 0.0, 0.0)
        if prop >= 0:
            spin, whole, hub = room.spin[prop, 0], room.blade[prop, 0], row(craft.tip, prop)
        total, spring, stiff, count, drag, wring = zero, zero, zero, zero, zero, zero
        f, t, q, h = none, none, none, none
        soonest = step + 1000
        for cell in range(craft.cells[part], craft.cells[part + 1]):
            if step < room.stir[cell]:
                soonest = min(soonest, room.stir[cell])
                continue
            gap, _ = gap_normal(kind, shape, row(craft.cell_centre, cell))
            away = _steps_off(gap - (slack + craft.cell_radius[cell]), quick)
            if away > 0:
                room.stir[cell] = step + 1 + away
                _let_go(craft, room, cell)
                soonest = min(soonest, step + 1 + away)
                continue
            nearest = zero + TOO_FAR
            soiled = False
            for i in range(craft.cell_start[cell], craft.cell_start[cell + 1]):
                phi, g = craft.shape[i], row(craft.screw, i)
                r = along(row(craft.position, i), phi, d)
                if twists:
                    r = along(r, theta, g)
                gap, _ = gap_normal(kind, shape, r)
                inside = (gap < 0.0) & (whole > 0.0)
                nearest = least(gap, nearest)
                if not some(inside):
                    if room.soiled[cell]:
                        room.weight[i, 0] = 0.0
                    continue
                gap, n = gap_normal(kind, shape, r)
                held = room.weight[i, 0]
                fresh = held == 0.0
                facing = craft.blunt[i] - dot(row(craft.normal, i), n)
                area = where(inside, where(fresh, most(facing, 0.0) * craft.area[i], held), 0.0)
                presses = area > 0.0
                room.weight[i, 0] = area
                if not some(presses):
                    continue
                soiled = True
                s = along(less(plus(v, cross(w, r)), drift), phi, d_rate)
                mobility = craft.mobility[i] + lightness
                if twists:
                    s = along(s, theta_rate, g)
                    across = dot(g, n)
                    mobility += across * across / craft.twist_inertia[limb]
                rate = -dot(s, n)
                slide = along(s, rate, n)
                if prop >= 0:
                    # A spinning disc rubs all around; it does not come nearer by turning.
                    turn = (-spin * (r[1] - hub[1]), spin * (r[0] - hub[0]), zero)
                    slide = along(plus(slide, turn), -dot(turn, n), n)
                depth = -gap
                # Turned to face the obstacle while already inside: what it displaced is displaced, nothing
                # springs.
                before = room.stored[i, 0]
                late = fresh & (depth > 2.0 * dt * size(rate))
                before = where(late, most(before, depth), before)
                p, d_e, d_p, undamped, energy, slope = press(law, k, p_y, d_y, alpha, depth, rate, before)
                room.stored[i, 0] = where(presses, d_p, room.stored[i, 0])
                count += where(presses, 1.0, 0.0)
                depth_used = most(depth_used, where(presses, depth * limit, 0.0))
                normal = area * p
                square = dot(slide, slide) + 1e-24
                speed = sqrt(square)
                rub = friction(mu, normal, speed, craft.grip[i] * room.touching[body, 0])
                rub = where(normal > 0.0, rub, 0.0)
                F = along((normal * n[0], normal * n[1], normal * n[2]), -rub, slide)
                spring += area * energy
                lost += area * (p_y * (d_p - before) + (p - undamped) * rate * dt)
                lost += rub * square * dt
                total += normal
                drag += normal * speed
                f = plus(f, F)
                t = plus(t, cross(r, F))
                stiff += where(d_e > 0.0, area * slope * mobility, 0.0)
                if prop >= 0:
                    rubbed -= rub * ((r[0] - hub[0]) * slide[1] - (r[1] - hub[1]) * slide[0])
                if limb >= 0:
                    q, h = along(q, phi, F), along(h, craft.rest[i], F)
                if twists:
                    wring += dot(g, F)
            room.soiled[cell] = 1 if soiled else 0
            away = _steps_off(nearest, quick)
            room.stir[cell] = step + 1 + max(away, 0)
            soonest = min(soonest, room.stir[cell])
        room.wake[part] = soonest
        if not some(count > 0.0):
            continue
        time = where(count > 0.0, step * dt, NEVER)
        task.touched[b, part] = least(task.touched[b, part], time)
        task.peak[b, part] = most(task.peak[b, part], total)
        task.impulse[b, part] = task.impulse[b, part] + total * dt
        contacts += count
        room.counted[body, 0] = room.counted[body, 0] + count
        room.stiff[body, 0] = room.stiff[body, 0] + stiff
        if prop >= 0:
            # The motor turns freely: friction about its axis slows the prop and does not turn the quad.
            t = t[0], t[1], t[2] - rubbed
            room.spin[prop, 0] = spin + dt * rubbed / craft.rotor[prop]
            snaps = total > task.strength[b, arms + prop]
            if some(snaps):
                task.broken[b, arms + prop] = where(snaps, step * dt, task.broken[b, arms + prop])
                room.blade[prop, 0] = where(snaps, 0.0, whole)
                lost += where(snaps, spring, 0.0)
                spring = where(snaps, 0.0, spring)
        elastic += spring
        force, torque = plus(force, f), plus(torque, t)
        if part == craft.pack_part:
            pack = plus(pack, f)
        if limb >= 0:
            e0 = craft.side[limb, 0, 0], craft.side[limb, 0, 1], craft.side[limb, 0, 2]
            e1 = craft.side[limb, 1, 0], craft.side[limb, 1, 1], craft.side[limb, 1, 2]
            _grow(room, limb, q, (dot(h, e0), dot(h, e1), dot(less(f, q), row(craft.axis, limb))))
            dragged = where(total > craft.snag_force, dt * drag / most(total, 1e-12), 0.0)
            room.dragged[limb, 0] = room.dragged[limb, 0] + dragged
        if twists:
            room.wring[limb, 0] = room.wring[limb, 0] + wring
    for body in range(limbs + 1):
        counted = room.counted[body, 0]
        room.touching[body, 0] = 0.5 / dt + zero
        if some(counted > 0.0):
            room.touching[body, 0] = 0.5 / (dt * most(counted, 1.0))
            steepest = most(steepest, room.stiff[body, 0])
        room.counted[body, 0], room.stiff[body, 0] = 0.0, 0.0
    return Pressed(force, torque, elastic, lost, depth_used, contacts, pack, steepest)
