"""Drawings and models written anew from their shapes, so that nothing but shape can be in them.

Drawing programs leave names, folders, printers, dates and remarks in their files. An outline and a mesh
know nothing of these: a DXF is written from the outlines that the sheet reads, a model from its faces. A STEP
file keeps its records without header and comments; of their texts those alone that name bodies and units.
"""

from __future__ import annotations

import io
import re
import struct
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.dxf import UNITS, outline
from crashworthy.build.models import read_mesh
from crashworthy.build.step import SUFFIXES as STEP

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from crashworthy.build.sheet import Sheet
    from crashworthy.build.solids import Mesh

__all__ = ["cleared"]

_MM: Final = next(code for code, mm in UNITS.items() if mm == 1.0)

_STEP_HEAD: Final = (
    b"ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
    b"FILE_NAME('','',(''),(''),'','','');\nFILE_SCHEMA((%s));\nENDSEC;\n"
)
_STEP_KEPT: Final = frozenset(
    (
        b"PRODUCT", b"NEXT_ASSEMBLY_USAGE_OCCURRENCE",
        b"MANIFOLD_SOLID_BREP", b"BREP_WITH_VOIDS", b"FACETED_BREP",
    )
)  # fmt: skip
"""Records whose texts are names of bodies; the texts of all others are left out."""

_STEP_RECORD: Final = re.compile(rb"#\d+\s*=\s*([!\w]*)\s*\((?:'(?:[^']|'')*+'|[^;'])*+;")
_STEP_PRODUCT: Final = re.compile(
    rb"(#\d+\s*=\s*PRODUCT\s*\(\s*)('(?:[^']|'')*+')\s*,\s*('(?:[^']|'')*+')\s*,\s*('(?:[^']|'')*+'|\$)"
)
_STEP_TEXT: Final = re.compile(rb"'(?:[^']|'')*+'")
_STEP_COMMENT: Final = re.compile(rb"('(?:[^']|'')*+')|/\*.*?\*/", re.DOTALL)


def cleared(sheet: Sheet, folder: Path) -> dict[str, bytes]:
    """Every file that a sheet names, by that name: shape alone, of STEP also the bodies' names.

    Args:
        sheet: the sheet.
        folder: where its files lie.

    Raises:
        DrawingError: one cannot be read.
    """
    found: dict[str, bytes] = {}
    for name in dict.fromkeys(p.dxf for p in sheet.plates.values() if p.dxf):
        rows = [p for p in sheet.plates.values() if p.dxf == name]
        found[name] = _dxf(folder / name, [(p.layer, p.scale) for p in rows])
    for row in sheet.imports.values():
        path = folder / row.file
        if path.suffix.lower() in STEP:
            found[row.file] = _step(path.read_bytes())
        else:
            found[row.file] = _model(read_mesh(path), path.suffix.lower())
    return found


def _dxf(path: Path, rows: list[tuple[str | None, float | None]]) -> bytes:
    """The outlines that plates read from a drawing, as closed polylines on the layers that they name."""
    lines: list[object] = [0, "SECTION", 2, "HEADER", 9, "$ACADVER", 1, "AC1009"]
    lines += [9, "$INSUNITS", 70, _MM, 0, "ENDSEC", 0, "SECTION", 2, "ENTITIES"]
    for layer, scale in dict.fromkeys(rows):
        shape = outline(path, layer=layer, scale=scale)
        for ring in _rings(shape):
            # The sheet's own scale is applied again when it is read.
            lines += [0, "POLYLINE", 8, layer or "0", 66, 1, 10, 0.0, 20, 0.0, 70, 1]
            for x, y in ring / (scale or 1.0):
                lines += [0, "VERTEX", 8, layer or "0", 10, repr(float(x)), 20, repr(float(y))]
            lines += [0, "SEQEND", 8, layer or "0"]
    lines += [0, "ENDSEC", 0, "EOF"]
    return ("\n".join(map(str, lines)) + "\n").encode()


def _rings(shape: Any) -> Iterator[Any]:
    for polygon in getattr(shape, "geoms", [shape]):
        for ring in (polygon.exterior, *polygon.interiors):
            yield np.asarray(ring.coords, dtype=np.float64)[:-1]


def _model(mesh: Mesh, suffix: str) -> bytes:
    """A mesh in the file's own unit and format."""
    if suffix == ".stl":
        corners = np.asarray(mesh.vertices, dtype="<f4")[mesh.faces]
        record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("pad", "<u2")])
        rows = np.zeros(len(corners), dtype=record)
        rows["corners"] = corners
        return bytes(80) + struct.pack("<I", len(rows)) + rows.tobytes()
    if suffix == ".obj":
        points = "".join("v " + " ".join(repr(float(x)) for x in v) + "\n" for v in mesh.vertices)
        faces = "".join(f"f {a} {b} {c}\n" for a, b, c in mesh.faces + 1)
        return (points + faces).encode()
    import trimesh

    out = io.BytesIO()
    trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(out, file_type="3mf")
    return out.getvalue()


def _step(raw: bytes) -> bytes:
    """A STEP file without header, comments and texts; its bodies and units keep their names."""
    plain = _STEP_COMMENT.sub(lambda m: m[1] or b"", raw)
    schema = re.search(rb"FILE_SCHEMA\s*\(\s*\(\s*('(?:[^']|'')*+')", plain)
    start = plain.find(b"DATA;")
    body = plain[max(start, 0) :]
    body = _names_alone(body)
    body = _STEP_PRODUCT.sub(lambda m: m[1] + m[3] + b"," + m[3] + b",''", body)
    return _STEP_HEAD % (schema[1] if schema else b"'AUTOMOTIVE_DESIGN'") + body


def _names_alone(body: bytes) -> bytes:
    """Records with the texts left in that name bodies or units, and no other."""
    made, at = [], 0
    for record in _STEP_RECORD.finditer(body):
        # A unit is part of a record without a name of its own.
        kept = record[1].upper() in _STEP_KEPT or (not record[1] and b"CONVERSION_BASED_UNIT" in record[0])
        made.append(_STEP_TEXT.sub(b"''", body[at : record.start()]))
        made.append(record[0] if kept else _STEP_TEXT.sub(b"''", record[0]))
        at = record.end()
    return b"".join((*made, _STEP_TEXT.sub(b"''", body[at:])))
