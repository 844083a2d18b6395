"""The crash itself: rigid core and four springy arms against one obstacle, semi-implicit Euler.

Generalised coordinates are the pose of the core (6) and, per arm, the tip deflections u = (in plane, out of
plane). With a the arm's axis, r the tip seen from the core's centre of gravity O, and e_j the bending
directions, the tip moves with a_tip = a_O + w' x r + b + u''_j e_j, b = w x (w x r) + 2 w x u'.
Each tip equation m e_j . a_tip = S_j, with S_j = Q_j - k_j u_j - c_j u'_j, eliminates u'', leaving

    [ M  B ] [a_O]   [ F - sum (S_j e_j + m a (a . b))                    ]
    [ B' C ] [w' ] = [ T - w x I w - sum (r x S_j e_j + m (r x a)(a . b)) ]

M = m_c 1 + sum m a a',  B = sum m a (r x a)',  C = I_c + sum m (r x a)(r x a)'.  M is constant, so its inverse
is; the rest is one symmetric 3x3 solve a step. All vectors are in the body frame; velocity and position of O
are kept in the world frame, so momentum does not drift with the turning frame.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from crashworthy.impact.jit import physics
from crashworthy.impact.obstacle import gap_normal
from crashworthy.impact.press_parts import press_parts
from crashworthy.impact.rigid import cross, rotation, solve_symmetric3, symmetric_times, turn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["AUDIT_LIMIT", "FLAG_ENERGY", "FLAG_INVALID", "FLAG_PENETRATION", "FLAG_STEP", "RESULT", "Beds", "Craft", "crash_all"]

FLAG_STEP: Final = 1
"""Time step above a fifth of the contact's stability limit."""
FLAG_PENETRATION: Final = 2
"""A part was pressed in deeper than half its smallest size, or the ground deeper than 100 mm."""
FLAG_ENERGY: Final = 4
"""The energy audit does not close to the allowed share of the initial energy."""
AUDIT_LIMIT: Final = 0.01
"""Largest energy error, as a share of the initial energy, that passes the audit."""
FLAG_INVALID: Final = 8
"""The crash left the real numbers; its results are zero."""

RESULT: Final = (
    "energy_start", "energy_end", "dissipated", "audit", "stability", "penetration",
    "shock", "pseudo_velocity", "end_time", "vx", "vy", "vz", "wx", "wy", "wz", "core_peak",
)  # fmt: skip
"""Rows of the per-crash scalar results."""


class Craft(NamedTuple):
    """A quad as the kernel sees it: arrays in the body frame, origin at the centre of gravity of the core."""

    core_mass: float
    inertia: Floats  # (3, 3) of the core, kg m2
    mass_inverse: Floats  # (3, 3) inverse of M
    position: Floats  # (n, 3) contact points, m
    area: Floats  # (n,) m2
    normal: Floats  # (n, 3) outward; zero means "presses whatever its direction"
    shape: Floats  # (n,) deflection there as a share of the tip's
    station: Floats  # (n,) fraction of the arm's length
    start: Ints  # (p + 1,) first point of each part
    centre: Floats  # (p, 3) bounding spheres of the parts, m
    radius: Floats  # (p,) m
    arm: Ints  # (p,) arm that carries the part, or -1
    depth_limit: Floats  # (p,) m
    axis: Floats  # (a, 3) root -> tip
    side: Floats  # (a, 2, 3) bending directions, in plane and out of plane
    tip: Floats  # (a, 3) m
    tip_mass: Floats  # (a,) kg
    stiffness: Floats  # (a, 2) N/m
    damping: Floats  # (a, 2) N s/m
    length: Floats  # (a,) m
    moment_capacity: Floats  # (a, 2) N m, in plane and out of plane
    contact_mass: Floats  # (a + 1,) lightest effective mass a contact on arm or core sees, kg
    stack: Floats  # (3,) m
    stack_rate: float  # natural angular frequency of the stack on its mount, rad/s
    stack_damping: float  # fraction of critical


class Beds(NamedTuple):
    """Combined contact beds, by surface (rows) and part (columns)."""

    stiffness: Floats  # Pa/m
    crush: Floats  # Pa
    depth: Floats  # m, elastic depth at crush
    damping: Floats  # y = alpha v, dimensionless
    friction: Floats
    in_ground: Ints  # 1 where the ground, not the part, is crushed


@physics
def _energy(craft, v0, v1, v2, p, q, r, u, du):  # type: ignore[no-untyped-def] # compiled
    """Kinetic energy of core and tips and strain energy of the arms, J."""
    I = craft.inertia
    e = 0.5 * craft.core_mass * (v0 * v0 + v1 * v1 + v2 * v2)
    e += 0.5 * (I[0, 0] * p * p + I[1, 1] * q * q + I[2, 2] * r * r)
    e += I[0, 1] * p * q + I[0, 2] * p * r + I[1, 2] * q * r
    for a in range(len(craft.tip_mass)):
        s = craft.side[a]
        x = craft.tip[a, 0] + u[a, 0] * s[0, 0] + u[a, 1] * s[1, 0]
        y = craft.tip[a, 1] + u[a, 0] * s[0, 1] + u[a, 1] * s[1, 1]
        z = craft.tip[a, 2] + u[a, 0] * s[0, 2] + u[a, 1] * s[1, 2]
        tx = v0 + q * z - r * y + du[a, 0] * s[0, 0] + du[a, 1] * s[1, 0]
        ty = v1 + r * x - p * z + du[a, 0] * s[0, 1] + du[a, 1] * s[1, 1]
        tz = v2 + p * y - q * x + du[a, 0] * s[0, 2] + du[a, 1] * s[1, 2]
        e += 0.5 * craft.tip_mass[a] * (tx * tx + ty * ty + tz * tz)
        e += 0.5 * (craft.stiffness[a, 0] * u[a, 0] ** 2 + craft.stiffness[a, 1] * u[a, 1] ** 2)
    return e


@physics
def _never_again(craft, kind, o, n, radius, v0, v1, v2, rate, left, margin):  # type: ignore[no-untyped-def] # compiled
    """Whether no part can reach the obstacle within the time ``left``, however the quad turns.

    The gap of a part's sphere shrinks at most by its turning, and the gap of a convex obstacle to a point in
    straight flight lies above its tangent; so the bound below is linear in time and safe at both ends.
    """
    for p in range(len(craft.radius)):
        cx, cy, cz = craft.centre[p, 0], craft.centre[p, 1], craft.centre[p, 2]
        gap, nx, ny, nz = gap_normal(kind, o[0], o[1], o[2], n[0], n[1], n[2], radius, cx, cy, cz)
        gap -= craft.radius[p] + margin
        swing = rate * math.sqrt(cx * cx + cy * cy + cz * cz)
        if gap < 0.0 or gap + (nx * v0 + ny * v1 + nz * v2 - swing) * left < 0.0:
            return False
    return True


@physics
def crash_all(craft, beds, law, kinds, surfaces, obstacles, state, speed, dt, steps, peak, impulse, touched, moment, result, flags):  # type: ignore[no-untyped-def] # compiled  # noqa: PLR0915, C901, E501
    """Run every crash of a chunk, one after the other.

    Args:
        craft: the quad.
        beds: contact beds.
        law: ``contact.BED`` or ``contact.HERTZ``.
        kinds: (n,) shape of the obstacle.
        surfaces: (n,) row of ``beds``.
        obstacles: (16, n) obstacle rows in the world frame.
        state: (13, n) position and velocity of O (world), quaternion, body rate.
        speed: (n,) closing speed at first contact, m/s; sets the damping.
        dt: time step, s.
        steps: most steps.
        peak, impulse, touched: (p, n) results by part: N, N s, s (NaN when never touched).
        moment: (a, 3, n) peak root moments in plane and out of plane, N m, and peak interaction.
        result: (len(RESULT), n) scalars.
        flags: (n,) bits.
    """
    n_points, n_parts, n_arms = len(craft.area), len(craft.radius), len(craft.tip_mass)
    stored, weight = np.zeros(n_points), np.zeros(n_points)
    u, du = np.zeros((n_arms, 2)), np.zeros((n_arms, 2))
    modal, lever = np.zeros((n_arms, 2)), np.zeros((n_arms, 2))
    spring, use = np.zeros((n_arms, 2)), np.zeros(2)
    base, count = np.zeros(3), np.zeros(n_arms + 1)
    rxa, tip, bias = np.zeros((n_arms, 3)), np.zeros((n_arms, 3)), np.zeros((n_arms, 3))
    v, w, o, n = np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3)
    load = np.zeros(6)
    book = np.zeros(4)  # elastic energy now, dissipated, deepest part depth over its limit, contacts
    stiff, touching = np.zeros(n_arms + 1), np.zeros(n_arms + 1)
    z, dz = np.zeros(3), np.zeros(3)
    rest = np.zeros(n_parts, dtype=np.int64)
    lightest = craft.contact_mass.min()
    I, W = craft.inertia, craft.mass_inverse
    for c in range(len(kinds)):
        stored[:] = 0.0
        weight[:] = 0.0
        u[:] = 0.0
        du[:] = 0.0
        z[:] = 0.0
        dz[:] = 0.0
        touching[:] = 0.0
        rest[:] = 0
        book[:] = 0.0
        peak[:, c] = 0.0
        impulse[:, c] = 0.0
        touched[:, c] = np.nan
        moment[:, :, c] = 0.0
        kind, surface, radius = kinds[c], surfaces[c], obstacles[6, c]
        x0, x1, x2 = state[0, c], state[1, c], state[2, c]
        V0, V1, V2 = state[3, c], state[4, c], state[5, c]
        qw, qx, qy, qz = state[6, c], state[7, c], state[8, c], state[9, c]
        w[0], w[1], w[2] = state[10, c], state[11, c], state[12, c]
        shock = velocity = core_peak = steepest = damped = start_energy = end_energy = fastest = 0.0
        quiet, step = 0, 0
        for step in range(steps + 1):
            r00, r01, r02, r10, r11, r12, r20, r21, r22 = rotation(qw, qx, qy, qz)
            v[0] = r00 * V0 + r10 * V1 + r20 * V2
            v[1] = r01 * V0 + r11 * V1 + r21 * V2
            v[2] = r02 * V0 + r12 * V1 + r22 * V2
            if step == 0:
                start_energy = _energy(craft, v[0], v[1], v[2], w[0], w[1], w[2], u, du)
                fastest = 2.0 * math.sqrt(2.0 * start_energy / lightest) + 1.0
            gx, gy, gz = obstacles[0, c] - x0, obstacles[1, c] - x1, obstacles[2, c] - x2
            o[0] = r00 * gx + r10 * gy + r20 * gz
            o[1] = r01 * gx + r11 * gy + r21 * gz
            o[2] = r02 * gx + r12 * gy + r22 * gz
            ax, ay, az = obstacles[3, c], obstacles[4, c], obstacles[5, c]
            n[0] = r00 * ax + r10 * ay + r20 * az
            n[1] = r01 * ax + r11 * ay + r21 * az
            n[2] = r02 * ax + r12 * ay + r22 * az

            load[:] = 0.0
            modal[:] = 0.0
            lever[:] = 0.0
            press_parts(
                craft, beds, law, kind, surface, radius, o, n, v, w, u, du, speed[c], dt, step, c,
                fastest, rest, stored, weight, stiff, touching, count, load, modal, lever, book, peak, impulse, touched,
            )  # fmt: skip
            for body in range(n_arms + 1):
                steepest = max(steepest, stiff[body] / craft.contact_mass[body])
            quiet = 0 if book[3] > 0.0 else quiet + 1

            if step == steps or (quiet > 400 and step % 50 == 0):
                margin = 0.0
                for a in range(n_arms):
                    margin = max(margin, abs(u[a, 0]) + abs(u[a, 1]))
                rate = math.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])
                left = (steps - step) * dt
                if step == steps or _never_again(
                    craft, kind, o, n, radius, v[0], v[1], v[2], rate, left, 2.0 * margin + 1e-3
                ):
                    end_energy = _energy(craft, v[0], v[1], v[2], w[0], w[1], w[2], u, du) + book[0]
                    break

            p, q, r = w[0], w[1], w[2]
            f0, f1, f2 = load[0], load[1], load[2]
            h0, h1, h2 = symmetric_times(I, p, q, r)
            y0, y1, y2 = cross(p, q, r, h0, h1, h2)
            t0, t1, t2 = load[3] - y0, load[4] - y1, load[5] - y2
            c00, c01, c02 = I[0, 0], I[0, 1], I[0, 2]
            c11, c12, c22 = I[1, 1], I[1, 2], I[2, 2]
            b00 = b01 = b02 = b10 = b11 = b12 = b20 = b21 = b22 = 0.0
            for a in range(n_arms):
                m, e, s = craft.tip_mass[a], craft.axis[a], craft.side[a]
                for i in range(3):
                    tip[a, i] = craft.tip[a, i] + u[a, 0] * s[0, i] + u[a, 1] * s[1, i]
                rx, ry, rz = tip[a, 0], tip[a, 1], tip[a, 2]
                g0, g1, g2 = cross(rx, ry, rz, e[0], e[1], e[2])
                rxa[a, 0], rxa[a, 1], rxa[a, 2] = g0, g1, g2
                ux = du[a, 0] * s[0, 0] + du[a, 1] * s[1, 0]
                uy = du[a, 0] * s[0, 1] + du[a, 1] * s[1, 1]
                uz = du[a, 0] * s[0, 2] + du[a, 1] * s[1, 2]
                wx, wy, wz = cross(p, q, r, rx, ry, rz)
                bias[a, 0], bias[a, 1], bias[a, 2] = cross(p, q, r, wx + 2.0 * ux, wy + 2.0 * uy, wz + 2.0 * uz)
                ab = m * (e[0] * bias[a, 0] + e[1] * bias[a, 1] + e[2] * bias[a, 2])
                for j in range(2):
                    spring[a, j] = modal[a, j] - craft.stiffness[a, j] * u[a, j] - craft.damping[a, j] * du[a, j]
                    bend = craft.stiffness[a, j] * u[a, j] + lever[a, j]
                    moment[a, j, c] = max(moment[a, j, c], abs(bend) * craft.length[a])
                    use[j] = bend * craft.length[a] / craft.moment_capacity[a, j]
                    damped += craft.damping[a, j] * du[a, j] * du[a, j] * dt
                moment[a, 2, c] = max(moment[a, 2, c], math.sqrt(use[0] * use[0] + use[1] * use[1]))
                s0 = spring[a, 0] * s[0, 0] + spring[a, 1] * s[1, 0]
                s1 = spring[a, 0] * s[0, 1] + spring[a, 1] * s[1, 1]
                s2 = spring[a, 0] * s[0, 2] + spring[a, 1] * s[1, 2]
                f0 -= s0 + e[0] * ab
                f1 -= s1 + e[1] * ab
                f2 -= s2 + e[2] * ab
                y0, y1, y2 = cross(rx, ry, rz, s0, s1, s2)
                t0 -= y0 + g0 * ab
                t1 -= y1 + g1 * ab
                t2 -= y2 + g2 * ab
                b00, b01, b02 = b00 + m * e[0] * g0, b01 + m * e[0] * g1, b02 + m * e[0] * g2
                b10, b11, b12 = b10 + m * e[1] * g0, b11 + m * e[1] * g1, b12 + m * e[1] * g2
                b20, b21, b22 = b20 + m * e[2] * g0, b21 + m * e[2] * g1, b22 + m * e[2] * g2
                c00, c01, c02 = c00 + m * g0 * g0, c01 + m * g0 * g1, c02 + m * g0 * g2
                c11, c12, c22 = c11 + m * g1 * g1, c12 + m * g1 * g2, c22 + m * g2 * g2

            # Eliminate a_O with the constant inverse W of M: (C - B' W B) w' = T - B' W F.
            y00, y10, y20 = symmetric_times(W, b00, b10, b20)
            y01, y11, y21 = symmetric_times(W, b01, b11, b21)
            y02, y12, y22 = symmetric_times(W, b02, b12, b22)
            A0, A1, A2 = solve_symmetric3(
                c00 - (b00 * y00 + b10 * y10 + b20 * y20),
                c01 - (b00 * y01 + b10 * y11 + b20 * y21),
                c02 - (b00 * y02 + b10 * y12 + b20 * y22),
                c11 - (b01 * y01 + b11 * y11 + b21 * y21),
                c12 - (b01 * y02 + b11 * y12 + b21 * y22),
                c22 - (b02 * y02 + b12 * y12 + b22 * y22),
                t0 - (y00 * f0 + y10 * f1 + y20 * f2),
                t1 - (y01 * f0 + y11 * f1 + y21 * f2),
                t2 - (y02 * f0 + y12 * f1 + y22 * f2),
            )
            f0 -= b00 * A0 + b01 * A1 + b02 * A2
            f1 -= b10 * A0 + b11 * A1 + b12 * A2
            f2 -= b20 * A0 + b21 * A1 + b22 * A2
            a0, a1, a2 = symmetric_times(W, f0, f1, f2)
            core_peak = max(core_peak, a0 * a0 + a1 * a1 + a2 * a2)

            for a in range(n_arms):
                y0, y1, y2 = cross(A0, A1, A2, tip[a, 0], tip[a, 1], tip[a, 2])
                k0, k1, k2 = a0 + y0 + bias[a, 0], a1 + y1 + bias[a, 1], a2 + y2 + bias[a, 2]
                for j in range(2):
                    s = craft.side[a, j]
                    du[a, j] += dt * (spring[a, j] / craft.tip_mass[a] - (s[0] * k0 + s[1] * k1 + s[2] * k2))
                    u[a, j] += dt * du[a, j]

            sx, sy, sz = craft.stack[0], craft.stack[1], craft.stack[2]
            wx, wy, wz = cross(p, q, r, sx, sy, sz)
            h0, h1, h2 = cross(p, q, r, wx, wy, wz)
            y0, y1, y2 = cross(A0, A1, A2, sx, sy, sz)
            base[0], base[1], base[2] = a0 + y0 + h0, a1 + y1 + h1, a2 + y2 + h2
            felt = moved = 0.0
            wn, zeta = craft.stack_rate, craft.stack_damping
            for i in range(3):
                pull = -2.0 * zeta * wn * dz[i] - wn * wn * z[i]
                felt += pull * pull
                dz[i] += dt * (pull - base[i])
                z[i] += dt * dz[i]
                moved += z[i] * z[i]
            shock, velocity = max(shock, felt), max(velocity, wn * wn * moved)

            w[0], w[1], w[2] = p + dt * A0, q + dt * A1, r + dt * A2
            V0 += dt * (r00 * a0 + r01 * a1 + r02 * a2)
            V1 += dt * (r10 * a0 + r11 * a1 + r12 * a2)
            V2 += dt * (r20 * a0 + r21 * a1 + r22 * a2)
            x0, x1, x2 = x0 + dt * V0, x1 + dt * V1, x2 + dt * V2
            qw, qx, qy, qz = turn(qw, qx, qy, qz, w[0], w[1], w[2], dt)

        stability = 0.5 * dt * math.sqrt(steepest)
        audit = (end_energy + book[1] + damped - start_energy) / start_energy
        bits = 0
        if stability > 0.2:
            bits |= FLAG_STEP
        if book[2] > 1.0:
            bits |= FLAG_PENETRATION
        if not abs(audit) <= AUDIT_LIMIT:
            bits |= FLAG_ENERGY
        flags[c] = bits
        result[0, c], result[1, c], result[2, c] = start_energy, end_energy, book[1] + damped
        result[3, c], result[4, c], result[5, c] = audit, stability, book[2]
        result[6, c], result[7, c], result[8, c] = math.sqrt(shock), math.sqrt(velocity), step * dt
        result[9, c], result[10, c], result[11, c] = V0, V1, V2
        result[12, c], result[13, c], result[14, c] = w[0], w[1], w[2]
        result[15, c] = math.sqrt(core_peak)
