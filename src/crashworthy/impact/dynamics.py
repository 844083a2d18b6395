"""Equations of motion: a rigid core with four springy arms whose tips are eliminated.

Generalised coordinates are the pose of the core (6) and, per arm, the tip deflections u = (in plane, out of
plane). With a the arm's axis, r the tip seen from the core's centre of gravity O, and e_j the bending
directions, the tip moves with a_tip = a_O + w' x r + b + u''_j e_j,  b = w x (w x r) + 2 w x u'.
Each tip equation m e_j . a_tip = S_j, with S_j = Q_j - k_j u_j - c_j u'_j, eliminates u'', leaving

    [ M  B ] [a_O]   [ F - sum (S_j e_j + m a (a . b))                    ]
    [ B' C ] [w' ] = [ T - w x I w - sum (r x S_j e_j + m (r x a)(a . b)) ]

    M = m_c 1 + sum m a a',   B = sum m a (r x a)',   C = I_c + sum m (r x a)(r x a)'

M is constant, so its inverse is; what remains is one symmetric 3x3 solve a step. All in the body frame.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.impact.jit import physics
from crashworthy.impact.ledger import tip_motion
from crashworthy.impact.rigid import cross, solve_symmetric3, symmetric_times

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft

    Floats = NDArray[np.float64]

__all__ = ["accelerations", "bend_arms", "shake_boards"]

Six = tuple[float, float, float, float, float, float]


@physics
def accelerations(
    craft: Craft,
    w: Floats,
    u: Floats,
    du: Floats,
    load: Floats,
    modal: Floats,
    place: Floats,
    bias: Floats,
    spring: Floats,
) -> Six:
    """Accelerations of the core: of O (m/s²) and of the turning (rad/s²), body frame.

    Args:
        craft: the quad.
        w: body rate.
        u: (a, 2) tip deflections.
        du: (a, 2) their rates.
        load: (6,) force and torque about O.
        modal: (a, 2) forces on the tips' freedoms, Q.
        place: (a, 3) set to r of each tip.
        bias: (a, 3) set to b of each tip.
        spring: (a, 2) set to S of each tip.
    """
    inertia, W = craft.inertia, craft.mass_inverse
    p, q, r = w[0], w[1], w[2]
    f0, f1, f2 = load[0], load[1], load[2]
    h0, h1, h2 = symmetric_times(inertia, p, q, r)
    g0, g1, g2 = cross(p, q, r, h0, h1, h2)
    t0, t1, t2 = load[3] - g0, load[4] - g1, load[5] - g2
    c00, c01, c02, c11, c12, c22 = (
        inertia[0, 0],
        inertia[0, 1],
        inertia[0, 2],
        inertia[1, 1],
        inertia[1, 2],
        inertia[2, 2],
    )
    b00 = b01 = b02 = b10 = b11 = b12 = b20 = b21 = b22 = 0.0
    for a in range(len(craft.tip_mass)):
        m, e, s = craft.tip_mass[a], craft.axis[a], craft.side[a]
        e0, e1, e2 = e[0], e[1], e[2]
        x, y, z, ux, uy, uz = tip_motion(craft, a, u, du)
        place[a, 0], place[a, 1], place[a, 2] = x, y, z
        g0, g1, g2 = cross(x, y, z, e0, e1, e2)
        w0, w1, w2 = cross(p, q, r, x, y, z)
        k0, k1, k2 = cross(p, q, r, w0 + 2.0 * ux, w1 + 2.0 * uy, w2 + 2.0 * uz)
        bias[a, 0], bias[a, 1], bias[a, 2] = k0, k1, k2
        ab = m * (e0 * k0 + e1 * k1 + e2 * k2)
        S0 = modal[a, 0] - craft.stiffness[a, 0] * u[a, 0] - craft.damping[a, 0] * du[a, 0]
        S1 = modal[a, 1] - craft.stiffness[a, 1] * u[a, 1] - craft.damping[a, 1] * du[a, 1]
        spring[a, 0], spring[a, 1] = S0, S1
        s0 = S0 * s[0, 0] + S1 * s[1, 0]
        s1 = S0 * s[0, 1] + S1 * s[1, 1]
        s2 = S0 * s[0, 2] + S1 * s[1, 2]
        h0, h1, h2 = cross(x, y, z, s0, s1, s2)
        f0, f1, f2 = f0 - s0 - e0 * ab, f1 - s1 - e1 * ab, f2 - s2 - e2 * ab
        t0, t1, t2 = t0 - h0 - g0 * ab, t1 - h1 - g1 * ab, t2 - h2 - g2 * ab
        b00, b01, b02 = b00 + m * e0 * g0, b01 + m * e0 * g1, b02 + m * e0 * g2
        b10, b11, b12 = b10 + m * e1 * g0, b11 + m * e1 * g1, b12 + m * e1 * g2
        b20, b21, b22 = b20 + m * e2 * g0, b21 + m * e2 * g1, b22 + m * e2 * g2
        c00, c01, c02 = c00 + m * g0 * g0, c01 + m * g0 * g1, c02 + m * g0 * g2
        c11, c12, c22 = c11 + m * g1 * g1, c12 + m * g1 * g2, c22 + m * g2 * g2
    # Eliminate a_O with the inverse W of M: (C - B' W B) w' = T - B' W F.
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
    return a0, a1, a2, A0, A1, A2


@physics
def bend_arms(
    craft: Craft,
    motion: Six,
    dt: float,
    u: Floats,
    du: Floats,
    lever: Floats,
    place: Floats,
    bias: Floats,
    spring: Floats,
    bent: Floats,
) -> float:
    """Record the root moments, step the tips; returns the energy lost in the arms, J.

    Root force = k u + sum (s - phi) F: the tip's spring, plus what contacts short of the tip add beyond their
    share phi of it; times the arm's length it is the root moment.

    Args:
        craft: the quad.
        motion: accelerations of the core.
        dt: step, s.
        u: (a, 2) tip deflections, stepped here.
        du: (a, 2) their rates, stepped here.
        lever: (a, 2) sum (station - shape) F, N.
        place: (a, 3) tips, from ``accelerations``.
        bias: (a, 3) from ``accelerations``.
        spring: (a, 2) from ``accelerations``.
        bent: (a, 3) peaks of the root force in plane and out of plane, N, and of the squared interaction.
    """
    a0, a1, a2, A0, A1, A2 = motion
    lost = 0.0
    for a in range(len(craft.tip_mass)):
        g0, g1, g2 = cross(A0, A1, A2, place[a, 0], place[a, 1], place[a, 2])
        k0, k1, k2 = a0 + g0 + bias[a, 0], a1 + g1 + bias[a, 1], a2 + g2 + bias[a, 2]
        use = 0.0
        for j in range(2):
            s = craft.side[a, j]
            bend = craft.stiffness[a, j] * u[a, j] + lever[a, j]
            share = bend * craft.use[a, j]
            bent[a, j] = max(bent[a, j], abs(bend))
            use += share * share
            lost += craft.damping[a, j] * du[a, j] * du[a, j] * dt
            du[a, j] += dt * (spring[a, j] * craft.lightness[a] - (s[0] * k0 + s[1] * k1 + s[2] * k2))
            u[a, j] += dt * du[a, j]
        bent[a, 2] = max(bent[a, 2], use)
    return lost


@physics
def shake_boards(
    craft: Craft, motion: Six, w: Floats, dt: float, z: Floats, dz: Floats
) -> tuple[float, float]:
    """Step the boards on their mount, one damped spring for each axis: z'' = -a - 2 zeta wn z' - wn² z.

    Args:
        craft: the quad.
        motion: accelerations of the core.
        w: body rate.
        dt: step, s.
        z: (3,) travel of the mount, stepped here.
        dz: (3,) its rate, stepped here.

    Returns:
        squared acceleration of the boards and squared pseudo-velocity wn² z².
    """
    a0, a1, a2, A0, A1, A2 = motion
    x, y, s = craft.stack[0], craft.stack[1], craft.stack[2]
    w0, w1, w2 = cross(w[0], w[1], w[2], x, y, s)
    h0, h1, h2 = cross(w[0], w[1], w[2], w0, w1, w2)
    g0, g1, g2 = cross(A0, A1, A2, x, y, s)
    felt = moved = 0.0
    wn, zeta = craft.stack_rate, craft.stack_damping
    for i in range(3):
        base = a0 + g0 + h0 if i == 0 else (a1 + g1 + h1 if i == 1 else a2 + g2 + h2)
        pull = -2.0 * zeta * wn * dz[i] - wn * wn * z[i]
        felt += pull * pull
        dz[i] += dt * (pull - base)
        z[i] += dt * dz[i]
        moved += z[i] * z[i]
    return felt, wn * wn * moved
