"""Plates and standoffs: outlines from rows or drawings, and the solids cut from them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.build.drafts import Draft, in_words
from crashworthy.build.mass import equal_area
from crashworthy.build.solids import Mesh, prism
from crashworthy.errors import Problem, SheetError
from crashworthy.quantities import GRAM, MM

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.build.frame_rows import Plate, Standoffs

__all__ = ["Lying", "circle", "plate", "plate_outline", "standoffs"]

HOLE_SIDES = 16
"""Sides of a hole's polygon; its area is the circle's."""


@dataclass(frozen=True, slots=True)
class Lying:
    """A lying plate's place, for what is clamped by it: names, height range and filled outline, m."""

    name: str
    low: float
    high: float
    filled: Any


def circle(x: float, y: float, diameter: float, n: int = HOLE_SIDES) -> Any:
    """A polygon of n sides with the circle's area."""
    import shapely

    turn = 2.0 * np.pi * (np.arange(n) + 0.5) / n
    radius = equal_area(diameter / 2.0, n)
    return shapely.Polygon(np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)]))


def plate_outline(row: Plate, folder: Path | None, field: str) -> Any:
    """The plate's outline with its openings, mm, before it is moved to its place.

    Raises:
        SheetError: the corners cross, or the openings leave nothing or cut it apart.
        DrawingError: the drawing cannot be read.
    """
    import shapely

    if row.dxf is not None:
        from crashworthy.build.dxf import outline

        if folder is None:
            raise SheetError(
                Problem(
                    "a drawing is named but no folder to find it in", "give the folder", field=f"{field}.dxf"
                )
            )
        shape = outline(folder / row.dxf, layer=row.layer, scale=row.scale)
    elif row.rect is not None:
        shape = _rounded(row.rect, row.corner)
    else:
        shape = shapely.Polygon(row.poly or row.side)
        if not shape.is_valid or shape.area < 1.0:
            raise SheetError(
                Problem(
                    "the outline crosses itself or encloses nothing",
                    "give the corners in order around the plate",
                    field=f"{field}.{'poly' if row.poly else 'side'}",
                )
            )
    if shape.area < 1.0:
        raise SheetError(
            Problem("the plate is smaller than 1 mm²", "check its sizes, mm", field=f"{field}.rect")
        )
    cuts = [circle(x, y, d) for x, y, d in row.holes]
    cuts += [shapely.box(x - a / 2, y - b / 2, x + a / 2, y + b / 2) for x, y, a, b in row.slots]
    if cuts:
        before = len(getattr(shape, "geoms", [shape]))
        shape = shape.difference(shapely.union_all(cuts))
        if shape.area < 1.0 or len(getattr(shape, "geoms", [shape])) > before:
            raise SheetError(
                Problem(
                    "its holes and slots cut the plate apart",
                    "check their places and sizes, mm",
                    field=f"{field}.{'holes' if row.holes else 'slots'}",
                )
            )
    return shape


def _rounded(size: tuple[float, float], corner: float) -> Any:
    import shapely

    a, b = size
    r = min(corner, 0.499 * min(a, b))
    if r < 0.01:
        return shapely.box(-a / 2, -b / 2, a / 2, b / 2)
    return shapely.box(-a / 2 + r, -b / 2 + r, a / 2 - r, b / 2 - r).buffer(r, quad_segs=6)


def plate(name: str, row: Plate, folder: Path | None) -> tuple[list[Draft], Lying | None]:
    """The drafts of one row (two for cheeks) and, for a lying plate, its place.

    Raises:
        SheetError, DrawingError: as ``plate_outline``.
    """
    import shapely
    from shapely import affinity

    field = f"plates.{name}"
    shape = plate_outline(row, folder, field)
    shape = affinity.translate(shape, *row.at) if row.side is None else shape
    shape = affinity.scale(shape, MM, MM, origin=(0, 0))
    mass = None if row.mass is None else row.mass * GRAM
    words = in_words(name)
    measures = {"thickness": row.t * MM}
    if row.side is None:
        mesh = _cut(shape, row.z * MM, (row.z + row.t) * MM, field)
        label = words if words.endswith("plate") else f"{words} plate"
        draft = Draft(name, label, "plate", row.material, field, mesh, mass, measures=measures)
        filled = shapely.union_all([shapely.Polygon(g.exterior) for g in getattr(shape, "geoms", [shape])])
        return [draft], Lying(name, row.z * MM, (row.z + row.t) * MM, filled)
    # The drawing's (x, z) becomes the quad's; thickness grows outwards from the inner face.
    inner = abs(row.y or 0.0) * MM
    upright = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
    if not row.y:
        half = row.t * MM / 2
        mesh = _cut(shape, -half, half, field).moved(upright)
        return [Draft(name, words, "plate", row.material, field, mesh, mass, measures=measures)], None
    left = _cut(shape, inner, inner + row.t * MM, field).moved(upright)
    drafts = []
    for suffix, side, mesh in (("l", "left", left), ("r", "right", left.moved(np.diag([1.0, -1.0, 1.0])))):
        label = f"{side} {words}"
        drafts.append(
            Draft(
                f"{name}_{suffix}", label, "plate", row.material, field, mesh, mass, measures=dict(measures)
            )
        )
    return drafts, None


def _cut(shape: Any, low: float, high: float, field: str) -> Mesh:
    try:
        return prism(shape, low, high)
    except ValueError as error:
        raise SheetError(
            Problem(str(error), "check the outline, its holes and slots, mm", field=field)
        ) from None


def standoffs(name: str, row: Standoffs) -> list[Draft]:
    """The standoffs of one row, mirrored pairs named _l and _r."""
    measures = {"diameter": row.d * MM, "length": row.h * MM, "bore": row.bore * MM}
    section = circle(0.0, 0.0, row.d * MM, 12)
    if row.bore:
        section = section.difference(circle(0.0, 0.0, row.bore * MM, 12))
    mesh = prism(section, row.z * MM, (row.z + row.h) * MM)
    drafts = []
    for i, (x, y) in enumerate(row.at, start=1):
        stem = name if len(row.at) == 1 else f"{name}_{i}"
        words = f"{in_words(name)} standoff" + ("" if len(row.at) == 1 else f" {i}")
        both = row.mirror and y != 0.0
        places = (("_l", " left", abs(y)), ("_r", " right", -abs(y))) if both else (("", "", y),)
        for suffix, side, place in places:
            label = f"{words},{side}" if side else words
            drafts.append(
                Draft(
                    stem + suffix,
                    label,
                    "standoff",
                    row.material,
                    f"standoffs.{name}",
                    mesh.moved(offset=(x * MM, place * MM, 0.0)),
                    None if row.mass is None else row.mass * GRAM,
                    measures=dict(measures),
                )
            )
    return drafts
