"""Gates of a printed part: can it be printed, held and screwed? Each answers with its number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.overlaps import LIMIT as OVERLAP
from crashworthy.build.overlaps import manifold
from crashworthy.build.solids import Mesh
from crashworthy.placement.rays import Sight
from crashworthy.placement.skin import Skin
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Part

    Floats = NDArray[np.float64]

__all__ = ["MIN_WALL", "Gate", "as_mesh", "check", "wall"]

MIN_WALL: Final = 1.2e-3
"""Least wall, m: three lines of a 0.4 mm nozzle (common practice, no source)."""

_SOFT: Final = ("lead", "plug", "strap", "loose", "antenna", "prop", "screw")
"""Kinds that give way or pass through."""


@dataclass(frozen=True, slots=True)
class Gate:
    """One question to a shape.

    Attributes:
        name: what is asked.
        found: the answer with its number.
        passed: whether the shape may be printed as far as this goes.
    """

    name: str
    found: str
    passed: bool


def as_mesh(solid: Any) -> Mesh:
    """A manifold3d solid (mm) as a mesh in m."""
    made = solid.to_mesh64() if hasattr(solid, "to_mesh64") else solid.to_mesh()
    return Mesh(
        np.asarray(made.vert_properties, dtype=float)[:, :3] * MM, np.asarray(made.tri_verts).astype(np.int32)
    )


def wall(mesh: Mesh) -> float:
    """Wall thickness that all but one in a hundred places of the skin reach, m, along inward normals."""
    skin = Skin.of([("part", mesh)])
    a, b, c = skin.corners[:, 0], skin.corners[:, 1], skin.corners[:, 2]
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1) / 2
    step = (np.arange(1500) + 0.5) / 1500
    face = np.minimum(np.searchsorted(np.cumsum(area) / area.sum(), step), len(area) - 1)
    k = np.arange(1500) + 1
    u, v = (0.7548776662466927 * k) % 1.0, (0.5698402909980532 * k) % 1.0
    fold = u + v > 1.0
    u, v = np.where(fold, 1 - u, u)[:, None], np.where(fold, 1 - v, v)[:, None]
    inward = -normal[face] / (2 * area[face])[:, None]
    start = a[face] + u * (b - a)[face] + v * (c - a)[face]
    _, far, _ = Sight([("part", mesh)]).first(start, inward)
    found = far[np.isfinite(far)]
    return float(np.quantile(found, 0.01)) if len(found) else 0.0


def overhang(mesh: Mesh, up: Floats) -> float:
    """Share of the skin steeper than 45 degrees downwards and off the bed, printed with ``up`` upwards."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1)
    down = -(normal @ up) / np.maximum(area, 1e-30)
    height = ((a + b + c) / 3) @ up
    bed = (mesh.vertices @ up).min()
    return float(area[(down > np.sqrt(0.5)) & (height > bed + 1e-4)].sum() / area.sum())


def check(
    solid: Any,
    *,
    genus: int,
    up: Floats,
    holds: Sequence[Part],
    around: Sequence[Part],
    drivers: Sequence[tuple[Floats, Floats, float]] = (),
    through: Sequence[str] = (),
) -> tuple[Gate, ...]:
    """Ask a shape everything.

    Args:
        solid: manifold3d solid in mm, in the frame of the quad.
        genus: how many holes go through it by design.
        up: (3,) which way is up on the printer.
        holds: parts it holds and must not cut.
        around: the other parts of the quad.
        drivers: (screw head (3,) m, direction (3,) in which the driver comes out, screw diameter m).
        through: names of parts that a driver may pass (the plate the screw sits in).
    """
    mesh = as_mesh(solid)
    bodies = solid.decompose()
    found = int(bodies[0].genus()) if len(bodies) == 1 else -1
    thick = wall(mesh)
    gates = [
        Gate(
            "watertight", f"{solid.num_tri()} triangles, volume {solid.volume():.0f} mm³", solid.volume() > 0
        ),
        Gate("one body", f"{len(bodies)} bod{'y' if len(bodies) == 1 else 'ies'}", len(bodies) == 1),
        Gate("wall", f"{thick / MM:.2f} mm, at least {MIN_WALL / MM:g} mm", thick >= MIN_WALL),
        Gate("holes", f"{found} through, {genus} by design", found == genus),
    ]
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    for words, parts in (("clear of what it holds", holds), ("clear of the rest", around)):
        hits = []
        for part in parts:
            if part.kind in _SOFT or not len(part.faces):
                continue
            if (part.vertices.min(axis=0) > high).any() or (part.vertices.max(axis=0) < low).any():
                continue
            volume = float((solid ^ manifold(Mesh(part.vertices, part.faces))).volume())
            if volume > OVERLAP:
                hits.append(f"{part.label} by {volume:.0f} mm³")
        gates.append(Gate(words, "cuts " + ", ".join(hits) if hits else "nothing cut", not hits))
    if drivers:
        blocked = _blocked(solid, [p for p in around if p.name not in through], drivers)
        gates.append(Gate("room for the driver", blocked or f"{len(drivers)} screws free", not blocked))
    gates.append(
        Gate("overhangs", f"{100 * overhang(mesh, up):.0f} % of the skin, support there", passed=True)
    )
    return tuple(gates)


def _blocked(solid: Any, parts: Sequence[Part], drivers: Sequence[tuple[Floats, Floats, float]]) -> str:
    """The first thing that stands in a driver's way, or ""."""
    sights = (
        Sight([("it", as_mesh(solid))]),
        Sight([(p.label, Mesh(p.vertices, p.faces)) for p in parts if p.kind not in _SOFT and len(p.faces)]),
    )
    for head, way, diameter in drivers:
        side = np.cross(way, [1.0, 0.0, 0.0])
        side = side / np.linalg.norm(side) if np.linalg.norm(side) > 0.1 else np.array([0.0, 1.0, 0.0])
        other = np.cross(way, side)
        turn = np.linspace(0, 2 * np.pi, 8, endpoint=False)
        ring = (diameter / 2 + 1 * MM) * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * other)
        start = np.concatenate([ring, np.zeros((1, 3))]) + head + 0.2 * MM * way
        for sight in sights:
            part, far, _ = sight.first(start, np.tile(way, (9, 1)))
            near = far < 40 * MM
            if near.any():
                return f"{sight.names[int(part[near][0])]} is in the driver's way"
    return ""
