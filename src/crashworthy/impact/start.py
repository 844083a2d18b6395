"""From a scenario and crash numbers to the state at first touch.

Attitude, spin and path are drawn for the moment of first touch; the quad is then moved along its path, in
closed form, until the first point of its skin meets the obstacle. So no free flight is stepped.
World frame: z up, the flight path heads along +x.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from crashworthy.impact.obstacle import BOX, GAP, PARAMS, PLANE, RUBBLE, SHAPES, SURFACES
from crashworthy.impact.order import likeness
from crashworthy.impact.placing import place
from crashworthy.impact.sampler import Draws
from crashworthy.materials.table import value

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
        normal: (3, n) outward normal of the obstacle where it is touched.
        rank: (n,) a number that puts crashes that unfold alike side by side (``order.likeness``).
    """

    obstacle: Ints
    kinds: Ints
    surfaces: Ints
    rows: Floats
    state: Floats
    closing: Floats
    first: Ints
    normal: Floats
    rank: NDArray[np.int64]


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


def sample(scenario: Scenario, craft: Craft, seed: int, crashes: NDArray[np.int64]) -> Starts:
    """Draw the initial conditions of the crashes with the given global numbers.

    Where a bar is met is uniform over the silhouette: the union over the contact points of the strips of one
    bar's width, seen along the path. Spikes and stones are met by a point of the skin drawn by its area.
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
    falling = np.isin(names, ("ground", "rubble", "spike"))
    path = -np.where(falling, steep, descent)
    speed = _speeds(scenario, draws)
    rows = np.zeros((PARAMS, n))
    # Ground faces up; a wall faces the path at the drawn angle, to the left or the right.
    turned = np.where(draws.uniform("approach.side") < 0.5, -1.0, 1.0)
    across = np.radians(a.across * (2.0 * draws.uniform("branch.yaw") - 1.0))
    path = np.where(np.isin(names, ("wall", "net")), -np.abs(descent) * 0.5, path)
    zero, one = np.zeros(n), np.ones(n)
    level = (np.sin(across), np.cos(across), zero)
    upright = (zero, zero, one)
    facing = (-np.sin(steep), turned * np.cos(steep), zero)
    lean = np.radians(SPIKE_LEAN * np.sqrt(draws.uniform("spike.lean")))
    heading = 2.0 * np.pi * draws.uniform("spike.heading")
    rod = (np.sin(lean) * np.cos(heading), np.sin(lean) * np.sin(heading), -np.cos(lean))
    directions = {
        "ground": upright,
        "wall": facing,
        "net": facing,
        "pole": upright,
        "branch": level,
        "edge": level,
        "rail": level,
        "spike": rod,
        "rubble": upright,
        "gap": upright,
    }
    for kind, direction in directions.items():
        rows[3:6] = np.where(names == kind, np.array(direction), rows[3:6])

    def between(key: str, draw: str) -> Floats:
        low, high = (np.array([getattr(o, key)[i] for o in scenario.obstacles])[which] for i in (0, 1))
        x: Floats = low + (high - low) * draws.uniform(draw)
        return x

    rows[6] = np.where(kinds != PLANE, between("radius", "radius"), 0.0)
    state = np.zeros((13, n))
    state[3], state[5] = speed * np.cos(path), speed * np.sin(path)
    state[6:10], tumbling = _attitudes(scenario, draws)
    sd = np.where(tumbling, scenario.spin.tumble_sd, scenario.spin.calm_sd)
    for i, axis in enumerate("xyz"):
        state[10 + i] = sd * draws.normal(f"spin.{axis}")
    aim = _sections(kinds, names, rows, state, draws, between("size", "size"))
    _give(scenario, which, names, rows, between("free_length", "free_length"))
    closing, normal = np.zeros(n), np.zeros((3, n))
    first, touch = np.zeros(n, dtype=np.int32), np.zeros(n, dtype=np.int32)
    place(craft, kinds, rows, state, aim, draws.uniform("offset"), closing, first, touch, normal)
    rank = likeness(kinds.astype(np.int64) * 1000 + surfaces, state, normal, closing)
    return Starts(which, kinds, surfaces, rows, state, closing, first, normal, rank)


SPIKE_LEAN: Final = 20.0
"""Largest lean of a spike, degrees (assumption)."""


def _sections(
    kinds: Ints, names: NDArray[np.str_], rows: Floats, state: Floats, draws: Draws, size: Floats
) -> Floats:
    """Turn and size of sections, patterns and gaps; returns half the width by which a bar is aimed, m."""
    axis = rows[3:6]
    path = state[3:6] - np.sum(state[3:6] * axis, axis=0) * axis
    ahead = path / np.maximum(np.linalg.norm(path, axis=0), 1e-9)
    side = np.cross(axis.T, ahead.T).T
    # An edge turns one of its corners to the path, a rail anything; posts and stones stand where they stand.
    u = draws.uniform("section")
    angle = np.where(names == "edge", np.radians(20.0 + 50.0 * u), np.pi * u)
    angle = np.where(names == "gap", np.where(u < 0.5, 0.5, -0.5) * np.pi, angle)
    flat = np.where(np.abs(axis[2]) < 0.9, np.array([[0.0], [0.0], [1.0]]), np.array([[1.0], [0.0], [0.0]]))
    plain = np.cross(axis.T, flat.T).T
    plain /= np.linalg.norm(plain, axis=0)
    other = np.cross(axis.T, plain.T).T
    turned = np.cos(2.0 * angle) * plain + np.sin(2.0 * angle) * other
    section = np.cos(angle) * ahead + np.sin(angle) * side
    rows[7:10] = np.where(kinds == RUBBLE, turned, np.where((kinds == BOX) | (kinds == GAP), section, 0.0))
    third = np.cross(axis.T, rows[7:10].T).T
    stones = kinds == RUBBLE
    rows[10] = np.where((kinds == BOX) | (kinds == GAP) | stones, size, 0.0)
    rows[11] = np.where(kinds == BOX, size, 0.0)
    # The corner of an edge stands at the origin, so its middle lies behind it.
    rows[0:3] = np.where(names == "edge", size * (rows[7:10] - third), rows[0:3])
    shift = [(draws.uniform(f"rubble.{k}") - 0.5) * size for k in "xy"]
    rows[0:3] = np.where(stones, shift[0] * rows[7:10] + shift[1] * third, rows[0:3])
    spread = np.abs(np.sum(rows[7:10] * side, axis=0)) + np.abs(np.sum(third * side, axis=0))
    aim: Floats = rows[6] + np.where(names == "rail", size * spread, 0.0)
    return aim


def _give(scenario: Scenario, which: Ints, names: NDArray[np.str_], rows: Floats, free: Floats) -> None:
    """Moving mass, stiffness and damping of what gives; a branch is a cantilever of its free length."""
    mass = np.array([o.mass for o in scenario.obstacles])[which]
    stiffness = np.array([o.stiffness for o in scenario.obstacles])[which]
    quality = np.where(names == "branch", value("branch", "quality"), value("net", "quality"))
    bends = (names == "branch") & (free > 0.0)
    length = np.where(bends, free, 1.0)
    radius = np.maximum(rows[6], 1e-3)
    # k = 3 E I / L^3, and 33/140 of the branch's mass moves along (Rayleigh).
    wood = 3.0 * value("branch", "modulus") * np.pi * radius**4 / 4.0 / length**3
    moving = 33.0 / 140.0 * value("branch", "density") * np.pi * radius**2 * length
    nets = (names == "net") & (mass > 0.0)
    k = np.where(bends, wood, np.where(nets, stiffness, 0.0))
    m = np.where(bends, moving, mass)
    gives = bends | nets
    rows[12] = np.where(gives, 1.0 / np.maximum(m, 1e-6), 0.0)
    rows[13] = k
    rows[14] = np.where(gives, np.sqrt(k * m) / quality, 0.0)
