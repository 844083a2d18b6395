"""Parts that take up the same space, which real parts cannot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.quantities import MM

if TYPE_CHECKING:
    from crashworthy.build.drafts import Draft
    from crashworthy.build.solids import Mesh

__all__ = ["LIMIT", "manifold", "overlaps"]

LIMIT: Final = 1.0
"""Common volumes up to this many mm³ are rounding, not a mistake."""

_EXEMPT: Final = frozenset({"screw", "strap", "lead", "loose"})
"""Screws pass through what they hold; straps and leads give way."""


def manifold(mesh: Mesh) -> Any:
    """The mesh in mm as a manifold3d solid."""
    import manifold3d

    return manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.ascontiguousarray(mesh.vertices / MM), tri_verts=mesh.faces.astype(np.uint64)
        )
    )


def overlaps(drafts: list[Draft]) -> list[tuple[str, str, float]]:
    """Labels of parts that overlap by more than ``LIMIT`` and their common volume in mm³, largest first."""
    solid = [d for d in drafts if d.mesh is not None and d.kind not in _EXEMPT]
    shapes = [d.mesh for d in solid if d.mesh is not None]
    if not shapes:
        return []
    low = np.array([m.vertices.min(axis=0) for m in shapes])
    high = np.array([m.vertices.max(axis=0) for m in shapes])
    shared = np.minimum(high[:, None], high[None]) - np.maximum(low[:, None], low[None])
    # Boxes that share less than the limit cannot hold parts that share more.
    near = (shared > 1e-6).all(axis=2) & (np.prod(np.maximum(shared, 0.0), axis=2) > LIMIT * MM**3)
    made: dict[int, Any] = {}
    found = []
    for i, j in np.argwhere(np.triu(near, 1)):
        a, b = solid[i], solid[j]
        if a.weld and a.weld == b.weld:
            continue
        for k in (i, j):
            if k not in made:
                made[k] = manifold(shapes[k])
        volume = float((made[i] ^ made[j]).volume())
        if volume > LIMIT:
            found.append((a.label, b.label, volume))
    return sorted(found, key=lambda f: (-f[2], f[0], f[1]))
