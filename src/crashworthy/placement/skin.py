"""The outside of a quad as one list of triangles that know their part; props spinning or stopped.

A spinning prop sweeps a disc, so it is replaced by one; a stopped one is its blades. Everything here is SI.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from crashworthy.build.solids import Mesh, lathe

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Part, Quad

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["FACES", "Props", "Skin", "cloud", "shapes_of", "skin_of"]

Props = Literal["disc", "blades"]

FACES: Final = ("front", "rear", "left", "right", "top", "bottom")
"""Sides of a pack."""

Shapes = list[tuple[str, Mesh]]
"""Closed meshes by name; several may share a name and then count as one."""


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """Triangles of a quad.

    Attributes:
        names: what each ``part`` index means.
        corners: (t, 3, 3) m, outward by the right-hand rule.
        part: (t,) index into ``names``.
        edges: (e, 2, 3) ends of the edges, each once, m.
        sides: (e, 2, 3) normals of the two faces at each edge.
        edge_part: (e,) index into ``names``.
    """

    names: tuple[str, ...]
    corners: Floats
    part: Ints
    edges: Floats
    sides: Floats
    edge_part: Ints

    @classmethod
    def of(cls, shapes: Iterable[tuple[str, Mesh]]) -> Skin:
        """Join closed meshes.

        Raises:
            ValueError: there is no triangle.
        """
        index: dict[str, int] = {}
        corners, part, edges, sides, owner = [], [], [], [], []
        for name, mesh in shapes:
            if not len(mesh.faces):
                continue
            i = index.setdefault(name, len(index))
            triangles = mesh.vertices[mesh.faces]
            normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
            corners.append(triangles)
            part.append(np.full(len(triangles), i, dtype=np.int32))
            ends, both = _edges(mesh, normal)
            edges.append(ends)
            sides.append(both)
            owner.append(np.full(len(ends), i, dtype=np.int32))
        if not corners:
            raise ValueError("nothing has a shape")
        return cls(
            tuple(index),
            np.ascontiguousarray(np.concatenate(corners)),
            np.concatenate(part),
            np.ascontiguousarray(np.concatenate(edges)),
            np.ascontiguousarray(np.concatenate(sides)),
            np.concatenate(owner),
        )

    def swapped(self, shapes: Shapes) -> Skin:
        """The same with the parts that ``shapes`` names in their new form; the others are not made again.

        Raises:
            KeyError: a name is not in the skin.
        """
        fresh = Skin.of(shapes)
        index = {name: i for i, name in enumerate(self.names)}
        to = np.array([index[name] for name in fresh.names], dtype=np.int32)
        kept, edges = ~np.isin(self.part, to), ~np.isin(self.edge_part, to)
        return Skin(
            self.names,
            np.concatenate([self.corners[kept], fresh.corners]),
            np.concatenate([self.part[kept], to[fresh.part]]),
            np.concatenate([self.edges[edges], fresh.edges]),
            np.concatenate([self.sides[edges], fresh.sides]),
            np.concatenate([self.edge_part[edges], to[fresh.edge_part]]),
        )

    def moved(self, turn: Floats) -> Skin:
        """The same turned (or mirrored) by a matrix (3, 3)."""
        mirrored = np.linalg.det(turn) < 0
        corners = self.corners @ turn.T
        if mirrored:
            corners = corners[:, ::-1]
        sides = self.sides @ turn.T
        return Skin(
            self.names,
            np.ascontiguousarray(corners),
            self.part,
            np.ascontiguousarray(self.edges @ turn.T),
            np.ascontiguousarray(sides),
            self.edge_part,
        )


def _edges(mesh: Mesh, normal: Floats) -> tuple[Floats, Floats]:
    """Edges (e, 2, 3) of a mesh and the normals (e, 2, 3) beside them; a free edge gets opposite normals."""
    faces = mesh.faces
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    face = np.tile(np.arange(len(faces)), 3)
    ordered = np.sort(pairs, axis=1)
    key = ordered[:, 0].astype(np.int64) * len(mesh.vertices) + ordered[:, 1]
    order = np.argsort(key, kind="stable")
    unique, first, count = np.unique(key[order], return_index=True, return_counts=True)
    del unique
    one = face[order[first]]
    other = np.where(count > 1, face[order[np.minimum(first + 1, len(order) - 1)]], -1)
    sides = np.stack([normal[one], np.where(other[:, None] >= 0, normal[other], -normal[one])], axis=1)
    return mesh.vertices[ordered[order[first]]], sides


def _disc(part: Part) -> Mesh:
    """The disc a prop sweeps: as wide and as thick as its mesh about the vertical axis through its hub."""
    low, high = part.vertices[:, 2].min(), part.vertices[:, 2].max()
    radius = float(np.hypot(*(part.vertices[:, :2] - part.centre[:2]).T).max())
    disc = lathe([(radius, float(low)), (radius, float(high))], 48)
    return disc.moved(offset=(float(part.centre[0]), float(part.centre[1]), 0.0))


def shapes_of(
    quad: Quad, props: Props = "blades", *, without: Sequence[str] = (), pack_faces: bool = False
) -> Shapes:
    """Shapes of a quad by part name.

    Args:
        quad: the build.
        props: "disc" while they spin, "blades" when stopped.
        without: names of parts, or kinds, to leave out.
        pack_faces: split the pack into its six faces, named "battery:front" and so on.
    """
    shapes: Shapes = []
    for part in quad.parts:
        if not len(part.faces) or part.name in without or part.kind in without:
            continue
        mesh = Mesh(part.vertices, part.faces)
        if part.kind == "prop" and props == "disc":
            mesh = _disc(part)
        if part.kind == "battery" and pack_faces:
            shapes += _pack_faces(part.name, mesh)
        else:
            shapes.append((part.name, mesh))
    return shapes


def _pack_faces(name: str, mesh: Mesh) -> Shapes:
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    axis = np.abs(normal).argmax(axis=1)
    side = 2 * axis + (normal[np.arange(len(normal)), axis] < 0)
    return [
        (f"{name}:{face}", Mesh(mesh.vertices, mesh.faces[side == i]))
        for i, face in enumerate(FACES)
        if (side == i).any()
    ]


def skin_of(quad: Quad, props: Props = "blades", *, pack_faces: bool = False) -> Skin:
    """The skin of a quad; see ``shapes_of``."""
    return Skin.of(shapes_of(quad, props, pack_faces=pack_faces))


def cloud(skin: Skin, spacing: float = 3e-3) -> tuple[Floats, Ints]:
    """Points (n, 3) spread over faces and along edges no farther apart than ``spacing``, and their parts."""
    a, b, c = skin.corners[:, 0], skin.corners[:, 1], skin.corners[:, 2]
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    number = np.where(area > 0, np.ceil(area / spacing**2), 0).astype(int)
    face = np.repeat(np.arange(len(number)), number)
    k = np.arange(len(face)) - np.repeat(np.cumsum(number) - number, number)
    # The additive recurrence of the plastic number spreads samples evenly without chance.
    u, v = (0.5 + 0.7548776662466927 * (k + 1)) % 1.0, (0.5 + 0.5698402909980532 * (k + 1)) % 1.0
    fold = u + v > 1.0
    u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
    inside = a[face] + u[:, None] * (b - a)[face] + v[:, None] * (c - a)[face]
    length = np.linalg.norm(skin.edges[:, 1] - skin.edges[:, 0], axis=1)
    # Edges between coplanar faces carry nothing that the faces do not.
    n1, n2 = skin.sides[:, 0], skin.sides[:, 1]
    cross = np.linalg.norm(np.cross(n1, n2), axis=1)
    flat = cross < 1e-6 * np.linalg.norm(n1, axis=1) * np.linalg.norm(n2, axis=1)
    steps = np.where(flat & (np.einsum("ij,ij->i", n1, n2) > 0), 0, np.ceil(length / spacing)).astype(int)
    edge = np.repeat(np.arange(len(steps)), steps)
    t = (np.arange(len(edge)) - np.repeat(np.cumsum(steps) - steps, steps)) / np.maximum(steps[edge], 1)
    along = skin.edges[edge, 0] + t[:, None] * (skin.edges[edge, 1] - skin.edges[edge, 0])
    ends = skin.edges[steps > 0, 1]
    points = np.concatenate([inside, along, ends])
    part = np.concatenate([skin.part[face], skin.edge_part[edge], skin.edge_part[steps > 0]])
    return np.ascontiguousarray(points), part.astype(np.int32)
