"""Closed meshes of the simple shapes a quad is made of. Lengths in m, faces outward.

Round shapes are regular prisms of equal area (``mass.equal_area``), so volumes are those of the circles.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from crashworthy.build.mass import equal_area

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["SIDES", "Mesh", "box", "frame_to", "lathe", "loft", "merge", "prism", "rotation", "tube"]

SIDES: Final = 24
"""Sides of a round shape."""

_BOX_FACES: Final = (
    (0, 2, 1),
    (1, 2, 3),
    (4, 5, 6),
    (5, 7, 6),
    (0, 1, 4),
    (1, 5, 4),
    (2, 6, 3),
    (3, 6, 7),
    (0, 4, 2),
    (2, 4, 6),
    (1, 3, 5),
    (3, 7, 5),
)
"""Faces of the eight corners numbered x + 2 y + 4 z."""


class Mesh(NamedTuple):
    """Vertices (v, 3) m and faces (f, 3), outward."""

    vertices: Floats
    faces: Ints

    def moved(self, turn: ArrayLike | None = None, offset: ArrayLike = (0.0, 0.0, 0.0)) -> Mesh:
        """Turn (3, 3) first, then move; a mirror keeps its faces outward."""
        vertices, faces = self.vertices, self.faces
        if turn is not None:
            matrix = np.asarray(turn, dtype=float)
            vertices = vertices @ matrix.T
            if np.linalg.det(matrix) < 0:
                faces = faces[:, ::-1]
        return Mesh(vertices + np.asarray(offset, dtype=float), np.ascontiguousarray(faces))


def merge(*meshes: Mesh) -> Mesh:
    """Several bodies as one mesh."""
    start = np.cumsum([0, *(len(m.vertices) for m in meshes)])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + np.int32(s) for m, s in zip(meshes, start, strict=False)]).astype(np.int32),
    )


def rotation(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Floats:
    """Turns about x, then y, then z by angles in rad, as a (3, 3) matrix.

    A positive turn about y lowers the nose.
    """
    cx, sx, cy, sy, cz, sz = (f(a) for a in (x, y, z) for f in (math.cos, math.sin))
    rx = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    ry = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    rz = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    turned: Floats = rz @ ry @ rx
    return turned


def frame_to(axis: ArrayLike) -> Floats:
    """A rotation (3, 3) that takes +z to ``axis``, chosen the same for mirrored axes."""
    w = np.asarray(axis, dtype=float)
    w = w / np.linalg.norm(w)
    if np.hypot(w[0], w[1]) < 1e-12:
        return np.eye(3) if w[2] > 0 else np.diag([1.0, -1.0, -1.0])
    u = np.cross([0.0, 0.0, 1.0], w)
    u /= np.linalg.norm(u)
    return np.column_stack([u, np.cross(w, u), w])


def box(size: ArrayLike, centre: ArrayLike = (0.0, 0.0, 0.0)) -> Mesh:
    """A box of size (3,) m about ``centre``."""
    half = np.asarray(size, dtype=float) / 2.0
    signs = np.array([[x, y, z] for z in (-1, 1) for y in (-1, 1) for x in (-1, 1)], dtype=float)
    return Mesh(signs * half + np.asarray(centre, dtype=float), np.array(_BOX_FACES, dtype=np.int32))


def loft(rings: Floats) -> Mesh:
    """A skin through (m, k, 3) rings, capped flat at both ends.

    Rings run counter-clockwise seen against the direction from first to last.
    """
    m, k, _ = rings.shape
    i = np.arange(k)
    j = (i + 1) % k
    faces: list[Ints] = []
    for s in range(m - 1):
        lo, hi = s * k, (s + 1) * k
        faces.append(np.column_stack([lo + i, lo + j, hi + j]))
        faces.append(np.column_stack([lo + i, hi + j, hi + i]))
    fan = np.column_stack([np.zeros(k - 2, dtype=int), i[1:-1], i[2:]])
    faces.append(fan[:, ::-1])
    faces.append((m - 1) * k + fan)
    return Mesh(rings.reshape(-1, 3), np.concatenate(faces).astype(np.int32))


def lathe(profile: ArrayLike, n: int = SIDES) -> Mesh:
    """A body of revolution about z from (radius, z) points, bottom to top; closes flat at both ends."""
    outline = np.asarray(profile, dtype=float)
    turn = 2.0 * np.pi * (np.arange(n) + 0.5) / n
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    rings = [np.column_stack([ring * equal_area(float(r), n), np.full(n, float(z))]) for r, z in outline]
    return loft(np.stack(rings))


def tube(path: ArrayLike, diameter: float, n: int = 10) -> Mesh:
    """A round tube along (m, 3) points, mitred at the bends, cut square where a bend is too tight."""
    points = np.asarray(path, dtype=float)
    span = np.diff(points, axis=0)
    length = np.linalg.norm(span, axis=1)
    step = span / length[:, None]
    turn = 2.0 * np.pi * (np.arange(n) + 0.5) / n
    radius = equal_area(diameter / 2.0, n)
    circle = radius * np.column_stack([np.cos(turn), np.sin(turn)])

    def start(k: int) -> list[Floats]:
        return [points[k] + circle @ frame_to(step[k])[:, :2].T]

    runs: list[Mesh] = []
    rings = start(0)
    for k in range(1, len(points)):
        before = step[k - 1]
        last = k == len(points) - 1
        normal = before if last else before + step[k]
        half = 0.0 if last else 0.5 * math.acos(float(np.clip(before @ step[k], -1.0, 1.0)))
        # A mitre longer than half a leg would turn the skin inside out.
        tight = not last and radius * math.tan(half) > 0.45 * min(length[k - 1], length[k])
        normal = before if tight else normal / np.linalg.norm(normal)
        # Slide each line of the tube along its own direction until it meets the mitre plane.
        flat = rings[-1] - points[k]
        rings.append(points[k] + flat - np.outer(flat @ normal / (before @ normal), before))
        if last or tight:
            runs.append(loft(np.stack(rings)))
            rings = [] if last else start(k)
    return merge(*runs)


def prism(shape: Any, low: float, high: float) -> Mesh:
    """Extrude a shapely polygon or multipolygon (m) from z = low to z = high.

    Raises:
        ValueError: the polygon is empty or cannot be triangulated.
    """
    pieces = list(getattr(shape, "geoms", [shape]))
    return merge(*(_prism(piece, low, high) for piece in pieces))


def _prism(polygon: Any, low: float, high: float) -> Mesh:
    import shapely
    from shapely.geometry.polygon import orient

    if polygon.is_empty or not polygon.area > 0.0:
        raise ValueError("the outline encloses no area")
    polygon = orient(polygon)
    rings = [np.asarray(r.coords)[:-1, :2] for r in (polygon.exterior, *polygon.interiors)]
    flat = np.concatenate(rings)
    ends = np.cumsum([len(r) for r in rings])
    # A constrained Delaunay triangulation keeps every vertex, collinear ones too, so caps and walls share
    # all their edges.
    try:
        triangles = shapely.get_coordinates(shapely.constrained_delaunay_triangles(polygon))
    except shapely.errors.GEOSException as error:
        raise ValueError("the outline is too thin somewhere to be cut into triangles") from error
    index = {(x, y): i for i, (x, y) in enumerate(flat.tolist())}
    caps = np.array(
        [index[x, y] for x, y in triangles.reshape(-1, 4, 2)[:, :3].reshape(-1, 2).tolist()]
    ).reshape(-1, 3)
    a, b, c = (flat[caps[:, i]] for i in range(3))
    clockwise = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) < (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    caps[clockwise] = caps[clockwise][:, ::-1]
    n = len(flat)
    walls = []
    start = 0
    for end in ends:
        i = np.arange(start, end)
        j = np.append(i[1:], start)
        walls += [np.column_stack([i, j, j + n]), np.column_stack([i, j + n, i + n])]
        start = int(end)
    vertices = np.concatenate(
        [np.column_stack([flat, np.full(n, low)]), np.column_stack([flat, np.full(n, high)])]
    )
    faces = np.concatenate([caps[:, ::-1], caps + n, *walls]).astype(np.int32)
    return Mesh(vertices, faces)
