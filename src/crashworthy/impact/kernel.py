"""The crash itself: semi-implicit Euler over the core, its limbs and its boards, against one obstacle.

Each step brings the obstacle into the body frame (so a point costs a few operations), sums the contacts
(``press_parts``), steps the limbs and the core (``dynamics``). Positions and velocities are kept in the world
frame, so momentum does not drift with the turning body. Gravity is left out: over the 30 ms of a crash it
changes the speed by 0.3 m/s.

One text serves one crash at a time and several side by side (``lanes``): ``crash_numbers`` runs it with plain
numbers, ``crash_vectors`` (in ``vectors``) with one crash in each lane of a vector. The crashes of a block
share the shape and surface of their obstacle and nothing else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.impact.contact import UNTOUCHED
from crashworthy.impact.craft import AUDIT_LIMIT, FLAG_ENERGY, FLAG_PENETRATION, FLAG_STEP, STEP_LIMIT
from crashworthy.impact.dynamics import (
    averages,
    beat_of,
    flex,
    gather,
    limb_motion,
    pull_strap,
    shake_boards,
    twist_arms,
)
from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import highest, least, most, no, size, some, sqrt, where
from crashworthy.impact.ledger import energy, limbs_momentum, never_again
from crashworthy.impact.obstacle import BOX, PLANE, Shape
from crashworthy.impact.press_parts import NEVER, press_parts
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
    rotation,
    row,
    turn,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Beds, Craft, Room, Task

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["LOOK", "crash_block", "crash_numbers"]

LOOK = 50
"""Steps between two looks at whether anything can touch again."""


@physics
def _hang(craft: Craft, room: Room, task: Task, b: int) -> None:
    """Put the limbs in their places: they ride along with the core, arms as they are given."""
    state, arms, limbs = task.state, len(craft.rotor), len(craft.tip_mass)
    R = rotation((state[b, 6], state[b, 7], state[b, 8], state[b, 9]))
    w = state[b, 10], state[b, 11], state[b, 12]
    for limb in range(limbs):
        r, rate = along(row(craft.tip, limb), 0.0, w), along(w, -1.0, w)
        if limb < arms:
            for j in range(2):
                e = craft.side[limb, j, 0], craft.side[limb, j, 1], craft.side[limb, j, 2]
                r = along(r, state[b, 13 + 4 * limb + j], e)
                rate = along(rate, state[b, 15 + 4 * limb + j], e)
            room.angle[limb, 0] = 0.0
            room.turning[limb, 0] = dot(row(craft.axis, limb), w) + state[b, 13 + 4 * arms + limb]
            room.wring[limb, 0], room.wrung[limb, 0] = 0.0, 0.0
            room.whole[limb, 0], room.blade[limb, 0], room.spin[limb, 0] = 1.0, 1.0, craft.spin[limb]
            for j in range(2):
                room.slid[limb, j] = 0.0
                task.broken[b, 2 * limb + j] = NEVER
        place, going = into_world(R, r), into_world(R, plus(rate, cross(w, r)))
        for j in range(3):
            one, two = (
                (place[0], going[0]) if j == 0 else ((place[1], going[1]) if j == 1 else (place[2], going[2]))
            )
            room.at[limb, j], room.go[limb, j] = state[b, j] + one, state[b, 3 + j] + two
            room.push[limb, j], room.lever[limb, j] = 0.0, 0.0
        for j in range(4):
            room.root[limb, j] = 0.0
        room.dragged[limb, 0], room.pushed[limb] = 0.0, 0


@physics
def _clear(craft: Craft, room: Room, task: Task, b: int, dt: float) -> None:
    """Make memory and results of a block ready."""
    _hang(craft, room, task, b)
    for i in range(5):
        for j in range(3):
            room.z[i, j], room.dz[i, j] = 0.0, 0.0
    for i in range(len(craft.area)):
        room.deepest[i, 0], room.weight[i, 0], room.rouse[i] = UNTOUCHED, 0.0, 0
        room.spread[i, 0] = 0.0
    for p in range(len(craft.radius)):
        room.wake[p] = 0
        task.peak[b, p], task.impulse[b, p], task.touched[b, p] = 0.0, 0.0, NEVER
    for i in range(len(craft.cell_radius)):
        room.stir[i] = 0
    for body in range(len(craft.tip_mass) + 1):
        room.touching[body, 0], room.counted[body, 0], room.stiff[body, 0] = 0.5 / dt, 0.0, 0.0
        room.busy[body] = 0
    for i in range(3):
        for j in range(3):
            room.felt[i, j] = 0.0


@physics
def _shape(kind: int, row: Floats, b: int, R: Nine, x: Triple, swing: Triple) -> Shape:
    """The obstacle in the body frame, ``swing`` away from its place in the world."""
    at = plus((row[b, 0], row[b, 1], row[b, 2]), swing)
    point = into_body(R, less(at, x))
    axis = into_body(R, (row[b, 3], row[b, 4], row[b, 5]))
    across = axis
    if kind >= BOX:
        across = into_body(R, (row[b, 7], row[b, 8], row[b, 9]))
    third = across if kind < BOX else cross(axis, across)
    return Shape(point, axis, across, third, row[b, 6], row[b, 10], row[b, 11])


@physics
def _free_way(kind: int, row: Floats, b: int, f: Triple) -> Triple:
    """The part of a force that moves an obstacle which gives: across a bar, along the normal of a plane."""
    n = (row[b, 3], row[b, 4], row[b, 5])
    h = dot(f, n)
    normal = (h * n[0], h * n[1], h * n[2])
    return normal if kind == PLANE else less(f, normal)


@physics
def crash_block(
    craft: Craft, beds: Beds, law: int, kind: int, surface: int, b: int, task: Task, room: Room, dt: float,
    steps: int, settle: float, every: int,
) -> None:  # fmt: skip
    """Run the crashes of one block; no crash sees another.

    Args:
        craft: the quad.
        beds: contact beds.
        law: ``contact.BED`` or ``contact.HERTZ``.
        kind: shape of the obstacles.
        surface: row of ``beds``.
        b: block of ``task``.
        task: initial conditions and results.
        room: memory.
        dt: time step, s.
        steps: most steps.
        settle: time without contact after which a crash may end early, s.
        every: keep a frame of ``task.trace`` each so many steps; 0 keeps none.
    """
    state, given, result = task.state, task.row, task.result
    _clear(craft, room, task, b, dt)
    x = state[b, 0], state[b, 1], state[b, 2]
    V = state[b, 3], state[b, 4], state[b, 5]
    q = state[b, 6], state[b, 7], state[b, 8], state[b, 9]
    w = state[b, 10], state[b, 11], state[b, 12]
    zero = 0.0 * given[b, 6]
    swing, sway = (zero, zero, zero), (zero, zero, zero)
    lightness, k_o, c_o = given[b, 12], given[b, 13], given[b, 14]
    start_energy = energy(craft, room, rotation(q), x, V, w)
    hurry = 1.0 / task.speed[b, 0]
    shock = velocity = core_peak = steepest = lost = deepest = strap = travel = zero
    board = (zero, zero, zero)
    quiet, ended = zero, zero < 0.0
    last, step = zero, 0
    ways, beat = (0, 0, 0), beat_of(craft, dt)
    while True:
        R = rotation(q)
        shape = _shape(kind, given, b, R, x, swing)
        now = press_parts(
            craft, beds, law, kind, surface, b, task, room, shape, into_body(R, sway), lightness, R, x, V, w,
            dt, step * dt, ways, hurry,
        )  # fmt: skip
        lost += now.lost
        deepest = most(deepest, now.depth)
        steepest = most(steepest, now.steepest)
        touches = now.contacts > 0.0
        quiet = where(touches, 0.0, quiet + dt)
        last = where(touches, step * dt, last)
        if every > 0 and step % every == 0:
            _keep(task.trace, b, step // every, step * dt, x, q, craft, room, R, V, w)
        if step == steps or step % LOOK == 0:
            over = quiet > settle
            if step < steps and some(over & no(ended)):
                sway2, swing2 = dot(sway, sway), dot(swing, swing)
                reach = where(
                    k_o > 0.0, sqrt((sway2 + k_o * lightness * swing2) / most(k_o * lightness, 1e-9)), 0.0
                )
                left = (steps - step) * dt
                over = over & never_again(craft, room, kind, shape, R, x, V, w, reach, left)
            if step == steps:
                over = zero <= 0.0
            over = over & no(ended)
            if some(over):
                ended = ended | over
                end_energy = energy(craft, room, R, x, V, w) + now.elastic
                moving = where(lightness > 0.0, 0.5 * dot(sway, sway) / most(lightness, 1e-9), 0.0)
                end_energy += moving + 0.5 * k_o * dot(swing, swing)
                stability = 0.5 * dt * sqrt(steepest)
                audit = (end_energy + lost - start_energy) / start_energy
                flags = where(stability > STEP_LIMIT, float(FLAG_STEP), 0.0)
                flags = flags + where(deepest > 1.0, float(FLAG_PENETRATION), 0.0)
                flags = flags + where(size(audit) <= AUDIT_LIMIT, 0.0, float(FLAG_ENERGY))
                task.flags[b, 0] = where(over, flags, task.flags[b, 0])
                _close(craft, room, task, b, over)
                m = along(limbs_momentum(craft, room, zero), craft.core_mass, V)
                _write(result, b, over, 0, (start_energy, end_energy, lost))
                _write(result, b, over, 3, (audit, stability, deepest))
                _write(result, b, over, 6, (sqrt(shock), sqrt(velocity), zero + step * dt))
                _write(result, b, over, 9, (last, sqrt(core_peak), sqrt(strap)))
                _write(result, b, over, 12, (sqrt(travel), sqrt(board[0]), sqrt(board[1])))
                _write(result, b, over, 15, (sqrt(board[2]), V[0], V[1]))
                _write(result, b, over, 18, (V[2], w[0], w[1]))
                _write(result, b, over, 21, (w[2], m[0], m[1]))
                result[b, 24] = where(over, m[2], result[b, 24])
            if not some(no(ended)):
                break
        a_O, A, given_off, fast = flex(
            craft, room, task, b, R, x, V, w, now.force, now.torque, dt, step * dt
        )  # fmt: skip
        lost += given_off
        core_peak = most(core_peak, dot(a_O, a_O))
        gather(room, a_O, A, now.pack)
        if (step + 1) % beat == 0:
            mean_a, mean_A, mean_F = averages(room, beat)
            felt, moved, boards = shake_boards(craft, room, (mean_a, mean_A), w, beat * dt)
            shock, velocity = most(shock, felt), most(velocity, moved)
            board = most(board[0], boards[0]), most(board[1], boards[1]), most(board[2], boards[2])
            if craft.pack_part >= 0:
                strap = most(strap, pull_strap(craft, room, (mean_a, mean_A), w, mean_F, beat * dt))
        if some(lightness > 0.0):
            F = _free_way(kind, given, b, into_world(R, now.force))
            lost += c_o * dot(sway, sway) * dt
            sway = along(
                along(along(sway, -dt * lightness, F), -dt * lightness * k_o, swing),
                -dt * lightness * c_o,
                sway,
            )
            swing = along(swing, dt, sway)
            travel = most(travel, dot(swing, swing))
        w = along(w, dt, A)
        V = along(V, dt, into_world(R, a_O))
        x = along(x, dt, V)
        q = turn(q, w, dt)
        spin = sqrt(dot(w, w))
        whirl = twist_arms(craft, room, w, spin, dt)
        drift = sqrt(dot(sway, sway)) if some(lightness > 0.0) else zero
        ways = _go_far(craft, ways, dot(V, V), spin * craft.span + drift, whirl, fast, dt)
        step += 1


@physics
def _go_far(
    craft: Craft, ways: tuple[int, int, int], square: float, turning: float, whirl: float,
    fast: tuple[float, float], dt: float,
) -> tuple[int, int, int]:  # fmt: skip
    """Longest ways, nm, by which any point of the core, an arm or another limb may have come nearer so far.

    A point moves with phi U + (1 - phi) v + w x (r - phi r_t) + theta' g + theta w x g, so no faster than the
    faster one of core and limb, the turning over the greatest distance, and the twist together.
    """
    n = 1e9 * dt
    core = sqrt(square) + turning
    arm = sqrt(most(square, fast[0])) + turning + whirl * craft.whirl
    tip = 0
    if len(craft.tip_mass) > len(craft.rotor):
        tip = int(n * highest(least(sqrt(most(square, fast[1])) + turning, 1e4)))
    return (
        ways[0] + int(n * highest(least(core, 1e4))) + 1,
        ways[1] + int(n * highest(least(arm, 1e4))) + 1,
        ways[2] + tip + 1,
    )


@physics
def _close(craft: Craft, room: Room, task: Task, b: int, over: bool) -> None:
    """What the limbs of the crashes that end now have borne."""
    for limb in range(len(craft.tip_mass)):
        for j in range(4):
            peak = room.root[limb, j] if j < 2 else sqrt(room.root[limb, j])
            task.root[b, 4 * limb + j] = where(over, peak, task.root[b, 4 * limb + j])
    for a in range(len(craft.rotor)):
        task.twist[b, a] = where(over, room.wrung[a, 0], task.twist[b, a])
        for j in range(2):
            task.shear[b, 2 * a + j] = where(over, sqrt(room.slid[a, j]), task.shear[b, 2 * a + j])


@physics
def _write(result: Floats, b: int, over: bool, at: int, values: Triple) -> None:
    """Three scalars of the crashes that end now."""
    result[b, at] = where(over, values[0], result[b, at])
    result[b, at + 1] = where(over, values[1], result[b, at + 1])
    result[b, at + 2] = where(over, values[2], result[b, at + 2])


@physics
def _keep(
    trace: Floats, b: int, frame: int, time: float, x: Triple, q: tuple[float, float, float, float],
    craft: Craft, room: Room, R: Nine, V: Triple, w: Triple,
) -> None:  # fmt: skip
    """Write one frame of the trace."""
    trace[b, frame, 0] = time
    trace[b, frame, 1], trace[b, frame, 2], trace[b, frame, 3] = x[0], x[1], x[2]
    trace[b, frame, 4], trace[b, frame, 5], trace[b, frame, 6], trace[b, frame, 7] = q[0], q[1], q[2], q[3]
    limbs = len(craft.tip_mass)
    for limb in range(limbs):
        _, d, _ = limb_motion(craft, room, limb, R, x, V, w)
        for j in range(2):
            e = craft.side[limb, j, 0], craft.side[limb, j, 1], craft.side[limb, j, 2]
            trace[b, frame, 8 + 3 * limb + j] = dot(d, e)
        trace[b, frame, 10 + 3 * limb] = dot(d, row(craft.axis, limb))
    for a in range(len(craft.rotor)):
        trace[b, frame, 8 + 3 * limbs + a] = room.angle[a, 0]


@physics
def crash_numbers(
    craft: Craft, beds: Beds, law: int, kinds: Ints, surfaces: Ints, task: Task, room: Room, dt: float,
    steps: int, settle: float, every: int,
) -> None:  # fmt: skip
    """Run crashes one after the other, with plain numbers: the reference.

    Args:
        craft: the quad.
        beds: contact beds.
        law: ``contact.BED`` or ``contact.HERTZ``.
        kinds: (n,) shape of each obstacle.
        surfaces: (n,) row of ``beds``.
        task: initial conditions and results, one crash in each block.
        room: memory.
        dt: time step, s.
        steps: most steps.
        settle: time without contact after which a crash may end early, s.
        every: keep a frame each so many steps; 0 keeps none.
    """
    for b in range(len(kinds)):
        crash_block(craft, beds, law, kinds[b], surfaces[b], b, task, room, dt, steps, settle, every)
