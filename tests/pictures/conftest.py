"""A small invented quad made of boxes and cylinders, enough for every picture."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import numpy as np
import pytest
import trimesh

from crashworthy.build.quad import CORE, CORNER_NAMES, CORNERS, ContactPoints, MassProperties, Part, Quad

if TYPE_CHECKING:
    from crashworthy.build.sheet import Sheet


def _part(name: str, label: str, kind: str, mesh: trimesh.Trimesh, mass: float, arm: int = CORE) -> Part:
    return Part(
        name=name,
        label=label,
        kind=kind,
        material="carbon_plate",
        mass=mass,
        centre=np.asarray(mesh.center_mass),
        inertia=np.eye(3) * 1e-6,
        vertices=np.asarray(mesh.vertices, dtype=float),
        faces=np.asarray(mesh.faces, dtype=np.int32),
        arm=arm,
    )


@pytest.fixture(scope="session")
def boxes() -> Quad:
    """Four box arms with motors, a plate with a window, a battery, a camera, and wiring without a shape."""
    parts: list[Part] = []
    for i, (corner, words) in enumerate(zip(CORNERS, CORNER_NAMES, strict=True)):
        x, y = (0.08 if corner[0] == "f" else -0.08), (0.08 if corner[1] == "l" else -0.08)
        arm = trimesh.creation.box((0.11, 0.015, 0.005))
        arm.apply_transform(trimesh.transformations.rotation_matrix(np.arctan2(y, x), [0, 0, 1]))
        arm.apply_translation((x / 2, y / 2, 0.0025))
        parts.append(_part(f"arm_{corner}", f"{words} arm", "arm", arm, 0.012, i))
        motor = trimesh.creation.cylinder(0.014, 0.019, sections=24)
        motor.apply_translation((x, y, 0.0145))
        parts.append(_part(f"motor_{corner}", f"{words} motor", "motor", motor, 0.033, i))
    parts.append(
        _part("bottom", "bottom plate", "plate", trimesh.creation.annulus(0.01, 0.03, 0.0025), 0.015)
    )
    battery = trimesh.creation.box((0.08, 0.036, 0.034))
    battery.apply_translation((-0.01, 0, 0.06))
    parts.append(_part("battery", "battery", "battery", battery, 0.22))
    camera = trimesh.creation.box((0.019, 0.019, 0.02))
    camera.apply_translation((0.07, 0, 0.02))
    parts.append(_part("camera", "camera", "camera", camera, 0.01))
    parts.append(
        Part(
            "wiring",
            "wiring",
            "loose",
            "copper",
            0.014,
            np.zeros(3),
            np.zeros((3, 3)),
            np.zeros((0, 3)),
            np.zeros((0, 3), np.int32),
        )
    )
    none = np.zeros(0)
    points = ContactPoints(
        np.zeros((0, 3)),
        none,
        np.zeros((0, 3)),
        np.zeros(0, np.int32),
        np.zeros(0, np.int32),
        none,
        np.zeros((0, 6)),
    )
    mass = sum(p.mass for p in parts)
    properties = MassProperties(mass, np.zeros(3), np.eye(3) * 1e-3)
    sheet = cast("Sheet", None)  # no picture reads the sheet
    return Quad("Boxes", "boxes", tuple(parts), (), (), points, properties, None, (), sheet, "0" * 64)
