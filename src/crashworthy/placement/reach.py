"""Reach radius: the largest ball and the largest pole that can touch a part, and from how many directions.

A ball of radius r that touches a part at p along the outward normal n has its centre at p + r n. It is clear
of a point q when |p + r n - q| >= r, so with w = q - p the largest ball that fits is

    r(p, n) = min over q with n·w > 0 of |w|² / (2 n·w)

(the medial ball of a surface point; compare Ma, Bae and Choi, The Visual Computer 28, 2012, recalled). For a
pole with its axis a across n the same holds for w without its part along a. A flat is a ball without bound.
Contacts are the support points of the part's hull for evenly spread directions, so that edges and corners
count from every side they can be met, and samples of its faces, so that hollow parts count too.

What is asked is whether an obstacle of that size fits where it touches, not whether it finds a way in from
outside; an open frame has few pockets closed enough for that to matter.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.placement.jit import kernel
from crashworthy.placement.skin import Skin, cloud

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["AXES", "LIMIT", "RADII", "SAMPLES", "Cloud", "Reach", "contacts", "reach", "reach_of"]

LIMIT: Final = 1.0
"""A ball of this radius, m, counts as a wall."""

SAMPLES: Final = 400
"""Directions in which a part's leading points are contacts."""

AXES: Final = 12
"""Axes of poles tried at each contact."""

RADII: Final = (5e-3, 20e-3, 60e-3)
"""Obstacles by which the open share is told: a twig, a branch or bar, a trunk or boulder, m (assumption)."""


@dataclass(frozen=True, slots=True)
class Reach:
    """How deep a part is hidden.

    Attributes:
        part: its name.
        ball: radius of the largest ball that can touch it, m; ``inf`` when a wall can.
        pole: radius of the largest pole, m; ``inf`` when a wall can, nan when not asked.
        open: share of all directions from which a ball of each of ``RADII`` can touch it.
        flat: share of directions from which a wall can.
    """

    part: str
    ball: float
    pole: float
    open: tuple[float, ...]
    flat: float

    def to_json(self) -> dict[str, Any]:
        """Plain data; what is unlimited is null."""

        def mm(r: float) -> float | None:
            return round(r * 1e3, 2) if np.isfinite(r) else None

        return {
            "part": self.part,
            "largest_ball_radius_mm": mm(self.ball),
            "largest_pole_radius_mm": mm(self.pole),
            "open_share": {f"{r * 1e3:g}": round(s, 5) for r, s in zip(RADII, self.open, strict=True)},
            "flat_share": round(self.flat, 5),
        }


@dataclass(frozen=True, slots=True, eq=False)
class Cloud:
    """Points of a skin, with their parts."""

    names: tuple[str, ...]
    points: Floats
    part: NDArray[np.int32]

    @classmethod
    def of(cls, skin: Skin, spacing: float = 3e-3) -> Cloud:
        """Sample a skin; see ``skin.cloud``."""
        points, part = cloud(skin, spacing)
        return cls(skin.names, points, part)


@kernel
def _balls(at: Floats, normal: Floats, points: Floats, far: Floats, limit: float, out: Floats) -> None:
    """Largest ball at each contact.

    ``points`` are sorted by ``far``, their distance from the contacts' middle, and ``at`` carries each
    contact's own distance last, so the search ends when nothing left can be near enough.
    """
    for k in range(len(at)):
        best = limit
        px, py, pz, nx, ny, nz = at[k, 0], at[k, 1], at[k, 2], normal[k, 0], normal[k, 1], normal[k, 2]
        off = at[k, 3]
        for q in range(len(points)):
            if far[q] - off > 2.0 * best:
                break
            wx, wy, wz = points[q, 0] - px, points[q, 1] - py, points[q, 2] - pz
            along = nx * wx + ny * wy + nz * wz
            if along > 1e-7:
                square = wx * wx + wy * wy + wz * wz
                if square < 2.0 * along * best:
                    best = square / (2.0 * along)
        out[k] = best


@kernel
def _poles(
    at: Floats, normal: Floats, points: Floats, axes: int, limit: float, enough: float, ball: Floats
) -> float:
    """Largest pole over all contacts and axes across each normal, at least ``enough``."""
    greatest = enough
    for k in range(len(at)):
        if ball[k] <= greatest:
            continue  # a pole touches no better than the ball of its radius
        px, py, pz, nx, ny, nz = at[k, 0], at[k, 1], at[k, 2], normal[k, 0], normal[k, 1], normal[k, 2]
        if abs(nz) < 0.9:
            ux, uy, uz = -ny, nx, 0.0
        else:
            ux, uy, uz = 0.0, -nz, ny
        size = np.sqrt(ux * ux + uy * uy + uz * uz)
        ux, uy, uz = ux / size, uy / size, uz / size
        vx, vy, vz = ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux
        for j in range(axes):
            c, s = np.cos(np.pi * j / axes), np.sin(np.pi * j / axes)
            ax, ay, az = c * ux + s * vx, c * uy + s * vy, c * uz + s * vz
            best = min(limit, ball[k])
            for q in range(len(points)):
                wx, wy, wz = points[q, 0] - px, points[q, 1] - py, points[q, 2] - pz
                along = nx * wx + ny * wy + nz * wz
                if along > 1e-7:
                    t = ax * wx + ay * wy + az * wz
                    square = wx * wx + wy * wy + wz * wz - t * t
                    if square < 2.0 * along * best:
                        best = square / (2.0 * along)
                        if best <= greatest:
                            break
            greatest = max(greatest, best)
    return greatest


def contacts(corners: Floats, directions: int = SAMPLES, faces: int = 120) -> tuple[Floats, Floats]:
    """Places (n, 3) and outward normals (n, 3) at which a part can be met.

    Args:
        corners: (t, 3, 3) its triangles, m.
        directions: leading points for so many directions, which come first.
        faces: further samples of its faces, by area.
    """
    n = fibonacci(directions)
    every = corners.reshape(-1, 3)
    leading = every[np.argmax(every @ n.T, axis=0)]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1)
    if not faces or area.sum() <= 0:
        return leading, n
    step = (np.arange(faces) + 0.5) / faces
    face = np.minimum(np.searchsorted(np.cumsum(area) / area.sum(), step), len(area) - 1)
    k = np.arange(faces) + 1
    u, v = (0.7548776662466927 * k) % 1.0, (0.5698402909980532 * k) % 1.0
    fold = u + v > 1.0
    u, v = np.where(fold, 1 - u, u)[:, None], np.where(fold, 1 - v, v)[:, None]
    a, b, c = corners[face, 0], corners[face, 1], corners[face, 2]
    return np.concatenate([leading, a + u * (b - a) + v * (c - a)]), np.concatenate(
        [n, cross[face] / area[face][:, None]]
    )


def reach_of(
    place: Floats, normal: Floats, points: Floats, *, axes: int = 0, limit: float = LIMIT
) -> tuple[Floats, float]:
    """Largest ball at each contact, and the largest pole over all of them (nan without ``axes``), m.

    Args:
        place: (n, 3) contacts, m.
        normal: (n, 3) outward unit normals.
        points: (m, 3) everything an obstacle must stay clear of, m.
        axes: axes of poles tried at each contact.
        limit: radius that counts as unlimited, m.
    """
    middle = place.mean(axis=0)
    distance = np.linalg.norm(points - middle, axis=1)
    order = np.argsort(distance)
    ordered, far = np.ascontiguousarray(points[order]), distance[order]
    own = np.linalg.norm(place - middle, axis=1)
    at, n = np.ascontiguousarray(np.column_stack([place, own])), np.array(normal, dtype=float)
    ball = np.empty(len(at))
    _balls(at, n, ordered, far, limit, ball)
    if not axes:
        return ball, float("nan")
    # The most open contacts first: the others are then soon told to be no better.
    best = np.argsort(-ball)
    pole = _poles(at[best], n[best], ordered, axes, limit, 0.0, ball[best])
    return ball, pole


def reach(skin: Skin, names: Sequence[str], *, axes: int = AXES, spacing: float = 3e-3) -> tuple[Reach, ...]:
    """Reach radius of some parts.

    Args:
        skin: the quad.
        names: parts to ask about; those without a shape are left out.
        axes: axes of poles tried at each contact; 0 to leave poles out.
        spacing: of the points that stand for the skin, m.
    """
    everything = Cloud.of(skin, spacing)

    def one(name: str) -> Reach:
        place, normal = contacts(skin.corners[skin.part == skin.names.index(name)])
        ball, pole = reach_of(place, normal, everything.points, axes=axes)
        by_direction = ball[:SAMPLES]
        return Reach(
            name,
            _unlimited(float(ball.max())),
            _unlimited(pole),
            tuple(float((by_direction >= r).mean()) for r in RADII),
            float((by_direction >= LIMIT).mean()),
        )

    with ThreadPoolExecutor(2) as pool:
        return tuple(pool.map(one, [n for n in names if n in skin.names]))


def _unlimited(radius: float) -> float:
    return float("inf") if radius >= LIMIT else radius
