"""The crash itself: semi-implicit Euler over the core, its arms and its boards, against one obstacle.

Each step brings the obstacle into the body frame (so a point costs a few operations), sums the contacts
(``press_parts``), solves the equations of motion (``dynamics``) and steps. Position and velocity of the core
are kept in the world frame, so momentum does not drift with the turning body. Gravity is left out: over the
30 ms of a crash it changes the speed by 0.3 m/s.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.impact.craft import AUDIT_LIMIT, FLAG_ENERGY, FLAG_PENETRATION, FLAG_STEP, STEP_LIMIT
from crashworthy.impact.dynamics import accelerations, bend_arms, shake_boards
from crashworthy.impact.jit import physics
from crashworthy.impact.ledger import energy, never_again, tips_momentum
from crashworthy.impact.press_parts import press_parts
from crashworthy.impact.rigid import Nine, rotation, turn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Beds, Craft

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["crash_all"]


@physics
def _into_body(R: Nine, x: float, y: float, z: float, out: Floats) -> None:
    """Out = R' (x, y, z)."""
    out[0] = R[0] * x + R[3] * y + R[6] * z
    out[1] = R[1] * x + R[4] * y + R[7] * z
    out[2] = R[2] * x + R[5] * y + R[8] * z


@physics
def crash_all(
    craft: Craft,
    beds: Beds,
    law: int,
    kinds: Ints,
    surfaces: Ints,
    obstacles: Floats,
    state: Floats,
    speed: Floats,
    dt: float,
    steps: int,
    settle: float,
    every: int,
    trace: Floats,
    peak: Floats,
    impulse: Floats,
    touched: Floats,
    moment: Floats,
    result: Floats,
    flags: Ints,
) -> None:
    """Run every crash of a chunk, one after the other; no crash sees another.

    Args:
        craft: the quad.
        beds: contact beds.
        law: ``contact.BED`` or ``contact.HERTZ``.
        kinds: (n,) shape of the obstacle.
        surfaces: (n,) row of ``beds``.
        obstacles: (16, n) obstacle rows in the world frame.
        state: (13, n) position and velocity of O (world), quaternion, body rate; or (13 + 4 a, n) with each
            arm's u in plane, u out of plane and their rates behind.
        speed: (n,) closing speed at first contact, m/s; sets the damping.
        dt: time step, s.
        steps: most steps.
        settle: time without contact after which a crash may end early, s.
        every: keep a frame of ``trace`` each so many steps; 0 keeps none.
        trace: (frames, 8 + 2 a, n) time, position, quaternion, tip deflections.
        peak: (p, n) largest summed normal force by part, N.
        impulse: (p, n) N s.
        touched: (p, n) time of first touch, s; NaN when never touched.
        moment: (a, 3, n) peak root moments in plane and out of plane, N m, and peak interaction.
        result: (len(RESULT), n) scalars, see ``craft.RESULT``.
        flags: (n,) bits.
    """
    n_points, n_parts, n_arms = len(craft.area), len(craft.radius), len(craft.tip_mass)
    stored, weight, rest = np.zeros(n_points), np.zeros(n_points), np.zeros(n_parts, dtype=np.int64)
    u, du, modal, lever = (
        np.zeros((n_arms, 2)),
        np.zeros((n_arms, 2)),
        np.zeros((n_arms, 2)),
        np.zeros((n_arms, 2)),
    )
    spring, bias, place, bent = (
        np.zeros((n_arms, 2)), np.zeros((n_arms, 3)), np.zeros((n_arms, 3)), np.zeros((n_arms, 3)),
    )  # fmt: skip
    x, V, v, w, o, n, z, dz = (
        np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3),
        np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3),
    )  # fmt: skip
    load, book = np.zeros(6), np.zeros(4)
    stiff, touching, count = np.zeros(n_arms + 1), np.zeros(n_arms + 1), np.zeros(n_arms + 1)
    lightest, mass = craft.contact_mass.min(), craft.core_mass + craft.tip_mass.sum()
    for c in range(len(kinds)):
        stored[:], weight[:], rest[:], touching[:] = 0.0, 0.0, 0, 0.0
        z[:], dz[:], book[:], bent[:] = 0.0, 0.0, 0.0, 0.0
        for a in range(n_arms):
            for j in range(2):
                u[a, j] = state[13 + 4 * a + j, c] if len(state) > 13 else 0.0
                du[a, j] = state[15 + 4 * a + j, c] if len(state) > 13 else 0.0
        peak[:, c], impulse[:, c], touched[:, c] = 0.0, 0.0, np.nan
        kind, surface, radius = kinds[c], surfaces[c], obstacles[6, c]
        for i in range(3):
            x[i], V[i], w[i] = state[i, c], state[3 + i, c], state[10 + i, c]
        qw, qx, qy, qz = state[6, c], state[7, c], state[8, c], state[9, c]
        _into_body(rotation(qw, qx, qy, qz), V[0], V[1], V[2], v)
        start_energy = energy(craft, v, w, u, du)
        # No point can outrun the speed at which its lightest mass would hold all the energy.
        fastest = 2.0 * math.sqrt(2.0 * start_energy / lightest) + 1.0
        shock = velocity = core_peak = steepest = damped = last = 0.0
        quiet, step = 0, 0
        while True:
            R = rotation(qw, qx, qy, qz)
            _into_body(R, V[0], V[1], V[2], v)
            _into_body(R, obstacles[0, c] - x[0], obstacles[1, c] - x[1], obstacles[2, c] - x[2], o)
            _into_body(R, obstacles[3, c], obstacles[4, c], obstacles[5, c], n)
            load[:], modal[:], lever[:] = 0.0, 0.0, 0.0
            press_parts(
                craft, beds, law, kind, surface, radius, o, n, v, w, u, du, speed[c], dt, step, c, fastest,
                rest, stored, weight, stiff, touching, count, load, modal, lever, book, peak, impulse,
                touched,
            )  # fmt: skip
            for body in range(n_arms + 1):
                steepest = max(steepest, stiff[body] / craft.contact_mass[body])
            quiet += 1
            if book[3] > 0.0:
                quiet, last = 0, step * dt
            if every > 0 and step % every == 0 and step // every < len(trace):
                _keep(trace[step // every], c, step * dt, x, qw, qx, qy, qz, u)
            if step == steps or (
                quiet * dt > settle
                and step % 50 == 0
                and never_again(craft, kind, o, n, radius, v, w, u, (steps - step) * dt)
            ):
                break
            motion = accelerations(craft, w, u, du, load, modal, place, bias, spring)
            core_peak = max(core_peak, motion[0] ** 2 + motion[1] ** 2 + motion[2] ** 2)
            damped += bend_arms(craft, motion, dt, u, du, lever, place, bias, spring, bent)
            felt, moved = shake_boards(craft, motion, w, dt, z, dz)
            shock, velocity = max(shock, felt), max(velocity, moved)
            for i in range(3):
                w[i] += dt * (motion[3] if i == 0 else (motion[4] if i == 1 else motion[5]))
                V[i] += dt * (R[3 * i] * motion[0] + R[3 * i + 1] * motion[1] + R[3 * i + 2] * motion[2])
                x[i] += dt * V[i]
            qw, qx, qy, qz = turn(qw, qx, qy, qz, w[0], w[1], w[2], dt)
            step += 1

        end_energy, dissipated = energy(craft, v, w, u, du) + book[0], book[1] + damped
        stability, audit = (
            0.5 * dt * math.sqrt(steepest),
            (end_energy + dissipated - start_energy) / start_energy,
        )
        flags[c] = (FLAG_STEP if stability > STEP_LIMIT else 0) | (FLAG_PENETRATION if book[2] > 1.0 else 0)
        if not abs(audit) <= AUDIT_LIMIT:
            flags[c] |= FLAG_ENERGY
        for a in range(n_arms):
            moment[a, 0, c], moment[a, 1, c] = bent[a, 0] * craft.length[a], bent[a, 1] * craft.length[a]
            moment[a, 2, c] = math.sqrt(bent[a, 2])
        m0, m1, m2 = tips_momentum(craft, w, u, du)
        result[0, c], result[1, c], result[2, c], result[3, c] = start_energy, end_energy, dissipated, audit
        result[4, c], result[5, c], result[6, c] = stability, book[2], math.sqrt(shock)
        result[7, c], result[8, c], result[9, c] = math.sqrt(velocity), step * dt, last
        result[10, c] = math.sqrt(core_peak)
        for i in range(3):
            result[11 + i, c], result[14 + i, c] = V[i], w[i]
            result[17 + i, c] = mass * V[i] + R[3 * i] * m0 + R[3 * i + 1] * m1 + R[3 * i + 2] * m2


@physics
def _keep(
    frame: Floats, c: int, time: float, x: Floats, qw: float, qx: float, qy: float, qz: float, u: Floats
) -> None:
    """Write one frame of the trace."""
    frame[0, c], frame[1, c], frame[2, c], frame[3, c] = time, x[0], x[1], x[2]
    frame[4, c], frame[5, c], frame[6, c], frame[7, c] = qw, qx, qy, qz
    for a in range(len(u)):
        frame[8 + 2 * a, c], frame[9 + 2 * a, c] = u[a, 0], u[a, 1]
