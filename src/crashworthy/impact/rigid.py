"""Vector algebra of the kernel: triples, rotation by quaternion, and a symmetric 3x3 solve.

Triples hold values, numbers or lanes. Attitude is a unit quaternion (w, x, y, z) that turns body vectors into
world vectors.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.impact.jit import physics

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "Four",
    "Nine",
    "Triple",
    "along",
    "cross",
    "dot",
    "into_body",
    "into_world",
    "less",
    "plus",
    "rotation",
    "row",
    "solve_symmetric3",
    "symmetric_times",
    "turn",
]

Triple = tuple[float, float, float]
Four = tuple[float, float, float, float]
Nine = tuple[float, float, float, float, float, float, float, float, float]


@physics
def dot(a: Triple, b: Triple) -> float:
    """Scalar product a . b."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@physics
def cross(a: Triple, b: Triple) -> Triple:
    """Vector product a x b."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@physics
def plus(a: Triple, b: Triple) -> Triple:
    """Sum a + b."""
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


@physics
def less(a: Triple, b: Triple) -> Triple:
    """Difference a - b."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@physics
def along(a: Triple, s: float, b: Triple) -> Triple:
    """Step along a direction: a + s b."""
    return a[0] + s * b[0], a[1] + s * b[1], a[2] + s * b[2]


@physics
def row(table: Floats, i: int) -> Triple:
    """Row of a table with three columns."""
    return table[i, 0], table[i, 1], table[i, 2]


@physics
def rotation(q: Four) -> Nine:
    """Rotation matrix of a unit quaternion, row by row: world = R body."""
    w, x, y, z = q
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
def into_body(R: Nine, a: Triple) -> Triple:
    """R' a."""
    return (
        R[0] * a[0] + R[3] * a[1] + R[6] * a[2],
        R[1] * a[0] + R[4] * a[1] + R[7] * a[2],
        R[2] * a[0] + R[5] * a[1] + R[8] * a[2],
    )


@physics
def into_world(R: Nine, a: Triple) -> Triple:
    """R a."""
    return (
        R[0] * a[0] + R[1] * a[1] + R[2] * a[2],
        R[3] * a[0] + R[4] * a[1] + R[5] * a[2],
        R[6] * a[0] + R[7] * a[1] + R[8] * a[2],
    )


@physics
def turn(q: Four, rate: Triple, dt: float) -> Four:
    """Attitude after ``dt`` at the body rate, rad/s: q' = q (0, rate)/2, then to unit length.

    One step of Newton's towards 1/|q|: |q|² is 1 to (rate dt)²/4, which leaves (rate dt)^4/40.
    """
    w, x, y, z = q
    h = 0.5 * dt
    nw = w - h * (x * rate[0] + y * rate[1] + z * rate[2])
    nx = x + h * (w * rate[0] + y * rate[2] - z * rate[1])
    ny = y + h * (w * rate[1] + z * rate[0] - x * rate[2])
    nz = z + h * (w * rate[2] + x * rate[1] - y * rate[0])
    s = 1.5 - 0.5 * (nw * nw + nx * nx + ny * ny + nz * nz)
    return nw * s, nx * s, ny * s, nz * s


@physics
def solve_symmetric3(
    a00: float, a01: float, a02: float, a11: float, a12: float, a22: float, b: Triple
) -> Triple:
    """Solve a positive definite symmetric 3x3 system by L D L^T with scalar pivots."""
    i0 = 1.0 / a00
    l10, l20 = a01 * i0, a02 * i0
    i1 = 1.0 / (a11 - l10 * a01)
    m21 = a12 - l20 * a01
    l21 = m21 * i1
    d2 = a22 - l20 * a02 - l21 * m21
    y1 = b[1] - l10 * b[0]
    x2 = (b[2] - l20 * b[0] - l21 * y1) / d2
    x1 = y1 * i1 - l21 * x2
    x0 = b[0] * i0 - l10 * x1 - l20 * x2
    return x0, x1, x2


@physics
def symmetric_times(m: Floats, a: Triple) -> Triple:
    """Product of a symmetric 3x3 array (upper half read) and a triple."""
    return (
        m[0, 0] * a[0] + m[0, 1] * a[1] + m[0, 2] * a[2],
        m[0, 1] * a[0] + m[1, 1] * a[1] + m[1, 2] * a[2],
        m[0, 2] * a[0] + m[1, 2] * a[1] + m[2, 2] * a[2],
    )
