"""Files dropped for a new quad: what each can stand in for, its unit, its bodies, and what is said of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.dropped import Drawing
from crashworthy.errors import Problem, StoreError

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.build.quad import Quad

__all__ = ["FileRows", "looked_at", "named", "rows_for", "told"]

METRES: Final = 0.8
"""A body whose longest side is below this was hardly drawn in mm: taken as metres."""

INCHES: Final = 6.0
"""Below this, in mm, it may have been drawn in inch; above 1000 nothing fits a quad."""


def looked_at(path: Path) -> Drawing:
    """What a dropped file stands in for, read once to see that it can be.

    Raises:
        StoreError: not a kind of file that is read.
        DrawingError: it cannot be read.
    """
    from crashworthy.build.dxf import layer_of
    from crashworthy.build.models import read_mesh
    from crashworthy.build.step import SUFFIXES
    from crashworthy.store.folder import DRAWING_SUFFIXES

    suffix = path.suffix.lower()
    if suffix not in DRAWING_SUFFIXES:
        kinds = ", ".join(DRAWING_SUFFIXES)
        raise StoreError(Problem(f"{path.name!r} is no drawing this tool reads", f"use one of {kinds}"))
    if suffix == ".dxf":
        layer_of(path)
        return Drawing("bottom", path.name)
    longest = float(np.ptp(read_mesh(path).vertices, axis=0).max())
    return Drawing("part_m" if longest < METRES and suffix not in SUFFIXES else "part", path.name)


def named(drawing: Drawing, path: Path, file: str) -> tuple[Drawing, ...]:
    """The rows that a file makes: one, or one a STEP body; a leaky one with the mass of its hull.

    Args:
        drawing: as dropped.
        path: where it lies.
        file: what the sheet will call it.

    Raises:
        DrawingError: it cannot be read.
    """
    from crashworthy.build.dxf import layer_of
    from crashworthy.build.models import hull_mass
    from crashworthy.build.step import SUFFIXES, bodies_of

    if not drawing.is_part:
        return (replace(drawing, file=file, layer=layer_of(path)),)
    bodies: list[str | None] = [None]
    if path.suffix.lower() in SUFFIXES:
        found = [b.name for b in bodies_of(path.read_bytes(), path.name)]
        bodies = [*found] if len(found) > 1 else bodies
    return tuple(
        replace(drawing, file=file, body=body, mass=hull_mass(path, drawing.scale, body)) for body in bodies
    )


def told(quad: Quad, drawings: tuple[Drawing, ...]) -> tuple[str, ...]:
    """Size and mass of every dropped body as it was taken, and what was assumed about it."""
    words = []
    rows = quad.sheet.imports
    for part in (p for p in quad.parts if p.name in rows):
        row = rows[part.name]
        size = 1e3 * np.ptp(part.vertices, axis=0)
        sides = " x ".join(f"{s:.3g}" for s in size)
        text = f"{part.label}: {sides} mm, {1e3 * part.mass:.3g} g as {row.material.upper()}"
        leaky = any(d.mass is not None and d.file == row.file and d.body == row.body for d in drawings)
        if leaky:
            text += "; it is not watertight, so shape and mass are of its convex hull: weigh it"
        elif float(size.max()) < INCHES and row.scale == 1.0:
            text += "; so small: was it drawn in inch?"
        words.append(f"{text}. Material is assumed, and its place: it lies where its file has it.")
    return tuple(words)


@dataclass(frozen=True, slots=True)
class FileRows:
    """A kept drawing in the words of a sheet.

    Attributes:
        words: what it holds, one sentence.
        lines: of TOML, to be copied into a sheet.
    """

    words: str
    lines: tuple[str, ...]


def rows_for(path: Path, file: str) -> FileRows:
    """What a drawing holds, and the lines of a sheet that would name it.

    Args:
        path: where it lies.
        file: what the sheet calls it.

    Raises:
        DrawingError: it cannot be read.
    """
    from crashworthy.build.dropped import body_rows
    from crashworthy.build.dxf import layer_of, outline
    from crashworthy.build.models import read_mesh
    from crashworthy.build.writing import in_toml

    if path.suffix.lower() == ".dxf":
        layer = layer_of(path)
        x0, y0, x1, y1 = outline(path, layer).bounds
        only = f', layer = "{layer}"' if layer else ""
        row = f'bottom = {{ dxf = "{file}"{only}, t = 2.5, z = -2.5 }}'
        return FileRows(f"An outline of {x1 - x0:.1f} x {y1 - y0:.1f} mm.", ("[plates]", row))
    drawings = named(looked_at(path), path, file)
    sizes = [drawings[0].scale * np.ptp(read_mesh(path, d.body).vertices, axis=0) for d in drawings]
    told_sizes = "; ".join(
        f"{d.body or path.name}: {' x '.join(f'{s:.3g}' for s in size)} mm"
        for d, size in zip(drawings, sizes, strict=True)
    )
    leaky = any(d.mass is not None for d in drawings)
    more = " It is not watertight: the mass below is of its convex hull; weigh it." if leaky else ""
    return FileRows(
        f"{told_sizes}.{more}",
        ("[imports]", *(f"{key} = {in_toml(row)}" for key, row, _ in body_rows(drawings))),
    )
