"""The camera cradle: fixed tilt and recess, made from the build's own sizes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, SheetError
from crashworthy.placement.camera import Pose
from crashworthy.placement.gates import check
from crashworthy.placement.printed import CLEAR, WALL, Printed, bar, finish, slab
from crashworthy.quantities import DEG, MM

if TYPE_CHECKING:
    from crashworthy.build.quad import Part, Quad

__all__ = ["camera_cradle"]

PILOT: Final = 2.7
"""Hole that an M3 screw cuts its thread into, mm (common practice, no source)."""

GRIP: Final = 11.0
"""How much of the camera body's depth the cradle holds, mm (assumption)."""


def _floor_under(quad: Quad, x: float, y: float, z: float) -> Part | None:
    """The highest lying plate below a point (mm)."""
    best: Part | None = None
    for part in quad.parts:
        if part.kind != "plate":
            continue
        low, high = part.vertices.min(axis=0) / MM, part.vertices.max(axis=0) / MM
        lying = high[2] - low[2] < min(high[0] - low[0], high[1] - low[1])
        over = lying and high[2] < z and low[0] <= x <= high[0] and low[1] <= y <= high[1]
        if over and (best is None or high[2] > best.vertices[:, 2].max() / MM):
            best = part
    return best


def camera_cradle(quad: Quad, recess: float | None = None, tilt: float | None = None) -> Printed:
    """A cradle that holds the camera at a fixed tilt and recess above the plate below it.

    A floor, a front with the lens hole and, where a plate above leaves room, a roof; as wide as the camera
    where something stands beside it, with side walls and M2 screws where nothing does; a wedge
    below for two M3
    screws through the plate. All of it is one outline along y, so it prints lying on its side.

    Args:
        quad: with a camera.
        recess: mm; the sheet's by default.
        tilt: deg; the sheet's by default.

    Raises:
        SheetError: there is no camera or no plate below it, or a gate refuses the shape.
    """
    camera = quad.sheet.camera
    if camera is None:
        raise SheetError(Problem("there is no camera", "describe it under [camera]", field="camera"))
    pose = Pose.of(camera, recess, tilt)
    at = camera.at
    tilt = at.tilt if tilt is None else tilt
    front = pose.front / MM
    depth, width, height = camera.body
    floor = _floor_under(quad, front[0] - camera.lens_l - depth / 2, at.y, at.z)
    if floor is None:
        raise SheetError(
            Problem(
                "no plate lies below the camera to screw a cradle to", "give a plate that reaches under it"
            )
        )
    z0 = float(floor.vertices[:, 2].max() / MM)
    c, s = math.cos(tilt * DEG), math.sin(tilt * DEG)

    def place(along: float, up: float) -> tuple[float, float]:
        return front[0] + along * c - up * s, front[2] + along * s + up * c

    face, half = -camera.lens_l, height / 2 + CLEAR
    rear = face - min(depth, GRIP)
    walled = _free_width(quad, front, width) >= width + 2 * (CLEAR + WALL)
    inside = width + 2 * CLEAR if walled else width
    wide = inside + 2 * WALL if walled else inside

    def rect(a0: float, a1: float, u0: float, u1: float) -> Any:
        return [place(a0, u0), place(a1, u0), place(a1, u1), place(a0, u1)]

    back, ahead = place(rear, -half - WALL / 2), place(face + WALL, -half - WALL / 2)
    lowest = min(place(face - depth, -half)[1], place(rear, -half)[1] - 1.2)
    if lowest < z0:
        raise SheetError(
            Problem(
                f"at {tilt:g} deg the camera comes {z0 - lowest:.1f} mm too near the {floor.label}",
                "raise the camera (camera.at.z), or tilt less",
                field="camera.at.z",
            )
        )
    x_screw = ahead[0] - 4.0
    slope = (ahead[1] - back[1]) / max(ahead[0] - back[0], 1e-6)
    deep = min(8.0, ahead[1] - 4.0 * slope - z0 - 1.0)
    if deep < 4.5:
        raise SheetError(
            Problem(
                f"at {tilt:g} deg only {max(0.0, deep):.1f} mm are left under the camera for a "
                f"screw, 4.5 mm are needed",
                "raise the camera (camera.at.z)",
                field="camera.at.z",
            )
        )
    ceiling = _ceiling_over(quad, front[0] - camera.lens_l - depth / 2, at.y, at.z)
    roofed = max(place(a, half + WALL)[1] for a in (rear, face + WALL)) < ceiling - 0.2
    shell = slab(rect(rear, face + WALL + CLEAR, -half - WALL, half + WALL), wide, at.y)
    shell -= slab(
        rect(rear - 1, face + CLEAR, -half, half if roofed else half + 50),
        inside + (0 if walled else 2),
        at.y,
    )
    solid = shell + slab([back, ahead, (ahead[0], z0), (back[0], z0)], wide, at.y)
    solid -= slab(
        rect(face + CLEAR - depth - 2, face + CLEAR, -half, half), inside + (0 if walled else 2), at.y
    )
    solid = solid.trim_by_plane((0.0, 0.0, 1.0), z0).trim_by_plane((0.0, 0.0, -1.0), -(ceiling - 0.2))
    screws = [np.array([x_screw, at.y + side * (wide / 2 - 4.0), z0]) for side in (-1, 1)]
    for screw in screws:
        solid -= bar(PILOT, screw - np.array([0, 0, 1]), screw + np.array([0, 0, deep]))
    axis = pose.axis
    solid -= bar(camera.lens_d + 2 * CLEAR, front - (camera.lens_l + 0.5) * axis, front + 5 * axis)
    genus = 1
    if walled:
        middle = front + (face - min(depth, GRIP) / 2) * axis
        solid -= bar(2.2, middle - np.array([0, wide, 0]), middle + np.array([0, wide, 0]))
        genus += 2
    thick = float(np.ptp(floor.vertices[:, 2]))
    down = np.array([0.0, 0.0, -1.0])
    up = np.array([0.0, 1.0, 0.0])
    posed = _posed(quad, front[0], tilt)
    gates = check(
        solid,
        genus=genus,
        up=up,
        holds=posed,
        around=[p for p in quad.parts if p.kind not in ("camera", "lens")],
        drivers=[(p * MM + thick * down, down, 3 * MM) for p in screws],
        through=(floor.name,),
    )
    used = at.edge_x - front[0]
    side = "side walls with M2 screws" if walled else "held sideways by what stands beside it"
    return finish(
        "camera-cradle",
        f"camera cradle at {tilt:g} deg, recess {used:.1f} mm, {side}",
        solid,
        gates,
        up,
        "TPU 95A, 0.2 mm layers, 3 walls, 40 % fill, lying on its side; drill the plate 3.2 mm "
        "(common practice, no source)",
        holds=("camera", "lens"),
        edits=(("camera.at.recess", round(float(used), 3)), ("camera.at.tilt", float(tilt))),
    )


def _ceiling_over(quad: Quad, x: float, y: float, z: float) -> float:
    """Underside, mm, of the lowest lying plate above a point; infinite without one."""
    found = math.inf
    for part in quad.parts:
        if part.kind != "plate":
            continue
        low, high = part.vertices.min(axis=0) / MM, part.vertices.max(axis=0) / MM
        lying = high[2] - low[2] < min(high[0] - low[0], high[1] - low[1])
        if lying and low[2] > z and low[0] <= x <= high[0] and low[1] <= y <= high[1]:
            found = min(found, float(low[2]))
    return found


def _posed(quad: Quad, front_x: float, tilt: float) -> list[Part]:
    """Camera and lens at the recess and tilt of the cradle."""
    from crashworthy.build.equipment import equipment

    camera = quad.sheet.camera
    assert camera is not None  # noqa: S101 - asked by the caller
    at = camera.at.model_copy(update={"recess": camera.at.edge_x - front_x, "tilt": tilt})
    sheet = quad.sheet.model_copy(update={"camera": camera.model_copy(update={"at": at})})
    return [d.finish() for d in equipment(sheet) if d.kind in ("camera", "lens")]


def _free_width(quad: Quad, front: Any, width: float) -> float:
    """Width, mm, between what stands beside the camera; at most three times the camera's."""
    free = 1.5 * width
    for part in quad.parts:
        if part.kind not in ("plate", "standoff") or not len(part.vertices):
            continue
        low, high = part.vertices.min(axis=0) / MM, part.vertices.max(axis=0) / MM
        if (
            low[0] < front[0]
            and high[0] > front[0] - 30
            and low[2] < front[2] < high[2]
            and (low[1] > 0 or high[1] < 0)
        ):
            free = min(free, float(min(abs(low[1]), abs(high[1]))))
    return 2 * free
