"""What the frames of a crash tell besides where the quad is: the push it feels, and how near each point is.

The kernel keeps place, attitude and tip deflections only. The push of the obstacle follows from Newton's
second law on the centre of gravity of core and tips; the travel of an obstacle that gives follows from that
push; the gaps of the contact points follow from both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from crashworthy.impact.jit import physics
from crashworthy.impact.obstacle import BOX, PLANE, Shape, gap_normal
from crashworthy.impact.press_parts import half_width
from crashworthy.impact.rigid import cross, into_body, rotation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["SUBSTEPS", "bends", "gaps", "pushes", "root_moments", "swings", "turned", "twists"]

SUBSTEPS = 10
"""Steps in which the travel of an obstacle is followed from frame to frame."""


def turned(q: Floats, v: Floats) -> Floats:
    """Body vectors (..., 3) seen in the world, for quaternions (..., 4) as w, x, y, z."""
    t = 2.0 * np.cross(q[..., 1:], v)
    seen: Floats = v + q[..., :1] * t + np.cross(q[..., 1:], t)
    return seen


def bends(craft: Craft, trace: Floats) -> Floats:
    """(frames, limbs, 3) movement of each limb's mass in the body frame, m, from the frames of a crash."""
    limbs = len(craft.tip_mass)
    u = trace[:, 8 : 8 + 3 * limbs].reshape(len(trace), limbs, 3)
    ways = np.concatenate([craft.side, craft.axis[:, None]], axis=1)
    moved: Floats = np.einsum("flj,ljk->flk", u, ways)
    return moved


def root_moments(craft: Craft, trace: Floats) -> Floats:
    """(frames, arms, 2) root moments by the bending of each arm, in plane and out of plane, N m."""
    limbs, arms = len(craft.tip_mass), len(craft.rotor)
    u = trace[:, 8 : 8 + 3 * limbs].reshape(len(trace), limbs, 3)[:, :arms, :2].copy()
    # The tip's mass sits above the arm's middle, so a twist moves it in plane without bending the arm.
    u[..., 0] += craft.rise * trace[:, 8 + 3 * limbs :]
    moments: Floats = u * craft.stiffness[:arms, :2] * craft.length[:, None]
    return moments


def twists(craft: Craft, trace: Floats) -> tuple[Floats, Floats]:
    """(frames, arms) twist of each arm about its axis, rad, and torque of its spring at the root, N m."""
    angle: Floats = trace[:, 8 + 3 * len(craft.tip_mass) :]
    torque: Floats = angle * craft.twist_stiffness
    return angle, torque


def pushes(craft: Craft, trace: Floats, state: Floats) -> Floats:
    """(frames, 3) force of the obstacle on the quad in the world, N, mean over a frame.

    Mass times the change of the velocity of the centre of gravity; gravity is not in the model.

    Args:
        craft: the quad.
        trace: (frames, 8 + 3 limbs + arms) of one crash, equally spaced in time.
        state: (13,) its initial conditions.
    """
    mass = craft.core_mass + float(craft.tip_mass.sum())
    tips = craft.tip + bends(craft, trace)
    offset = np.einsum("a,fak->fk", craft.tip_mass, tips) / mass
    middle = trace[:, 1:4] + turned(trace[:, 4:8], offset)
    speed = state[3:6] + turned(state[6:10], np.cross(state[10:13], offset[0]))
    push = np.zeros((len(trace), 3))
    if len(trace) < 2:
        return push
    h = trace[1, 0] - trace[0, 0]
    between = np.diff(middle, axis=0) / h
    push[0] = mass * (between[0] - speed) / (0.5 * h)
    push[1:-1] = mass * np.diff(between, axis=0) / h
    return push


def swings(kind: int, row: Floats, time: Floats, push: Floats) -> Floats:
    """(frames, 3) travel of the obstacle in the world, m; zero when it does not give.

    Args:
        kind: its shape.
        row: (16,) the obstacle.
        time: (frames,) s.
        push: (frames, 3) on the quad, N; the obstacle feels the opposite.
    """
    travel = np.zeros_like(push)
    lightness, stiffness, damping = row[12:15]
    if lightness <= 0.0 or len(time) < 2:
        return travel
    n = row[3:6]
    along = push @ n
    free = along[:, None] * n if kind == PLANE else push - along[:, None] * n
    dt = (time[1] - time[0]) / SUBSTEPS
    _swung(np.ascontiguousarray(free), float(dt), float(lightness), float(stiffness), float(damping), travel)
    return travel


def _swing(
    free: Floats, dt: float, lightness: float, stiffness: float, damping: float, travel: Floats
) -> None:
    for axis in range(3):
        x, v = 0.0, 0.0
        for frame in range(1, len(free)):
            for k in range(SUBSTEPS):
                share = (k + 0.5) / SUBSTEPS
                force = (1.0 - share) * free[frame - 1, axis] + share * free[frame, axis]
                v -= dt * lightness * (force + stiffness * x + damping * v)
                x += dt * v
            travel[frame, axis] = x


def _gaps(
    kind: int, row: Floats, trace: Floats, swing: Floats, moved: Floats, position: Floats, normal: Floats,
    blunt: Floats, shape: Floats, screw: Floats, limb: Ints, limbs: int, arms: int, craft: Craft,
    gap: Floats, facing: Floats, wide: Floats,
) -> None:  # fmt: skip
    for f in range(len(trace)):
        q = trace[f, 4], trace[f, 5], trace[f, 6], trace[f, 7]
        R = rotation(q)
        d = (
            row[0] + swing[f, 0] - trace[f, 1],
            row[1] + swing[f, 1] - trace[f, 2],
            row[2] + swing[f, 2] - trace[f, 3],
        )
        axis = into_body(R, (row[3], row[4], row[5]))
        across = axis
        if kind >= BOX:
            across = into_body(R, (row[7], row[8], row[9]))
        there = Shape(into_body(R, d), axis, across, cross(axis, across), row[6], row[10], row[11])
        for i in range(len(position)):
            x, y, z = position[i, 0], position[i, 1], position[i, 2]
            m = limb[i]
            if m >= 0:
                phi = shape[i]
                x += phi * moved[f, m, 0]
                y += phi * moved[f, m, 1]
                z += phi * moved[f, m, 2]
                if m < arms:
                    angle = trace[f, 8 + 3 * limbs + m]
                    x += angle * screw[i, 0]
                    y += angle * screw[i, 1]
                    z += angle * screw[i, 2]
            g, n = gap_normal(kind, there, (x, y, z))
            wide[f, i] = half_width(craft, i, n)
            gap[f, i] = g - wide[f, i]
            facing[f, i] = blunt[i] - (normal[i, 0] * n[0] + normal[i, 1] * n[1] + normal[i, 2] * n[2])


_compiled = physics(_gaps)
_swung = physics(_swing)


def gaps(craft: Craft, kind: int, row: Floats, trace: Floats, swing: Floats) -> tuple[Floats, Floats, Floats]:
    """Gap of every patch of skin in every frame, m (negative inside), and how squarely it faces the obstacle.

    Args:
        craft: the quad.
        kind: shape of the obstacle.
        row: (16,) the obstacle.
        trace: (frames, 8 + 3 limbs + arms) of one crash.
        swing: (frames, 3) travel of the obstacle, m.

    Returns:
        gap, facing, wide: (frames, points); the gap is that of the nearest slice of a patch, facing is 1 when
        the skin looks at the obstacle, below 0 when away; half of what the depths of its slices differ by, m.
    """
    points = len(craft.area)
    gap, facing, wide = (np.empty((len(trace), points)) for _ in range(3))
    part = np.repeat(np.arange(len(craft.radius)), np.diff(craft.start))
    limb = np.ascontiguousarray(craft.limb[part], dtype=np.int32)
    _compiled(
        int(kind), np.ascontiguousarray(row), np.ascontiguousarray(trace), np.ascontiguousarray(swing),
        np.ascontiguousarray(bends(craft, trace)), craft.position, craft.normal, craft.blunt, craft.shape,
        craft.screw, limb, len(craft.tip_mass), len(craft.rotor), craft, gap, facing, wide,
    )  # fmt: skip
    return gap, facing, wide
