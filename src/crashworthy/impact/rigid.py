"""Rigid-body pieces of the kernel: attitude, rotation, and the 6x6 solve by blocks.

Attitude is a unit quaternion (w, x, y, z) that turns body vectors into world vectors.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from crashworthy.impact.jit import physics

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Nine", "cross", "rotation", "solve_symmetric3", "symmetric_times", "turn"]

Nine = tuple[float, float, float, float, float, float, float, float, float]


@physics
def rotation(w: float, x: float, y: float, z: float) -> Nine:
    """Rotation matrix of a unit quaternion, row by row: world = R body."""
    return (
        1.0 - 2.0 * (y * y + z * z),
        2.0 * (x * y - w * z),
        2.0 * (x * z + w * y),
        2.0 * (x * y + w * z),
        1.0 - 2.0 * (x * x + z * z),
        2.0 * (y * z - w * x),
        2.0 * (x * z - w * y),
        2.0 * (y * z + w * x),
        1.0 - 2.0 * (x * x + y * y),
    )


@physics
def turn(
    w: float, x: float, y: float, z: float, p: float, q: float, r: float, dt: float
) -> tuple[float, float, float, float]:
    """Attitude after ``dt`` at the body rate (p, q, r), rad/s: q' = q (0, rate)/2, then to unit length."""
    h = 0.5 * dt
    nw = w - h * (x * p + y * q + z * r)
    nx = x + h * (w * p + y * r - z * q)
    ny = y + h * (w * q + z * p - x * r)
    nz = z + h * (w * r + x * q - y * p)
    s = 1.0 / math.sqrt(nw * nw + nx * nx + ny * ny + nz * nz)
    return nw * s, nx * s, ny * s, nz * s


@physics
def solve_symmetric3(
    a00: float,
    a01: float,
    a02: float,
    a11: float,
    a12: float,
    a22: float,
    b0: float,
    b1: float,
    b2: float,
) -> tuple[float, float, float]:
    """Solve a positive definite symmetric 3x3 system by L D L^T with scalar pivots."""
    i0 = 1.0 / a00
    l10, l20 = a01 * i0, a02 * i0
    d1 = a11 - l10 * a01
    i1 = 1.0 / d1
    m21 = a12 - l20 * a01
    l21 = m21 * i1
    d2 = a22 - l20 * a02 - l21 * m21
    y1 = b1 - l10 * b0
    y2 = b2 - l20 * b0 - l21 * y1
    x2 = y2 / d2
    x1 = y1 * i1 - l21 * x2
    x0 = b0 * i0 - l10 * x1 - l20 * x2
    return x0, x1, x2


@physics
def cross(ax: float, ay: float, az: float, bx: float, by: float, bz: float) -> tuple[float, float, float]:
    """Vector product a x b."""
    return ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx


@physics
def symmetric_times(m: Floats, x: float, y: float, z: float) -> tuple[float, float, float]:
    """Product of a symmetric 3x3 array (upper half read) and a vector."""
    return (
        m[0, 0] * x + m[0, 1] * y + m[0, 2] * z,
        m[0, 1] * x + m[1, 1] * y + m[1, 2] * z,
        m[0, 2] * x + m[1, 2] * y + m[2, 2] * z,
    )
