"""Contact of all parts with the obstacle in one step: broad phase, depth, law, friction, bookkeeping."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from crashworthy.impact.contact import friction, press
from crashworthy.impact.dynamics import limb_motion
from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import least, lowest, most, size, some, sqrt, where
from crashworthy.impact.obstacle import PLANE, Shape, gap_normal
from crashworthy.impact.rigid import Nine, Triple, along, cross, dot, into_body, less, plus, row

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Beds, Craft, Room, Task

    Floats = NDArray[np.float64]

__all__ = ["NEVER", "Pressed", "half_width", "press_parts"]

TOO_FAR: Final = 1 << 60
"""A way that nothing goes, nm."""

TOUCHES: Final = -1
"""In place of a way: touched something when last looked at."""

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
def _clearance(gap: float) -> int:
    """Smallest gap among the lanes, nm; not above zero when any of them may touch."""
    return int(1e9 * lowest(gap))


@physics
def half_width(craft: Craft, i: int, n: Triple) -> float:
    """Half of what the depths of a patch's slices differ by against a surface of normal ``n`` (body), m."""
    x, y, z = n
    c = craft.spread
    straight = c[i, 0] * x * x + c[i, 1] * y * y + c[i, 2] * z * z
    return sqrt(most(straight + 2.0 * (c[i, 3] * x * y + c[i, 4] * x * z + c[i, 5] * y * z), 0.0))


@physics
def _grow(room: Room, limb: int, q: Triple, h: Triple) -> None:
    """Add to the forces on a limb's mass and to what its root bears besides."""
    for j in range(3):
        room.push[limb, j] = room.push[limb, j] + (q[0] if j == 0 else (q[1] if j == 1 else q[2]))
        room.lever[limb, j] = room.lever[limb, j] + (h[0] if j == 0 else (h[1] if j == 1 else h[2]))
    room.pushed[limb] = 1


@physics
def press_parts(  # noqa: C901 - one pass over the parts; taking it apart would hide the physics
    craft: Craft, beds: Beds, law: int, kind: int, surface: int, b: int, task: Task, room: Room, shape: Shape,
    drift: Triple, lightness: float, R: Nine, x: Triple, V: Triple, w: Triple, dt: float, time: float,
    ways: tuple[int, int, int], hurry: float,
) -> Pressed:  # fmt: skip
    """Sum the contact forces of one step.

    A part, a clump of its points or a point that is clear of the obstacle is left alone until anything on its
    carrier may have gone as far as its gap was; what touches is looked at in every step. A point takes the
    share of its area that faces the obstacle when it first touches, and keeps it while it touches (so that
    its spring has an energy).

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
        time: now, s.
        ways: longest ways that any point of the core, of an arm, of another limb may have gone so far, nm.
        hurry: one over the closing speed at first contact, s/m.
    """
    arms, limbs = len(craft.rotor), len(craft.tip_mass)
    v = less(into_body(R, V), drift)
    zero = 0.0 * w[0]
    none = (zero, zero, zero)
    force, torque, pack = none, none, none
    elastic, lost, depth_used, contacts, steepest = zero, zero, zero, zero, zero
    for part in range(len(craft.radius)):
        limb = craft.limb[part]
        way = ways[0] if limb < 0 else (ways[1] if limb < arms else ways[2])
        if way < room.wake[part]:
            continue
        body, twists = limb if limb >= 0 else limbs, 0 <= limb < arms
        d, d_rate, slack = none, none, zero
        theta = theta_rate = zero
        if limb >= 0:
            _, d, d_rate = limb_motion(craft, room, limb, R, x, V, w)
            slack = size(d[0]) + size(d[1]) + size(d[2])
        if twists:
            theta, theta_rate = room.angle[limb, 0], room.turning[limb, 0] - dot(row(craft.axis, limb), w)
            slack += craft.reach[part] * size(theta)
        if room.wake[part] != TOUCHES:
            gap, _ = gap_normal(kind, shape, row(craft.centre, part))
            away = _clearance(gap - (slack + craft.radius[part]))
            if away > 0:
                room.wake[part] = way + away
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
        whole_share = craft.rides[part] == 1
        total, spring, stiff, count, drag, wring, deepest = zero, zero, zero, zero, zero, zero, zero
        f, t, q, h = none, none, none, none
        soonest = way + TOO_FAR
        for cell in range(craft.cells[part], craft.cells[part + 1]):
            if way < room.stir[cell]:
                soonest = min(soonest, room.stir[cell])
                continue
            if room.stir[cell] != TOUCHES:
                gap, _ = gap_normal(kind, shape, row(craft.cell_centre, cell))
                away = _clearance(gap - (slack + craft.cell_radius[cell]))
                if away > 0:
                    room.stir[cell] = way + away
                    soonest = min(soonest, way + away)
                    continue
            next_look = way + TOO_FAR
            for i in range(craft.cell_start[cell], craft.cell_start[cell + 1]):
                if way < room.rouse[i]:
                    next_look = min(next_look, room.rouse[i])
                    continue
                phi, g, bulge = craft.shape[i], row(craft.screw, i), craft.bulge[i]
                r = along(row(craft.position, i), phi, d)
                if twists:
                    r = along(r, theta, g)
                gap, n = gap_normal(kind, shape, r)
                area, spread = room.weight[i, 0], room.spread[i, 0]
                inside = (gap < bulge) & (whole > 0.0)
                clear = gap - bulge
                if bulge > 0.0 and some(inside):
                    if some(inside & (area == 0.0)):
                        spread = where(area > 0.0, spread, half_width(craft, i, n))
                    inside = inside & (gap < spread)
                    if kind == PLANE and not some(inside):
                        # On a plane the nearest slice stays the nearest place of an ellipsoid of skin.
                        clear = gap - most(spread, half_width(craft, i, n))
                if not some(inside):
                    room.weight[i, 0] = 0.0
                    room.rouse[i] = way + _clearance(clear)
                    next_look = min(next_look, room.rouse[i])
                    continue
                next_look = TOUCHES
                area = where(inside, area, 0.0)
                fresh = inside & (area == 0.0)
                new = some(fresh)
                if new:
                    facing = craft.blunt[i] - dot(row(craft.normal, i), n)
                    area = where(fresh, most(facing, 0.0) * craft.area[i], area)
                    room.spread[i, 0] = spread
                    room.braked[i, 0] = where(fresh, 0.0, room.braked[i, 0])
                    room.braked[i, 1] = where(fresh, 0.0, room.braked[i, 1])
                presses = area > 0.0
                room.weight[i, 0] = area
                if not some(presses):
                    continue
                s = along(plus(v, cross(w, r)), phi, d_rate)
                mobility = craft.mobility[i] + lightness
                if twists:
                    s = along(s, theta_rate, g)
                    across = dot(g, n)
                    mobility += across * across * craft.twist_lightness[limb]
                rate = -dot(s, n)
                depth, before = -gap, room.deepest[i, 0]
                if new:
                    # Turned to face the obstacle while already inside: what it displaced is displaced,
                    # nothing springs.
                    late = fresh & (depth + spread > 2.0 * dt * size(rate))
                    before = where(late, most(before, depth + d_y), before)
                p, share, after, undamped, energy, slope, crushed = press(
                    law, k, p_y, d_y, alpha, depth, rate, spread, before, bulge > 0.0
                )
                room.deepest[i, 0] = where(presses, after, room.deepest[i, 0])
                count += where(presses, 1.0, 0.0)
                deepest = most(deepest, where(presses, depth, 0.0))
                normal = area * p
                F = (normal * n[0], normal * n[1], normal * n[2])
                # What brakes does its work at the mean of the speeds before and after a step.
                damped = area * (p - undamped)
                brakes = (damped + room.braked[i, 0]) * rate
                room.braked[i, 0] = damped
                if mu > 0.0:
                    slide = along(s, rate, n)
                    if prop >= 0:
                        # A spinning disc rubs all around; it does not come nearer by turning.
                        turn = (-spin * (r[1] - hub[1]), spin * (r[0] - hub[0]), zero)
                        slide = along(plus(slide, turn), -dot(turn, n), n)
                    speed = sqrt(dot(slide, slide) + 1e-24)
                    rub = friction(mu, normal, speed, craft.grip[i] * room.touching[body, 0])
                    F = along(F, -rub, slide)
                    brakes += (rub * speed + room.braked[i, 1]) * speed
                    room.braked[i, 1] = rub * speed
                    drag += normal * speed
                    if prop >= 0:
                        rubbed -= rub * ((r[0] - hub[0]) * slide[1] - (r[1] - hub[1]) * slide[0])
                lost += area * crushed + where(presses, 0.5 * dt * brakes, 0.0)
                spring += area * energy
                total += normal
                f = plus(f, F)
                t = plus(t, cross(r, F))
                stiff += where(share > 0.0, area * slope * mobility, 0.0)
                if not whole_share:
                    q, h = along(q, phi, F), along(h, craft.rest[i], F)
                if twists:
                    wring += dot(g, F)
            room.stir[cell] = next_look
            soonest = min(soonest, next_look)
        room.wake[part] = soonest
        if not some(count > 0.0):
            continue
        task.touched[b, part] = least(task.touched[b, part], where(count > 0.0, time, NEVER))
        task.peak[b, part] = most(task.peak[b, part], total)
        task.impulse[b, part] = task.impulse[b, part] + total * dt
        depth_used = most(depth_used, deepest * limit)
        contacts += count
        room.busy[body] = 2
        room.counted[body, 0] = room.counted[body, 0] + count
        room.stiff[body, 0] = room.stiff[body, 0] + stiff
        if prop >= 0:
            # The motor turns freely: friction about its axis slows the prop and does not turn the quad.
            t = t[0], t[1], t[2] - rubbed
            room.spin[prop, 0] = spin + dt * rubbed * craft.rotor_lightness[prop]
            snaps = total > task.strength[b, arms + prop]
            if some(snaps):
                task.broken[b, arms + prop] = where(snaps, time, task.broken[b, arms + prop])
                room.blade[prop, 0] = where(snaps, 0.0, whole)
                lost += where(snaps, spring, 0.0)
                spring = where(snaps, 0.0, spring)
        elastic += spring
        force, torque = plus(force, f), plus(torque, t)
        if part == craft.pack_part:
            pack = plus(pack, f)
        if whole_share:
            q = f
        if twists:
            e0 = craft.side[limb, 0, 0], craft.side[limb, 0, 1], craft.side[limb, 0, 2]
            e1 = craft.side[limb, 1, 0], craft.side[limb, 1, 1], craft.side[limb, 1, 2]
            _grow(room, limb, q, (dot(h, e0), dot(h, e1), dot(less(f, q), row(craft.axis, limb))))
            room.wring[limb, 0] = room.wring[limb, 0] + wring
        elif limb >= 0:
            e2 = row(craft.axis, limb)
            _grow(room, limb, q, along(h, dot(less(less(f, q), h), e2), e2))
            dragged = where(total > craft.snag_force, dt * drag / most(total, 1e-12), 0.0)
            room.dragged[limb, 0] = room.dragged[limb, 0] + dragged
    for body in range(limbs + 1):
        if room.busy[body] == 2:
            room.touching[body, 0] = 0.5 / (dt * most(room.counted[body, 0], 1.0))
            steepest = most(steepest, room.stiff[body, 0])
            room.counted[body, 0], room.stiff[body, 0] = 0.0, 0.0
            room.busy[body] = 1
        elif room.busy[body] == 1:
            room.touching[body, 0] = 0.5 / dt + zero
            room.busy[body] = 0
    return Pressed(force, torque, elastic, lost, depth_used, contacts, pack, steepest)
