"""Keeping account of a crash: energy, momentum, and when nothing can touch any more."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from crashworthy.impact.jit import physics
from crashworthy.impact.obstacle import gap_normal
from crashworthy.impact.rigid import cross

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft

    Floats = NDArray[np.float64]

__all__ = ["energy", "never_again", "tip_motion", "tips_momentum"]

Six = tuple[float, float, float, float, float, float]


@physics
def tip_motion(craft: Craft, a: int, u: Floats, du: Floats) -> Six:
    """Place (m) and velocity relative to the core (m/s) of the tip of arm ``a``, body frame."""
    s = craft.side[a]
    return (
        craft.tip[a, 0] + u[a, 0] * s[0, 0] + u[a, 1] * s[1, 0],
        craft.tip[a, 1] + u[a, 0] * s[0, 1] + u[a, 1] * s[1, 1],
        craft.tip[a, 2] + u[a, 0] * s[0, 2] + u[a, 1] * s[1, 2],
        du[a, 0] * s[0, 0] + du[a, 1] * s[1, 0],
        du[a, 0] * s[0, 1] + du[a, 1] * s[1, 1],
        du[a, 0] * s[0, 2] + du[a, 1] * s[1, 2],
    )


@physics
def energy(craft: Craft, v: Floats, w: Floats, u: Floats, du: Floats) -> float:
    """Kinetic energy of core and tips and strain energy of the arms, J."""
    J, p, q, r = craft.inertia, w[0], w[1], w[2]
    total = 0.5 * craft.core_mass * (v[0] * v[0] + v[1] * v[1] + v[2] * v[2])
    total += 0.5 * (J[0, 0] * p * p + J[1, 1] * q * q + J[2, 2] * r * r)
    total += J[0, 1] * p * q + J[0, 2] * p * r + J[1, 2] * q * r
    for a in range(len(craft.tip_mass)):
        x, y, z, ux, uy, uz = tip_motion(craft, a, u, du)
        tx, ty, tz = cross(p, q, r, x, y, z)
        tx, ty, tz = v[0] + tx + ux, v[1] + ty + uy, v[2] + tz + uz
        total += 0.5 * craft.tip_mass[a] * (tx * tx + ty * ty + tz * tz)
        total += 0.5 * (craft.stiffness[a, 0] * u[a, 0] ** 2 + craft.stiffness[a, 1] * u[a, 1] ** 2)
    return float(total)


@physics
def tips_momentum(craft: Craft, w: Floats, u: Floats, du: Floats) -> tuple[float, float, float]:
    """Momentum of the tips in excess of their mass times the core's velocity, body frame, kg m/s."""
    m0 = m1 = m2 = 0.0
    for a in range(len(craft.tip_mass)):
        m = craft.tip_mass[a]
        x, y, z, ux, uy, uz = tip_motion(craft, a, u, du)
        tx, ty, tz = cross(w[0], w[1], w[2], x, y, z)
        m0 += m * (tx + ux)
        m1 += m * (ty + uy)
        m2 += m * (tz + uz)
    return m0, m1, m2


@physics
def never_again(
    craft: Craft, kind: int, o: Floats, n: Floats, radius: float, v: Floats, w: Floats, u: Floats, left: float
) -> bool:
    """Whether no part can reach the obstacle within the time ``left``, however the quad turns.

    The gap of a part's sphere shrinks at most by its turning, and the gap of a convex obstacle to a point in
    straight flight lies above its tangent; so the bound below is linear in time and safe at both ends.
    """
    margin = 0.0
    for a in range(len(craft.tip_mass)):
        margin = max(margin, abs(u[a, 0]) + abs(u[a, 1]))
    margin = 2.0 * margin + 1e-3
    rate = math.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])
    for p in range(len(craft.radius)):
        x, y, z = craft.centre[p, 0], craft.centre[p, 1], craft.centre[p, 2]
        gap, nx, ny, nz = gap_normal(kind, o[0], o[1], o[2], n[0], n[1], n[2], radius, x, y, z)
        gap -= craft.radius[p] + margin
        closing = rate * math.sqrt(x * x + y * y + z * z) - (nx * v[0] + ny * v[1] + nz * v[2])
        if gap < 0.0 or gap < closing * left:
            return False
    return True
