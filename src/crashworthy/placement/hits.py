"""Hit share: which part an obstacle on a random straight line touches first. Geometry only, no physics.

A line is a direction and a place across it. For each direction the skin is seen from where the obstacle
comes: triangles are rasterised into a depth image (no gaps, so no spike slips through), silhouette edges are
kept beside it at their exact places, and the image is dilated by the obstacle's own shape (grey-scale
dilation; Serra, Image Analysis and Mathematical Morphology, 1982, recalled). The highest dilated point is the
first contact. This is exact for a ball on a straight line but for the pixel: a deeper surface at the same
place across can never win. A pole sees a profile instead of an image; a flat touches the support point.

The share of a part is the area across which it is touched first over the area across which anything is, both
summed over the directions with their weights.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.placement.raster import cover, pole_cover, touch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.placement.skin import Skin

    Floats = NDArray[np.float64]

__all__ = [
    "DIRECTIONS",
    "FLAT_DIRECTIONS",
    "OBSTACLES",
    "Approaches",
    "HitShares",
    "Obstacle",
    "hit_shares",
    "line_touch",
]

DIRECTIONS: Final = 500
"""Directions of approach; 2000 differ from it by less than 0.001 in every share (measured)."""

FLAT_DIRECTIONS: Final = 20_000
"""Directions of a flat, whose shares cost next to nothing."""

TURN: Final = np.pi * 0.7548776662466927
"""Turn of a pole from one direction to the next, rad: out of step with the spiral of the directions."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Something that is met.

    Attributes:
        name: in words.
        kind: "spike", "ball", "pole" or "flat".
        radius: m; 0 for spike and flat.
        pixel: of the depth image, m.
        stride: pixels between the lines tried.
    """

    name: str
    kind: str
    radius: float = 0.0
    pixel: float = 2e-3
    stride: int = 1


OBSTACLES: Final = (
    Obstacle("spike", "spike"),
    Obstacle("10 mm twig end", "ball", 5e-3, 2e-3, 2),
    Obstacle("40 mm stone or stub", "ball", 20e-3, 4e-3, 2),
    Obstacle("120 mm boulder", "ball", 60e-3, 6e-3, 3),
    Obstacle("20 mm bar", "pole", 10e-3, 1e-3),
    Obstacle("flat", "flat"),
)
"""The obstacles shown; sizes are an assumption, there to be changed."""


@dataclass(frozen=True, slots=True, eq=False)
class Approaches:
    """Where obstacles come from.

    Attributes:
        directions: (n, 3) unit vectors from the quad towards the obstacle.
        weights: (n,) positive; only their ratios count.
        axes: (n, 3) axes of poles, or None for evenly turned ones.
    """

    directions: Floats
    weights: Floats
    axes: Floats | None = None

    @classmethod
    def uniform(cls, n: int = DIRECTIONS) -> Approaches:
        """Every direction alike."""
        return cls(fibonacci(n), np.ones(n))

    def first(self, n: int) -> Approaches:
        """The first ``n`` of them; meant for directions drawn by chance, which have no order."""
        return Approaches(self.directions[:n], self.weights[:n], None if self.axes is None else self.axes[:n])


@dataclass(frozen=True, slots=True, eq=False)
class HitShares:
    """Shares of first touch.

    Attributes:
        obstacle: what was met.
        names: of the parts.
        shares: (parts,) sum to one.
        areas: (parts,) mean area across which each is touched first, m² (for poles a width, m; for flats
            the share itself).
    """

    obstacle: Obstacle
    names: tuple[str, ...]
    shares: Floats
    areas: Floats

    def __getitem__(self, name: str) -> float:
        """Share of one part with all its faces; 0 for a part without a shape."""
        return float(
            sum(
                s
                for n, s in zip(self.names, self.shares, strict=True)
                if n.split(":")[0] == name or n == name
            )
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "obstacle": self.obstacle.name,
            "radius_mm": self.obstacle.radius * 1e3,
            "shares": {n: round(float(s), 6) for n, s in zip(self.names, self.shares, strict=True)},
        }


def _frames(directions: Floats, axes: Floats | None = None) -> Floats:
    """Right-handed frames (n, 3, 3): rows u, v, direction; u is the pole's axis when given."""
    d = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    if axes is None:
        other = np.where(np.abs(d[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
        u = np.cross(other, d)
        u /= np.linalg.norm(u, axis=1, keepdims=True)
        v = np.cross(d, u)
        turn = TURN * np.arange(len(d))[:, None]
        u = np.cos(turn) * u + np.sin(turn) * v
    else:
        u = axes - np.einsum("ij,ij->i", axes, d)[:, None] * d
        size = np.linalg.norm(u, axis=1, keepdims=True)
        bad = size[:, 0] < 1e-9  # a pole along its own path has no side to show: any will do
        u = np.where(bad[:, None], np.roll(d, 1, axis=1), u)
        u -= np.einsum("ij,ij->i", u, d)[:, None] * d
        u /= np.linalg.norm(u, axis=1, keepdims=True)
    return np.ascontiguousarray(np.stack([u, np.cross(d, u), d], axis=1))


def hit_shares(
    skin: Skin, obstacle: Obstacle, approaches: Approaches | None = None, threads: int = 2
) -> HitShares:
    """Shares of first touch of every part.

    Args:
        skin: the quad.
        obstacle: what is met.
        approaches: from where; evenly from everywhere by default.
        threads: how many to use; the result does not depend on it.

    Raises:
        ValueError: the kind of obstacle is unknown or its radius is negative.
    """
    if obstacle.kind not in ("spike", "ball", "pole", "flat") or obstacle.radius < 0:
        raise ValueError(f"cannot meet a {obstacle.kind} of radius {obstacle.radius}")
    if approaches is None:
        approaches = Approaches.uniform(FLAT_DIRECTIONS if obstacle.kind == "flat" else DIRECTIONS)
    if obstacle.kind == "flat":
        area = _flat(skin, approaches)
        return HitShares(obstacle, skin.names, area / area.sum(), area / approaches.weights.sum())
    frames = _frames(approaches.directions, approaches.axes)
    parts = len(skin.names)

    def run(some: Sequence[int]) -> Floats:
        out = np.zeros((len(some), parts))
        picked = np.ascontiguousarray(frames[some])
        if obstacle.kind == "pole":
            pole_cover(
                skin.edges, skin.edge_part, picked, float(obstacle.radius), obstacle.pixel, int(some[0]), out
            )
        else:
            cover(
                skin.corners,
                skin.part,
                skin.edges,
                skin.sides,
                skin.edge_part,
                picked,
                float(obstacle.radius),
                obstacle.pixel,
                obstacle.stride,
                int(some[0]),
                out,
            )
        return out

    chunks = np.array_split(np.arange(len(frames)), max(1, 4 * threads))
    with ThreadPoolExecutor(threads) as pool:
        per = np.concatenate(list(pool.map(run, [c for c in chunks if len(c)])))
    area = approaches.weights @ per / approaches.weights.sum()
    return HitShares(obstacle, skin.names, area / area.sum(), area)


def line_touch(
    skin: Skin,
    place: Floats,
    direction: Floats,
    radius: float,
    axis: Floats | None = None,
    pixel: float = 5e-4,
) -> str | None:
    """Part that one obstacle on one straight line touches first, or None.

    Args:
        skin: the quad.
        place: (3,) a point of the line of its centre, m.
        direction: (3,) unit vector from the quad towards the obstacle.
        radius: of the ball or pole, m.
        axis: (3,) of a pole, across the direction; None for a ball.
        pixel: m.
    """
    frame = _frames(direction[None], None if axis is None else axis[None])[0]
    u, v = float(frame[0] @ place), float(frame[1] @ place)
    hit = touch(
        skin.corners,
        skin.part,
        skin.edges,
        skin.sides,
        skin.edge_part,
        frame,
        u,
        v,
        float(radius),
        pixel,
        axis is not None,
    )
    return None if hit < 0 else skin.names[hit]


def _flat(skin: Skin, approaches: Approaches) -> Floats:
    """Weights of the directions in which each part leads the whole."""
    from scipy.spatial import ConvexHull

    points = skin.corners.reshape(-1, 3)
    hull = ConvexHull(points).vertices
    part = np.repeat(skin.part, 3)[hull]
    leading = part[np.argmax(points[hull] @ approaches.directions.T, axis=0)]
    area = np.bincount(leading, weights=approaches.weights, minlength=len(skin.names))
    return area.astype(np.float64)
