"""Moving each quad along its path to the moment of first touch."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from crashworthy.impact.jit import physics
from crashworthy.impact.obstacle import PLANE, RUBBLE, SPIKE, Shape, gap_normal
from crashworthy.impact.press_parts import half_width
from crashworthy.impact.rigid import Nine, cross, dot, into_body, rotation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["place"]


@physics
def _march(
    craft: Craft, xyz: Floats, least: Floats, r: Nine, kind: int, rows: Floats, state: Floats,
    c: int,
) -> tuple[int, float, float, float]:  # fmt: skip
    """Move a quad back along its path until it is clear, then forward to first touch.

    No patch is nearer to the obstacle than its gap, so a step of the least gap hardly ever goes through it
    (sphere tracing, Hart, The Visual Computer 12, 1996); where a patch's half-width grows on the way, the
    step is taken back.

    Returns:
        point that touches, outward normal there.
    """
    axis, across = (rows[3, c], rows[4, c], rows[5, c]), (rows[7, c], rows[8, c], rows[9, c])
    shape = Shape(
        (rows[0, c], rows[1, c], rows[2, c]), axis, across, cross(axis, across), rows[6, c], rows[10, c],
        rows[11, c],
    )  # fmt: skip
    v = (state[3, c], state[4, c], state[5, c])
    speed = np.sqrt(dot(v, v))
    reach = 0.0
    for i in range(len(xyz)):
        reach = max(reach, np.sqrt(xyz[i, 0] ** 2 + xyz[i, 1] ** 2 + xyz[i, 2] ** 2) + craft.bulge[i])
    back = (2.0 * reach + rows[6, c] + 0.3) / speed
    nearest, hit, m = 0.0, 0, axis
    least[:] = -np.inf
    for _ in range(20):
        for j in range(3):
            state[j, c] -= back * v[j]
        least[:] = -np.inf
        nearest, hit, m = _nearest(craft, xyz, least, r, kind, shape, state, c)
        if nearest > 0.0:
            break
    for _ in range(1000):
        if abs(nearest - 1e-9) < 1e-9:
            break
        step = nearest - 1e-9
        for j in range(3):
            state[j, c] += step / speed * v[j]
        # A gap shrinks by the way gone at most; what cannot be nearest any more is not looked at.
        for i in range(len(xyz)):
            least[i] -= abs(step) + 1e-12
        nearest, hit, m = _nearest(craft, xyz, least, r, kind, shape, state, c)
    return hit, m[0], m[1], m[2]


@physics
def _half_width(craft: Craft, r: Nine, i: int, n: tuple[float, float, float]) -> float:
    """Half-width of a patch along a direction of the world, m."""
    return half_width(craft, i, into_body(r, n))


@physics
def _nearest(
    craft: Craft, xyz: Floats, least: Floats, r: Nine, kind: int, shape: Shape, state: Floats,
    c: int,
) -> tuple[float, int, tuple[float, float, float]]:  # fmt: skip
    """Least gap of the skin's patches, which one, and the normal there; ``least`` bounds gaps from below."""
    best, hit, m = np.inf, 0, shape.axis
    for i in range(len(xyz)):
        if least[i] >= best:
            continue
        gap, n = gap_normal(
            kind, shape, (state[0, c] + xyz[i, 0], state[1, c] + xyz[i, 1], state[2, c] + xyz[i, 2])
        )
        least[i] = gap - craft.bulge[i]
        if least[i] < best:
            gap -= _half_width(craft, r, i, n)
            if gap < best:
                best, hit, m = gap, i, n
    return best, hit, m


@physics
def _touch(
    craft: Craft, r: Nine, state: Floats, hit: int, nx: float, ny: float, nz: float, c: int,
    closing: Floats, first: Ints, touch: Ints, normal: Floats,
) -> None:  # fmt: skip
    """Note the closing speed of the point that touches, its part, and the normal."""
    wx, wy, wz = state[10, c], state[11, c], state[12, c]
    bx, by, bz = craft.position[hit, 0], craft.position[hit, 1], craft.position[hit, 2]
    tx, ty, tz = wy * bz - wz * by, wz * bx - wx * bz, wx * by - wy * bx
    ux = state[3, c] + r[0] * tx + r[1] * ty + r[2] * tz
    uy = state[4, c] + r[3] * tx + r[4] * ty + r[5] * tz
    uz = state[5, c] + r[6] * tx + r[7] * ty + r[8] * tz
    closing[c] = -(nx * ux + ny * uy + nz * uz)
    normal[0, c], normal[1, c], normal[2, c] = nx, ny, nz
    part = 0
    while craft.start[part + 1] <= hit:
        part += 1
    first[c], touch[c] = part, hit


@physics
def place(
    craft: Craft, kinds: Ints, rows: Floats, state: Floats, aim: Floats, pick: Floats, closing: Floats,
    first: Ints, touch: Ints, normal: Floats,
) -> None:  # fmt: skip
    """Move each quad along its path to first touch; shift bars sideways so that they hit (see ``sample``)."""
    n = len(craft.area)
    xyz, side, gap = np.zeros((n, 3)), np.zeros(n), np.zeros(n)
    for c in range(len(kinds)):
        r = rotation((state[6, c], state[7, c], state[8, c], state[9, c]))
        for i in range(n):
            x, y, z = craft.position[i, 0], craft.position[i, 1], craft.position[i, 2]
            xyz[i, 0] = r[0] * x + r[1] * y + r[2] * z
            xyz[i, 1] = r[3] * x + r[4] * y + r[5] * z
            xyz[i, 2] = r[6] * x + r[7] * y + r[8] * z
        vx, vy, vz = state[3, c], state[4, c], state[5, c]
        ax, ay, az = rows[3, c], rows[4, c], rows[5, c]
        along = vx * ax + vy * ay + vz * az
        if kinds[c] == PLANE:
            for i in range(n):
                high = xyz[i, 0] * ax + xyz[i, 1] * ay + xyz[i, 2] * az
                gap[i] = (high - _half_width(craft, r, i, (ax, ay, az))) / -along
            hit = int(np.argmin(gap))
            time = gap[hit] - 1e-9 / -along
            state[0, c], state[1, c], state[2, c] = vx * time, vy * time, vz * time
            nx, ny, nz = ax, ay, az
        elif kinds[c] == SPIKE or kinds[c] == RUBBLE:
            # Aimed at a point of the skin drawn by its area.
            goal, drawn = pick[c] * craft.area.sum(), 0
            while drawn < n - 1 and goal > craft.area[drawn]:
                goal -= craft.area[drawn]
                drawn += 1
            state[0, c], state[1, c], state[2, c] = -xyz[drawn, 0], -xyz[drawn, 1], -xyz[drawn, 2]
            hit, nx, ny, nz = _march(craft, xyz, gap, r, kinds[c], rows, state, c)
        else:
            radius = aim[c]
            wx, wy, wz = vx - along * ax, vy - along * ay, vz - along * az
            size = np.sqrt(wx * wx + wy * wy + wz * wz)
            fx, fy, fz = wx / size, wy / size, wz / size
            # s = a x f completes the frame: s is across the path and the bar.
            sx, sy, sz = ay * fz - az * fy, az * fx - ax * fz, ax * fy - ay * fx
            for i in range(n):
                side[i] = xyz[i, 0] * sx + xyz[i, 1] * sy + xyz[i, 2] * sz
            order = np.argsort(side)
            width, reach = 0.0, -np.inf
            for j in order:
                width += min(2.0 * radius, side[j] + radius - max(reach, side[j] - radius))
                reach = side[j] + radius
            goal, width, reach, offset = pick[c] * width, 0.0, -np.inf, 0.0
            for j in order:
                low = max(reach, side[j] - radius)
                gain = side[j] + radius - low
                if width + gain >= goal:
                    offset = low + (goal - width)
                    break
                width += gain
                reach = side[j] + radius
            state[0, c], state[1, c], state[2, c] = -offset * sx, -offset * sy, -offset * sz
            hit, nx, ny, nz = _march(craft, xyz, gap, r, kinds[c], rows, state, c)
        _touch(craft, r, state, hit, nx, ny, nz, c, closing, first, touch, normal)
