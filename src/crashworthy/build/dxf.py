"""Plate outlines from DXF drawings.

Lines, arcs, circles, ellipses, splines and polylines may come in any order and number. They are flattened
to chords, ends closer than ``SNAP`` are joined, closed loops are found, and material lies where a point is
inside an odd number of loops (even-odd rule): an outline, its holes, islands inside the holes, and so on.
"""

from __future__ import annotations

import logging
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import DrawingError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["SIZE_MAX", "SNAP", "UNITS", "layer_of", "outline"]

UNITS: Final = {
    1: 25.4,
    2: 304.8,
    4: 1.0,
    5: 10.0,
    6: 1000.0,
    8: 25.4e-6,
    9: 25.4e-3,
    10: 914.4,
    13: 1e-3,
    14: 100.0,
}
"""mm per drawing unit by the $INSUNITS code: inch, foot, mm, cm, m, microinch, mil, yard, micron, dm."""

SNAP: Final = 0.05
"""Gaps up to this many mm between ends are closed."""

SIZE_MAX: Final = 20_000_000
"""A larger drawing, in bytes, is refused."""

SHAPES_MAX: Final = 5_000
"""A drawing with more lines and curves is refused."""

EXTENT: Final = (5.0, 500.0)
"""Smallest and largest extent of a plate, mm."""

FAR: Final = 1e5
"""Farthest from the drawing's origin that a plate may lie, mm."""

_SILENT: Final = logging.NullHandler()
"""Takes the reader's remarks on harmless flaws, which would otherwise be printed between ours."""

_DRAWN: Final = frozenset({"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE"})


def outline(
    path: str | Path, layer: str | None = None, tolerance: float = 0.02, scale: float | None = None
) -> Any:
    """Read a plate's outline.

    Args:
        path: the DXF file.
        layer: the layer to read; None for all.
        tolerance: largest distance between a curve and its chords, mm.
        scale: mm per drawing unit; None to use the drawing's own unit.

    Returns:
        A shapely Polygon with holes, mm; a MultiPolygon when there are islands inside holes.

    Raises:
        DrawingError: the file cannot be read as one closed outline of 5 to 500 mm.
    """
    path = Path(path)
    name = path.name
    document = _read(path, name)
    factor = scale if scale is not None else _unit(document, name)
    chains = _chains(document, layer, tolerance / factor, factor, name)
    _sized(chains, name)
    return _material(_snapped(chains), name)


def layer_of(path: str | Path) -> str | None:
    """The layer to read when nobody named one: None for all of them, else the one with the largest outline.

    Raises:
        DrawingError: neither all layers together nor any one of them holds an outline.
    """
    try:
        outline(path)
    except DrawingError as error:
        layers = {str(e.dxf.layer) for e in _read(Path(path), Path(path).name).modelspace()}
        best, largest = None, 0.0
        for layer in sorted(layers):
            try:
                area = outline(path, layer).area
            except DrawingError:
                continue
            if area > largest:
                best, largest = layer, area
        if best is None:
            raise error from None
        return best
    return None


def _fail(name: str, what: str, remedy: str) -> DrawingError:
    return DrawingError(Problem(what, remedy, file=name))


def _read(path: Path, name: str) -> Any:
    try:
        size = path.stat().st_size
    except OSError as error:
        reason = error.strerror or "it cannot be opened"
        raise _fail(name, f"the drawing cannot be read: {reason}", "check the file's name") from None
    if size > SIZE_MAX:
        raise _fail(
            name,
            f"the drawing has {size / 1e6:.0f} MB; at most {SIZE_MAX / 1e6:.0f} are read",
            "export the plate's outline alone",
        )
    from ezdxf.filemanagement import readfile

    logging.getLogger("ezdxf").addHandler(_SILENT)

    try:
        return readfile(path)
    except Exception as error:  # noqa: BLE001 - a damaged drawing can break the reader anywhere
        said = str(error).replace(str(path), name).splitlines()
        reason = said[0][:120] if said else type(error).__name__
        raise _fail(
            name,
            f"this is not a readable DXF drawing ({reason})",
            "export it again as ASCII DXF, R12 or later",
        ) from None


def _unit(document: Any, name: str) -> float:
    try:
        code = int(document.header.get("$INSUNITS", 0))
    except (TypeError, ValueError):
        code = 0
    if code not in UNITS:
        raise _fail(
            name,
            "the drawing does not say its unit"
            if code == 0
            else f"the drawing's unit code {code} is unknown",
            "give scale = mm per drawing unit in the plate's row (1 for mm, 25.4 for inch)",
        )
    return UNITS[code]


def _entities(document: Any, layer: str | None, name: str) -> list[Any]:
    from ezdxf.disassemble import recursive_decompose

    wanted = []
    layers = set()
    flat = (e for e in document.modelspace() if e.dxftype() in _DRAWN or e.dxftype() == "INSERT")
    for visited, entity in enumerate(recursive_decompose(flat)):
        # Block references can repeat a small block a billion times.
        if visited > 2 * SHAPES_MAX:
            raise _fail(name, "the drawing repeats its blocks endlessly", "export the plate's outline alone")
        if entity.dxftype() not in _DRAWN:
            continue
        layers.add(entity.dxf.layer)
        if layer is None or entity.dxf.layer.lower() == layer.lower():
            wanted.append(entity)
        if len(wanted) > SHAPES_MAX:
            raise _fail(
                name, f"the drawing has more than {SHAPES_MAX} lines", "export the plate's outline alone"
            )
    if not wanted:
        if layer is not None and layers:
            raise _fail(
                name,
                f"nothing is drawn on layer {layer!r}",
                f"the layers are: {', '.join(sorted(layers)[:20])}",
            )
        raise _fail(
            name, "the drawing holds no lines or curves", "export the plate's outline as lines and arcs"
        )
    return wanted


def _chains(document: Any, layer: str | None, chord: float, factor: float, name: str) -> list[Floats]:
    """Every shape as its chords, (m, 2) mm."""
    from ezdxf.path import make_path

    chains = []
    limit = 10.0 * EXTENT[1] / factor
    try:
        for entity in _entities(document, layer, name):
            path = make_path(entity)
            if len(path) == 0:
                continue
            control = np.array([(p.x, p.y, p.z) for p in path.control_vertices()])
            # Far-off curves would flatten to millions of chords before their size could be judged.
            if not np.isfinite(control).all() or np.abs(control - control[0]).max() > limit:
                raise _fail(
                    name,
                    "a curve is far larger than a plate",
                    f"draw within {EXTENT[1]:.0f} mm, and check the unit or scale",
                )
            chains.append(np.array([(p.x, p.y) for p in path.flattening(chord)]) * factor)
    except DrawingError:
        raise
    except Exception as error:  # noqa: BLE001 - a damaged curve can break the geometry library anywhere
        raise _fail(
            name,
            f"a curve of the drawing is damaged ({type(error).__name__})",
            "draw it again or export anew",
        ) from None
    return chains


def _sized(chains: list[Floats], name: str) -> None:
    """Refuse what is not of a plate's size or lies absurdly far out, before any geometry is computed."""
    if not chains:
        return
    low = np.min([c.min(axis=0) for c in chains], axis=0)
    high = np.max([c.max(axis=0) for c in chains], axis=0)
    extent = high - low
    if not (np.isfinite(extent).all() and EXTENT[0] <= extent.max() <= EXTENT[1]):
        raise _fail(
            name,
            f"the drawing spans {extent[0]:.4g} x {extent[1]:.4g} mm; "
            f"plates span {EXTENT[0]:g} to {EXTENT[1]:g}",
            "check the drawing's unit, or give scale = mm per drawing unit",
        )
    if max(np.abs(low).max(), np.abs(high).max()) > FAR:
        raise _fail(
            name,
            f"the drawing lies more than {FAR / 1000:.0f} m away from its origin",
            "move the drawing near its origin",
        )


def _snapped(chains: list[Floats]) -> list[Floats]:
    """The chains with ends closer than ``SNAP`` moved to their common mean, rounded to 1 µm."""
    from scipy.spatial import cKDTree

    chains = [np.round(c, 3) for c in chains]
    open_ended = [c for c in chains if np.hypot(*(c[0] - c[-1])) > 0]
    if open_ended:
        ends = np.concatenate([c[[0, -1]] for c in open_ended])
        group = np.arange(len(ends))
        for i, j in sorted(cKDTree(ends).query_pairs(SNAP * (1 + 1e-9))):
            group[group == group[j]] = group[i]
        for label in np.unique(group):
            ends[group == label] = np.round(ends[group == label].mean(axis=0), 3)
        for k, chain in enumerate(open_ended):
            chain[0], chain[-1] = ends[2 * k], ends[2 * k + 1]
    return chains


def _material(chains: list[Floats], name: str) -> Any:
    """Even-odd material of the closed loops."""
    import shapely

    lines = [shapely.LineString(c) for c in chains if len(np.unique(c, axis=0)) > 1]
    if not lines:
        raise _fail(name, "the drawing holds no lines or curves", "export the outline as lines and arcs")
    noded = shapely.union_all(lines)
    polygons, _, dangles, _ = shapely.polygonize_full([noded])
    if not dangles.is_empty:
        raise _fail(name, f"the outline is open at {_loose_ends(dangles)}", _CLOSE)
    region = shapely.Polygon()
    for face in polygons.geoms:
        region = region.symmetric_difference(shapely.Polygon(face.exterior))
    pieces = [g for g in getattr(region, "geoms", [region]) if g.area > 1e-6]
    if not pieces:
        raise _fail(name, "no closed outline was found", _CLOSE)
    pieces.sort(key=lambda g: -g.area)
    hull = shapely.Polygon(pieces[0].exterior)
    apart = [g for g in pieces[1:] if not hull.covers(g)]
    if apart:
        x, y = apart[0].centroid.coords[0]
        raise _fail(
            name,
            f"{1 + len(apart)} separate outlines are drawn, one of them near ({x:.2f}, {y:.2f}) mm",
            "keep one plate in a drawing or layer, and name the layer in the plate's row",
        )
    result = pieces[0] if len(pieces) == 1 else shapely.MultiPolygon(pieces)
    if not (result.is_valid and math.isfinite(result.area)):
        raise _fail(name, "the outline crosses itself", "draw it as closed loops that do not touch")
    return result


_CLOSE: Final = (
    f"close the outline there (gaps up to {SNAP} mm are closed for you), "
    "or move construction lines to another layer and name the plate's layer"
)


def _loose_ends(dangles: Any) -> str:
    """Where lines end in the open: the ends that no other line shares."""
    ends: dict[tuple[float, float], int] = {}
    for line in dangles.geoms:
        for x, y in (line.coords[0][:2], line.coords[-1][:2]):
            ends[round(x, 2), round(y, 2)] = ends.get((round(x, 2), round(y, 2)), 0) + 1
    loose = sorted(p for p, n in ends.items() if n == 1)[:6]
    return ", ".join(f"({x:.2f}, {y:.2f})" for x, y in loose) + " mm"
