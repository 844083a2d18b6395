"""Straight lines of sight through a set of parts, by the ray caster Embree.

Embree works in single precision, so the scene is in mm and rays start a hair ahead of their place.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.quantities import MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.placement.skin import Shapes

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["Sight"]

_OFFSET: Final = 1e-3
"""How far ahead of its place a ray starts, mm."""


class Sight:
    """Parts that can be looked at; ``names`` tells what each part number means."""

    def __init__(self, shapes: Shapes) -> None:
        """Take closed meshes by name; an empty list blocks nothing."""
        self.names: tuple[str, ...] = tuple(dict.fromkeys(name for name, _ in shapes))
        index = {name: i for i, name in enumerate(self.names)}
        self._corners = (
            np.concatenate([m.vertices[m.faces] for _, m in shapes]) if shapes else np.zeros((0, 3, 3))
        )
        self._part: Ints = np.repeat(
            np.array([index[n] for n, _ in shapes], dtype=np.int32), [len(m.faces) for _, m in shapes]
        )
        self._scene: Any = None
        if len(self._part):
            # By name, because the library ships no types.
            scene: Any = importlib.import_module("embreex.rtcore_scene")
            meshes: Any = importlib.import_module("embreex.mesh_construction")
            self._scene = scene.EmbreeScene()
            meshes.TriangleMesh(self._scene, (self._corners / MM).astype(np.float32))
        cross = np.cross(self._corners[:, 1] - self._corners[:, 0], self._corners[:, 2] - self._corners[:, 0])
        self._normal = cross / np.maximum(np.linalg.norm(cross, axis=1, keepdims=True), 1e-30)

    def first(self, origins: Floats, directions: Floats) -> tuple[Ints, Floats, Floats]:
        """What each ray meets first.

        Args:
            origins: (n, 3) or (3,) m.
            directions: (n, 3) unit vectors.

        Returns:
            (n,) part numbers, -1 for open sky; (n,) distances, m, infinite for open sky; (n, 3) normals.
        """
        n = len(directions)
        part, far = np.full(n, -1, dtype=np.int32), np.full(n, np.inf)
        normal = np.zeros((n, 3))
        if self._scene is None or not n:
            return part, far, normal
        start = np.broadcast_to(origins, (n, 3)) / MM + _OFFSET * directions
        answer = self._scene.run(
            np.ascontiguousarray(start, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            output=1,
        )
        triangle = answer["primID"]
        met = triangle >= 0
        part[met] = self._part[triangle[met]]
        far[met] = (answer["tfar"][met] + _OFFSET) * MM
        normal[met] = self._normal[triangle[met]]
        return part, far, normal
