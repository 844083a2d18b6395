"""The crash itself: semi-implicit Euler over the core, its arms and its boards, against one obstacle.

Each step brings the obstacle into the body frame (so a point costs a few operations), sums the contacts
(``press_parts``), solves the equations of motion (``dynamics``) and steps. Position and velocity of the core
are kept in the world frame, so momentum does not drift with the turning body. Gravity is left out: over the
30 ms of a crash it changes the speed by 0.3 m/s.

One text serves one crash at a time and several side by side (``lanes``): ``crash_numbers`` runs it with plain
numbers, ``crash_vectors`` (in ``vectors``) with one crash in each lane of a vector. The crashes of a block
share the shape and surface of their obstacle and nothing else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.impact.craft import AUDIT_LIMIT, FLAG_ENERGY, FLAG_PENETRATION, FLAG_STEP, STEP_LIMIT
from crashworthy.impact.dynamics import accelerations, bend_arms, pull_strap, shake_boards
from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import most, no, size, some, sqrt, where
from crashworthy.impact.ledger import energy, never_again, tips_momentum
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
def _clear(craft: Craft, room: Room, task: Task, b: int, dt: float) -> None:
    """Make memory and results of a block ready."""
    state, arms = task.state, len(craft.tip_mass)
    for a in range(arms):
        for j in range(2):
            room.u[a, j], room.du[a, j] = state[b, 13 + 4 * a + j], state[b, 15 + 4 * a + j]
            room.slid[a, j] = 0.0
            task.broken[b, 2 * a + j] = NEVER
        for j in range(3):
            room.bent[a, j] = 0.0
        room.whole[a, 0], room.blade[a, 0], room.spin[a, 0] = 1.0, 1.0, craft.spin[a]
    for i in range(5):
        for j in range(3):
            room.z[i, j], room.dz[i, j] = 0.0, 0.0
    for i in range(len(craft.area)):
        room.stored[i, 0], room.weight[i, 0] = 0.0, 0.0
    for p in range(len(craft.radius)):
        room.wake[p] = 0
        task.peak[b, p], task.impulse[b, p], task.touched[b, p] = 0.0, 0.0, NEVER
    for i in range(len(craft.cell_radius)):
        room.stir[i], room.soiled[i] = 0, 0
    for body in range(arms + 1):
        room.touching[body, 0] = 0.5 / dt


@physics
def _shape(kind: int, row: Floats, b: int, R: Nine, x: Triple, swing: Triple) -> Shape:
    """The obstacle in the body frame, ``swing`` away from its place in the world."""
    at = plus((row[b, 0], row[b, 1], row[b, 2]), swing)
    point = into_body(R, less(at, x))
    axis = into_body(R, (row[b, 3], row[b, 4], row[b, 5]))
    across = axis
    if kind >= BOX:
        across = into_body(R, (row[b, 7], row[b, 8], row[b, 9]))
    return Shape(point, axis, across, cross(axis, across), row[b, 6], row[b, 10], row[b, 11])


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
    state, row, result = task.state, task.row, task.result
    arms = len(craft.tip_mass)
    _clear(craft, room, task, b, dt)
    x = state[b, 0], state[b, 1], state[b, 2]
    V = state[b, 3], state[b, 4], state[b, 5]
    q = state[b, 6], state[b, 7], state[b, 8], state[b, 9]
    w = state[b, 10], state[b, 11], state[b, 12]
    zero = 0.0 * row[b, 6]
    swing, sway = (zero, zero, zero), (zero, zero, zero)
    lightness, k_o, c_o = row[b, 12], row[b, 13], row[b, 14]
    lightest, mass = craft.contact_mass[arms], craft.core_mass
    for a in range(arms):
        lightest = min(lightest, craft.contact_mass[a])
        mass += craft.tip_mass[a]
    v = into_body(rotation(q), V)
    start_energy = energy(craft, room, v, w)
    # No point can outrun the speed at which the lightest masses would hold all the energy.
    loose = 1.0 / lightest + lightness
    pace = 1.0 / (dt * (2.0 * sqrt(2.0 * start_energy * loose) + 1.0))
    hurry = 1.0 / task.speed[b, 0]
    shock = velocity = core_peak = steepest = lost = deepest = strap = travel = zero
    board = (zero, zero, zero)
    quiet, ended = zero, zero < 0.0
    last, step = zero, 0
    while True:
        R = rotation(q)
        v = into_body(R, V)
        shape = _shape(kind, row, b, R, x, swing)
        now = press_parts(
            craft,
            beds,
            law,
            kind,
            surface,
            b,
            task,
            room,
            shape,
            into_body(R, sway),
            v,
            w,
            dt,
            step,
            pace,
            hurry,
        )
        lost += now.lost
        deepest = most(deepest, now.depth)
        for body in range(arms + 1):
            steepest = most(steepest, room.stiff[body, 0] * (1.0 / craft.contact_mass[body] + lightness))
        touches = now.contacts > 0.0
        quiet = where(touches, 0.0, quiet + dt)
        last = where(touches, step * dt, last)
        if every > 0 and step % every == 0:
            _keep(task.trace, b, step // every, step * dt, x, q, room, arms)
        if step == steps or step % LOOK == 0:
            over = quiet > settle
            if step < steps and some(over & no(ended)):
                sway2, swing2 = dot(sway, sway), dot(swing, swing)
                reach = where(
                    k_o > 0.0, sqrt((sway2 + k_o * lightness * swing2) / most(k_o * lightness, 1e-9)), 0.0
                )
                over = over & never_again(craft, room, kind, shape, v, w, reach, (steps - step) * dt)
            if step == steps:
                over = zero <= 0.0
            over = over & no(ended)
            if some(over):
                ended = ended | over
                end_energy = energy(craft, room, v, w) + now.elastic
                moving = where(lightness > 0.0, 0.5 * dot(sway, sway) / most(lightness, 1e-9), 0.0)
                end_energy += moving + 0.5 * k_o * dot(swing, swing)
                stability = 0.5 * dt * sqrt(steepest)
                audit = (end_energy + lost - start_energy) / start_energy
                flags = where(stability > STEP_LIMIT, float(FLAG_STEP), 0.0)
                flags = flags + where(deepest > 1.0, float(FLAG_PENETRATION), 0.0)
                flags = flags + where(size(audit) <= AUDIT_LIMIT, 0.0, float(FLAG_ENERGY))
                task.flags[b, 0] = where(over, flags, task.flags[b, 0])
                for a in range(arms):
                    reach = craft.length[a]
                    for j in range(2):
                        at = 3 * a + j
                        task.moment[b, at] = where(over, room.bent[a, j] * reach, task.moment[b, at])
                        at = 2 * a + j
                        task.shear[b, at] = where(over, sqrt(room.slid[a, j]), task.shear[b, at])
                    at = 3 * a + 2
                    task.moment[b, at] = where(over, sqrt(room.bent[a, 2]), task.moment[b, at])
                m = into_world(R, tips_momentum(craft, room, w))
                _write(result, b, over, 0, (start_energy, end_energy, lost))
                _write(result, b, over, 3, (audit, stability, deepest))
                _write(result, b, over, 6, (sqrt(shock), sqrt(velocity), zero + step * dt))
                _write(result, b, over, 9, (last, sqrt(core_peak), sqrt(strap)))
                _write(result, b, over, 12, (sqrt(travel), sqrt(board[0]), sqrt(board[1])))
                _write(result, b, over, 15, (sqrt(board[2]), V[0], V[1]))
                _write(result, b, over, 18, (V[2], w[0], w[1]))
                _write(result, b, over, 21, (w[2], mass * V[0] + m[0], mass * V[1] + m[1]))
                result[b, 24] = where(over, mass * V[2] + m[2], result[b, 24])
            if not some(no(ended)):
                break
        motion = accelerations(craft, room, w, now.force, now.torque)
        core_peak = most(core_peak, dot(motion[0], motion[0]))
        lost += bend_arms(craft, room, motion, dt, task.strength, task.broken, b, step * dt)
        felt, moved, boards = shake_boards(craft, room, motion, w, dt)
        shock, velocity = most(shock, felt), most(velocity, moved)
        board = most(board[0], boards[0]), most(board[1], boards[1]), most(board[2], boards[2])
        if craft.pack_part >= 0:
            strap = most(strap, pull_strap(craft, room, motion, w, now.pack, dt))
        if some(lightness > 0.0):
            F = _free_way(kind, row, b, into_world(R, now.force))
            lost += c_o * dot(sway, sway) * dt
            sway = along(
                along(along(sway, -dt * lightness, F), -dt * lightness * k_o, swing),
                -dt * lightness * c_o,
                sway,
            )
            swing = along(swing, dt, sway)
            travel = most(travel, dot(swing, swing))
        w = along(w, dt, motion[1])
        V = along(V, dt, into_world(R, motion[0]))
        x = along(x, dt, V)
        q = turn(q, w, dt)
        step += 1


@physics
def _write(result: Floats, b: int, over: bool, at: int, values: Triple) -> None:
    """Three scalars of the crashes that end now."""
    result[b, at] = where(over, values[0], result[b, at])
    result[b, at + 1] = where(over, values[1], result[b, at + 1])
    result[b, at + 2] = where(over, values[2], result[b, at + 2])


@physics
def _keep(
    trace: Floats, b: int, frame: int, time: float, x: Triple, q: tuple[float, float, float, float],
    room: Room, arms: int,
) -> None:  # fmt: skip
    """Write one frame of the trace."""
    trace[b, frame, 0] = time
    trace[b, frame, 1], trace[b, frame, 2], trace[b, frame, 3] = x[0], x[1], x[2]
    trace[b, frame, 4], trace[b, frame, 5], trace[b, frame, 6], trace[b, frame, 7] = q[0], q[1], q[2], q[3]
    for a in range(arms):
        trace[b, frame, 8 + 2 * a], trace[b, frame, 9 + 2 * a] = room.u[a, 0], room.u[a, 1]


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
