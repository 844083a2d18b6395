"""From a scenario and crash numbers to the state at first touch.

Attitude, spin and path are drawn for the moment of first touch; the quad is then moved along its path, in
closed form, until the first point of its skin meets the obstacle. So no free flight is stepped.
World frame: z up, the flight path heads along +x.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from crashworthy.impact.jit import physics
from crashworthy.impact.obstacle import CYLINDER, PARAMS, PLANE, SHAPES, SURFACES
from crashworthy.impact.rigid import rotation
from crashworthy.impact.sampler import Draws

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft
    from crashworthy.impact.scenario import Scenario

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["Starts", "sample"]


class Starts(NamedTuple):
    """Initial conditions of some crashes, crash as the last axis.

    Attributes:
        obstacle: (n,) index into ``Scenario.obstacles``.
        kinds: (n,) shape.
        surfaces: (n,) index into ``obstacle.SURFACES``.
        rows: (16, n) obstacle rows in the world frame.
        state: (13, n) position and velocity of the core, quaternion, body rate.
        closing: (n,) normal closing speed of the first point to touch, m/s.
        first: (n,) that point's part (index into the craft's parts).
    """

    obstacle: Ints
    kinds: Ints
    surfaces: Ints
    rows: Floats
    state: Floats
    closing: Floats
    first: Ints


def _times(a: Floats, b: Floats) -> Floats:
    """Quaternion product, (4, n) each."""
    w, x, y, z = a
    p, q, r, s = b
    return np.array(
        [
            w * p - x * q - y * r - z * s,
            w * q + x * p + y * s - z * r,
            w * r - x * s + y * p + z * q,
            w * s + x * r - y * q + z * p,
        ]
    )


def _about(axis: int, angle: Floats) -> Floats:
    q = np.zeros((4, len(angle)))
    q[0], q[1 + axis] = np.cos(0.5 * angle), np.sin(0.5 * angle)
    return q


def _beta(u: Floats, a: float, b: float) -> Floats:
    """Quantile of the beta distribution."""
    from scipy.special import betaincinv

    x: Floats = betaincinv(a, b, u)
    return x


def _speeds(scenario: Scenario, draws: Draws) -> Floats:
    """Truncated lognormal by its quantile function."""
    from scipy.special import ndtr, ndtri

    s = scenario.speed
    if s.sd_ln == 0.0:
        return np.full_like(draws.uniform("speed"), s.median)
    low, high = (ndtr(np.log(x / s.median) / s.sd_ln) for x in (s.low, s.high))
    x: Floats = s.median * np.exp(s.sd_ln * ndtri(low + (high - low) * draws.uniform("speed")))
    return np.clip(x, s.low, s.high)


def _attitudes(scenario: Scenario, draws: Draws) -> tuple[Floats, NDArray[np.bool_]]:
    """Quaternions (4, n) at first touch, and which crashes tumble."""
    a = scenario.attitude
    mode = draws.uniform("attitude.mode") * (a.nose + a.tumble + a.flat)
    tumbling = (mode >= a.nose) & (mode < a.nose + a.tumble)
    flat = mode >= a.nose + a.tumble
    # Nose first: pitched down by 20-60 deg from the path's horizontal part; y is left, so +pitch is nose
    # down.
    pitch = np.radians(a.pitch_low + (a.pitch_high - a.pitch_low) * draws.uniform("attitude.pitch"))
    roll = np.radians(a.roll_sd * draws.normal("attitude.roll"))
    nose = _times(_about(1, pitch), _about(0, roll))
    # Any attitude: uniform rotation (Shoemake, Graphics Gems III, 1992).
    u1, u2, u3 = (draws.uniform(f"attitude.any{i}") for i in range(3))
    p, q = np.sqrt(1.0 - u1), np.sqrt(u1)
    t2, t3 = 2.0 * np.pi * u2, 2.0 * np.pi * u3
    free = np.array([q * np.cos(t3), p * np.sin(t2), p * np.cos(t2), q * np.sin(t3)])
    # Level or upside down, any heading.
    tilt_x = np.radians(a.flat_sd * draws.normal("attitude.tilt_x"))
    tilt_y = np.radians(a.flat_sd * draws.normal("attitude.tilt_y"))
    over = np.where(draws.uniform("attitude.over") < 0.5, 0.0, np.pi)
    heading = _about(2, 2.0 * np.pi * draws.uniform("attitude.heading"))
    level = _times(_times(_times(heading, _about(1, tilt_y)), _about(0, tilt_x)), _about(0, over))
    chosen = np.where(tumbling, free, np.where(flat, level, nose))
    return chosen / np.linalg.norm(chosen, axis=0), tumbling


@physics
def _place(
    craft: Craft, kinds: Ints, rows: Floats, state: Floats, pick: Floats, closing: Floats, first: Ints
) -> None:
    """Move each quad along its path to first touch; shift bars sideways so that they hit (see ``sample``)."""
    n = len(craft.area)
    xyz, side, gap = np.zeros((n, 3)), np.zeros(n), np.zeros(n)
    for c in range(len(kinds)):
        r = rotation(state[6, c], state[7, c], state[8, c], state[9, c])
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
                gap[i] = (xyz[i, 0] * ax + xyz[i, 1] * ay + xyz[i, 2] * az) / -along
            hit = int(np.argmin(gap))
            time = gap[hit] - 1e-9 / -along
            state[0, c], state[1, c], state[2, c] = vx * time, vy * time, vz * time
            nx, ny, nz = ax, ay, az
        else:
            radius = rows[6, c]
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
            best, hit = np.inf, 0
            for i in range(n):
                off = side[i] - offset
                if abs(off) < radius:
                    ahead = xyz[i, 0] * fx + xyz[i, 1] * fy + xyz[i, 2] * fz
                    travel = -np.sqrt(radius * radius - off * off) - ahead
                    if travel < best:
                        best, hit = travel, i
            # The bar stands at the origin, the quad is moved across and back along the path.
            back = best - 1e-9
            time = back / size
            state[0, c] = vx * time - offset * sx
            state[1, c] = vy * time - offset * sy
            state[2, c] = vz * time - offset * sz
            px, py, pz = state[0, c] + xyz[hit, 0], state[1, c] + xyz[hit, 1], state[2, c] + xyz[hit, 2]
            t = px * ax + py * ay + pz * az
            nx, ny, nz = px - t * ax, py - t * ay, pz - t * az
            size = np.sqrt(nx * nx + ny * ny + nz * nz)
            nx, ny, nz = nx / size, ny / size, nz / size
        wx, wy, wz = state[10, c], state[11, c], state[12, c]
        bx, by, bz = craft.position[hit, 0], craft.position[hit, 1], craft.position[hit, 2]
        tx, ty, tz = wy * bz - wz * by, wz * bx - wx * bz, wx * by - wy * bx
        ux = vx + r[0] * tx + r[1] * ty + r[2] * tz
        uy = vy + r[3] * tx + r[4] * ty + r[5] * tz
        uz = vz + r[6] * tx + r[7] * ty + r[8] * tz
        closing[c] = -(nx * ux + ny * uy + nz * uz)
        part = 0
        while craft.start[part + 1] <= hit:
            part += 1
        first[c] = part


def sample(scenario: Scenario, craft: Craft, seed: int, crashes: NDArray[np.int64]) -> Starts:
    """Draw the initial conditions of the crashes with the given global numbers.

    Where a bar is met is uniform over the silhouette: the union over the contact points of the strips of one
    bar's width, seen along the path.
    """
    draws, n = Draws(seed, crashes), len(crashes)
    share = np.cumsum(scenario.shares)
    which = np.minimum(np.searchsorted(share, draws.uniform("obstacle")), len(share) - 1).astype(np.int32)
    kinds = np.array([SHAPES[o.kind] for o in scenario.obstacles], dtype=np.int32)[which]
    surfaces = np.array([SURFACES.index(o.surface) for o in scenario.obstacles], dtype=np.int32)[which]
    names = np.array([o.kind for o in scenario.obstacles])[which]
    a = scenario.approach
    steep = np.radians(a.low + (a.high - a.low) * _beta(draws.uniform("approach.angle"), a.a, a.b))
    descent = np.radians(np.clip(a.descent + a.descent_sd * draws.normal("approach.descent"), -80.0, 80.0))
    path = -np.where(names == "ground", steep, descent)
    speed = _speeds(scenario, draws)
    rows = np.zeros((PARAMS, n))
    # Ground faces up; a wall faces the path at the drawn angle, to the left or the right.
    turned = np.where(draws.uniform("approach.side") < 0.5, -1.0, 1.0)
    across = np.radians(a.across * (2.0 * draws.uniform("branch.yaw") - 1.0))
    path = np.where(names == "wall", -np.abs(descent) * 0.5, path)
    zero, one = np.zeros(n), np.ones(n)
    directions = {
        "ground": (zero, zero, one),
        "wall": (-np.sin(steep), turned * np.cos(steep), zero),
        "pole": (zero, zero, one),
        "branch": (np.sin(across), np.cos(across), zero),
    }
    for kind, direction in directions.items():
        rows[3:6] = np.where(names == kind, np.array(direction), rows[3:6])
    low, high = (np.array([o.radius[i] for o in scenario.obstacles])[which] for i in (0, 1))
    rows[6] = np.where(kinds == CYLINDER, low + (high - low) * draws.uniform("radius"), 0.0)
    state = np.zeros((13, n))
    state[3], state[5] = speed * np.cos(path), speed * np.sin(path)
    state[6:10], tumbling = _attitudes(scenario, draws)
    sd = np.where(tumbling, scenario.spin.tumble_sd, scenario.spin.calm_sd)
    for i, axis in enumerate("xyz"):
        state[10 + i] = sd * draws.normal(f"spin.{axis}")
    closing, first = np.zeros(n), np.zeros(n, dtype=np.int32)
    _place(craft, kinds, rows, state, draws.uniform("offset"), closing, first)
    return Starts(which, kinds, surfaces, rows, state, closing, first)
