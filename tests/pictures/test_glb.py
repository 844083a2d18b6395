"""The 3D model: read back by trimesh, its nodes are the parts, in metres, y up, none mirrored."""

from __future__ import annotations

import io
import json
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import trimesh

from crashworthy.pictures.glb import TO_GLTF, glb, to_gltf

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad


def read(data: bytes) -> Any:
    """The scene in a GLB file."""
    return trimesh.load_scene(io.BytesIO(data), file_type="glb")


def test_each_part_with_a_shape_is_one_node(boxes: Quad) -> None:
    """Node names are part names; parts without a shape are left out."""
    scene = read(glb(boxes))
    assert set(scene.geometry) == {p.name for p in boxes.parts if len(p.faces)}


def test_shapes_come_back_in_metres_with_y_up(boxes: Quad) -> None:
    """Bounds and volumes survive the round trip to 1e-6 m; up becomes y, forward becomes z."""
    scene = read(glb(boxes))
    for name, mesh in scene.geometry.items():
        part = boxes.part(name)
        turned = to_gltf(part.vertices)
        np.testing.assert_allclose(mesh.bounds, [turned.min(0), turned.max(0)], rtol=0, atol=1e-6)
        mesh.merge_vertices()
        original = trimesh.Trimesh(part.vertices, part.faces)
        assert mesh.volume == pytest.approx(original.volume, rel=1e-4)
    battery = scene.geometry["battery"]
    assert battery.bounds[:, 1].mean() == pytest.approx(0.06, abs=1e-6)
    camera = scene.geometry["camera"]
    assert camera.bounds[:, 2].mean() == pytest.approx(0.07, abs=1e-6)


def test_the_change_of_axes_mirrors_nothing() -> None:
    """It is a rotation: orthogonal with determinant +1."""
    np.testing.assert_allclose(TO_GLTF @ TO_GLTF.T, np.eye(3), rtol=0, atol=1e-15)
    assert np.linalg.det(TO_GLTF) == pytest.approx(1.0, abs=1e-15)


def test_extras_carry_what_the_page_says(boxes: Quad) -> None:
    """Label, kind, mass and shade travel with the node."""
    data = glb(boxes, {"battery": 0.7})
    (length,) = struct.unpack("<I", data[12:16])
    nodes = {
        n["name"]: n.get("extras", {}) for n in json.loads(data[20 : 20 + length])["nodes"] if "mesh" in n
    }
    assert nodes["battery"] == {"label": "battery", "kind": "battery", "mass": 0.22, "shade": 0.7}
    assert nodes["camera"]["shade"] == 0.0


def test_more_shade_is_darker(boxes: Quad) -> None:
    """The colour in the file follows the ramp."""
    scene = read(glb(boxes, {"battery": 0.9, "camera": 0.2}))
    tone = {
        n: int(scene.geometry[n].visual.material.baseColorFactor[1]) for n in ("battery", "camera", "bottom")
    }
    assert tone["battery"] < tone["camera"] < tone["bottom"]


def test_equal_quads_give_equal_bytes(boxes: Quad) -> None:
    """The file depends on the quad and the shades alone."""
    assert glb(boxes, {"battery": 0.5}) == glb(boxes, {"battery": 0.5})
