"""Everything the frame carries: stack, camera, antennas, pack, leads, boxes and loose masses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.drafts import Draft, in_words
from crashworthy.build.solids import Mesh, box, frame_to, lathe, prism, rotation, tube
from crashworthy.quantities import DEG, GRAM, MM

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from crashworthy.build.equipment_rows import Antenna, Battery, Box, Camera, Lead, Stack
    from crashworthy.build.sheet import Sheet

__all__ = ["PLUG_SHARE", "equipment"]

PLUG_SHARE: Final = 0.4
"""Share of a lead's mass that its plug takes (assumption)."""

_LOW_TO_HIGH: Final = {"top": "bottom", "bottom": "top"}


def equipment(sheet: Sheet) -> list[Draft]:
    """The drafts of all equipment rows in the order of the sheet's reference."""
    drafts: list[Draft] = []
    if sheet.stack is not None:
        drafts += _stack(sheet.stack)
    if sheet.camera is not None:
        drafts += _camera(sheet.camera)
    for name, antenna in sheet.antennas.items():
        drafts.append(_antenna(name, antenna))
    if sheet.battery is not None:
        drafts += _battery(sheet.battery)
    for name, lead in sheet.leads.items():
        drafts += _lead(name, lead)
    for name, row in sheet.boxes.items():
        drafts.append(_box(name, row))
    drafts += _loose(sheet)
    return drafts


def _stack(row: Stack) -> list[Draft]:
    drafts = []
    z = row.z
    for board in row.boards:
        a, b, h = board.size
        mesh = box(np.array(board.size) * MM, np.array([*row.at, z + h / 2]) * MM)
        measures = {"length": a * MM, "width": b * MM, "height": h * MM, "soft_mount": float(row.soft)}
        words = in_words(board.name)
        label = words if words.endswith("board") else f"{words} board"
        drafts.append(
            Draft(
                board.name,
                label,
                "board",
                row.material,
                "stack.boards",
                mesh,
                board.mass * GRAM,
                measures=measures,
                weld="stack",
            )
        )
        z += h + row.gap
    return drafts


def _camera(row: Camera) -> list[Draft]:
    """Body and lens; the lens's front centre is the place the sheet gives, and the tilt turns about it."""
    front = np.array([row.at.edge_x - row.at.recess, row.at.y, row.at.z]) * MM
    turn = rotation(y=-row.at.tilt * DEG)
    depth, width, height = (v * MM for v in row.body)
    barrel = row.lens_l * MM
    body = box((depth, width, height), (-barrel - depth / 2, 0.0, 0.0)).moved(turn, front)
    lens = lathe([(row.lens_d * MM / 2, -barrel), (row.lens_d * MM / 2, 0.0)])
    lens = lens.moved(frame_to(turn @ np.array([1.0, 0.0, 0.0])), front)
    tilt = row.at.tilt * DEG
    return [
        Draft(
            "camera",
            "camera",
            "camera",
            row.material,
            "camera",
            body,
            row.mass * GRAM,
            measures={"depth": depth, "width": width, "height": height, "tilt": tilt},
            weld="camera",
        ),
        Draft(
            "lens",
            "camera lens",
            "lens",
            row.lens_material,
            "camera",
            lens,
            row.lens_mass * GRAM,
            measures={
                "diameter": row.lens_d * MM,
                "length": barrel,
                "recess": row.at.recess * MM,
                "tilt": tilt,
            },
            weld="camera",
        ),
    ]


def _antenna(name: str, row: Antenna) -> Draft:
    length, r = row.length * MM, row.d * MM / 2
    profile = [(r, 0.0), (r, length)]
    if row.head_d:
        head = min((row.head_l or row.head_d) * MM, length)
        wide = row.head_d * MM / 2
        start = length - head
        profile = [(wide, 0.0), (wide, length)]
        if start > 1e-6:
            profile = [(r, 0.0), (r, start), (wide, start), (wide, length)]
    mesh = lathe(profile, 12).moved(frame_to(row.dir), np.array(row.at) * MM)
    words = in_words(name)
    label = words if "antenna" in words else f"{words} antenna"
    measures = {"length": length, "diameter": row.d * MM, "head_diameter": row.head_d * MM}
    return Draft(
        name, label, "antenna", row.material, f"antennas.{name}", mesh, row.mass * GRAM, measures=measures
    )


def _battery(row: Battery) -> list[Draft]:
    """Pack, soft slabs and strap, built upwards from the resting face and mirrored when it hangs."""
    length, width, height = (v * MM for v in row.size)
    if row.long_axis == "y":
        length, width = width, length
    slab = row.shield_t * MM
    # Faces by where they are before any mirroring, so that "bottom" stays the lower face when hanging.
    faces = {_LOW_TO_HIGH.get(f, f) if row.under else f: f for f in row.shield}
    lift = slab if "bottom" in faces else 0.0
    middle = lift + height / 2
    flip = np.diag([1.0, 1.0, -1.0]) if row.under else np.eye(3)
    place = np.array(row.at) * MM

    def put(mesh: Mesh) -> Mesh:
        return mesh.moved(flip, place)

    pack = put(box((length, width, height), (0.0, 0.0, middle)))
    sizes = {"length": length, "width": width, "height": height, "cells": float(row.cells)}
    drafts = [
        Draft("battery", "battery", "battery", row.material, "battery", pack, row.mass * GRAM, measures=sizes)
    ]
    slabs = {
        "front": ((slab, width, height), (length / 2 + slab / 2, 0.0, middle)),
        "rear": ((slab, width, height), (-length / 2 - slab / 2, 0.0, middle)),
        "left": ((length, slab, height), (0.0, width / 2 + slab / 2, middle)),
        "right": ((length, slab, height), (0.0, -width / 2 - slab / 2, middle)),
        "top": ((length, width, slab), (0.0, 0.0, lift + height + slab / 2)),
        "bottom": ((length, width, slab), (0.0, 0.0, slab / 2)),
    }
    for local, shown in faces.items():
        size, centre = slabs[local]
        drafts.append(
            Draft(
                f"shield_{shown}",
                f"{shown} battery shield",
                "shield",
                row.shield_material,
                "battery.shield",
                put(box(size, centre)),
                measures={"thickness": slab},
            )
        )
    if row.strap is not None:
        drafts.append(_strap(row, faces, (width, height, lift), put))
    return drafts


def _strap(
    row: Battery, faces: Mapping[str, str], sizes: tuple[float, float, float], put: Callable[[Mesh], Mesh]
) -> Draft:
    import shapely

    assert row.strap is not None  # noqa: S101 - narrows the type for the checker
    width, height, lift = sizes
    slab, t, half = row.shield_t * MM, row.strap.t * MM, row.strap.width * MM / 2
    left = width / 2 + (slab if "left" in faces else 0.0)
    right = width / 2 + (slab if "right" in faces else 0.0)
    top = lift + height + (slab if "top" in faces else 0.0)
    arch = shapely.Polygon(
        [
            (left, 0.0),
            (left + t, 0.0),
            (left + t, top + t),
            (-right - t, top + t),
            (-right - t, 0.0),
            (-right, 0.0),
            (-right, top),
            (left, top),
        ]
    )
    # The arch's plane (y, z) becomes the quad's; its width lies along x.
    turned = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    mesh = put(prism(arch, -half, half).moved(turned))
    return Draft(
        "strap",
        "battery strap",
        "strap",
        "pa",
        "battery.strap",
        mesh,
        row.strap.mass * GRAM,
        measures={"width": 2 * half, "thickness": t},
    )


def _lead(name: str, row: Lead) -> list[Draft]:
    path = np.array(row.path) * MM
    words = in_words(name)
    label = words if "lead" in words or "cable" in words else f"{words} lead"
    share = PLUG_SHARE if row.plug is not None else 0.0
    field = f"leads.{name}"
    measures = {"diameter": row.d * MM, "retained": float(row.retained)}
    drafts = [
        Draft(
            name,
            label,
            "lead",
            row.material,
            field,
            tube(path, row.d * MM),
            row.mass * GRAM * (1 - share),
            measures=measures,
            weld=f"lead_{name}",
        )
    ]
    if row.plug is not None:
        step = path[-1] - path[-2]
        step /= np.linalg.norm(step)
        length, width, height = (v * MM for v in row.plug)
        # Columns: along the lead, sideways, and the height nearest to the quad's z.
        turn = frame_to(step)
        turn = np.column_stack([turn[:, 2], turn[:, 0], turn[:, 1]])
        mesh = box((length, width, height)).moved(turn, path[-1] + step * length / 2)
        sizes = {"length": length, "width": width, "height": height}
        drafts.append(
            Draft(
                f"{name}_plug",
                f"{words} plug",
                "plug",
                "pa",
                field,
                mesh,
                row.mass * GRAM * share,
                measures=sizes,
                weld=f"lead_{name}",
            )
        )
    return drafts


def _box(name: str, row: Box) -> Draft:
    size = np.array(row.size) * MM
    mesh = box(size, (0.0, 0.0, size[2] / 2)).moved(rotation(y=-row.tilt * DEG), np.array(row.at) * MM)
    measures = {
        "length": size[0],
        "width": size[1],
        "height": size[2],
        "holder_mass": row.holder * GRAM,
    }
    return Draft(
        name,
        in_words(name),
        "box",
        row.material,
        f"boxes.{name}",
        mesh,
        (row.mass + row.holder) * GRAM,
        measures={k: float(v) for k, v in measures.items()},
    )


def _loose(sheet: Sheet) -> list[Draft]:
    """Shapeless masses at the middle of the stack, or of the arms when there is none."""
    place = (0.0, 0.0, sheet.arms.t * MM / 2)
    if sheet.stack is not None:
        boards = sheet.stack.boards
        tall = sum(b.size[2] for b in boards) + sheet.stack.gap * (len(boards) - 1)
        x, y = sheet.stack.at
        place = (x * MM, y * MM, (sheet.stack.z + tall / 2) * MM)
    return [
        Draft(name, in_words(name), "loose", "pa", f"loose.{name}", None, grams * GRAM, place=place)
        for name, grams in sheet.loose.items()
    ]
