"""The quad as a glTF binary (GLB, ISO/IEC 12113) for the 3D view: one node a part.

glTF is in metres with y up and the front towards +z. A quad's x (forward), y (left), z (up) therefore becomes
z, x, y: a cyclic change of axes, so that no part is mirrored.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.pictures import ramp

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.build.solids import Mesh

__all__ = ["TO_GLTF", "glb", "to_gltf"]

TO_GLTF = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
"""Rotation from the frame of the quad to the frame of glTF."""


def to_gltf(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (n, 3) of the quad, m, in the frame of glTF."""
    turned: NDArray[np.float64] = points @ TO_GLTF.T
    return turned


def glb(
    quad: Quad,
    shade: Mapping[str, float] | None = None,
    more: Sequence[tuple[str, Mesh, Mapping[str, Any]]] = (),
) -> bytes:
    """The quad as GLB.

    Args:
        quad: what to draw; parts without a shape are left out.
        shade: place on the ramp, 0 (pale) to 1 (ink), by part name; parts it does not name are pale. None
            gives every part the same quiet tone.
        more: further bodies: name, shape in the frame of the quad, and extras, of which "shade" is drawn.

    Returns:
        The file. Each node is named after its part; its extras carry label, kind, mass (kg) and shade.
    """
    import trimesh
    from trimesh.visual import material, texture

    # trimesh annotates only some of its functions.
    paint: Any = material.PBRMaterial
    cover: Any = texture.TextureVisuals

    scene: Any = trimesh.Scene()

    def add(name: str, vertices: NDArray[np.float64], faces: Any, extras: Mapping[str, Any]) -> None:
        colour = [*ramp.grey(float(extras["shade"])), 1.0]
        mesh = trimesh.Trimesh(to_gltf(vertices), faces, process=False)
        mesh.visual = cover(
            material=paint(
                name=name,
                baseColorFactor=[round(255 * c) for c in colour],
                metallicFactor=0.0,
                roughnessFactor=0.9,
            )
        )
        scene.add_geometry(mesh, geom_name=name, node_name=name, metadata=dict(extras))

    for part in quad.parts:
        if not len(part.faces):
            continue
        place = 0.15 if shade is None else float(shade.get(part.name, 0.0))
        known = {"label": part.label, "kind": part.kind, "mass": part.mass, "shade": place}
        add(part.name, part.vertices, part.faces, known)
    for name, shape, extras in more:
        add(name, shape.vertices, shape.faces, extras)
    return bytes(scene.export(file_type="glb", include_normals=False))
