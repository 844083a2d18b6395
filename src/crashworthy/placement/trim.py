"""What to file off a plate so that it leaves the picture: the view's outline cut from the plate's."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.quantities import MM

if TYPE_CHECKING:
    from collections.abc import Iterable

    from crashworthy.build.quad import Part
    from crashworthy.placement.camera import CameraBench, Pose

__all__ = ["Trim", "trim_dxf_file", "trim_svg_file", "trims"]


@dataclass(frozen=True, slots=True)
class Trim:
    """A piece to take off one plate.

    Attributes:
        part, label: the plate.
        axes: which two of "xyz" the outlines are in.
        plate: outer outline of the plate, mm.
        cut: outlines of what to take off, mm.
        area: of the cut, mm².
        share: of the plate's area.
    """

    part: str
    label: str
    axes: str
    plate: tuple[tuple[float, float], ...]
    cut: tuple[tuple[tuple[float, float], ...], ...]
    area: float
    share: float

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "part": self.part,
            "axes": self.axes,
            "area_mm2": round(self.area, 1),
            "share": round(self.share, 4),
            "cut_mm": [[[round(a, 2), round(b, 2)] for a, b in ring] for ring in self.cut],
        }


def trims(bench: CameraBench, pose: Pose, nx: int = 81) -> tuple[Trim, ...]:
    """Cuts that clear every upright or lying plate from the picture, the largest first.

    Args:
        bench: the quad.
        pose: of the lens.
        nx: lines of sight across the picture.
    """
    view = bench.view(pose, nx)
    seen = {view.names[i] for i in np.unique(view.part) if i >= 0}
    rays = bench.lens.directions(nx) @ pose.turn.T
    found = [
        t for p in bench.quad.parts if p.name in seen and p.kind == "plate" and (t := _trim(p, pose, rays))
    ]
    return tuple(sorted(found, key=lambda t: -t.area))


def _trim(part: Part, pose: Pose, rays: Any) -> Trim | None:
    import shapely

    low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
    k = int(np.argmin(high - low))
    if k == 0:
        return None
    i, j = (0, 2) if k == 1 else (0, 1)
    flat = part.vertices[part.faces][:, :, [i, j]] / MM
    a, b = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    flat = flat[np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) > 1e-6]
    outline = shapely.union_all(shapely.polygons(flat), grid_size=1e-3)
    cuts = []
    for height in (low[k], high[k]):
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (height - pose.pupil[k]) / rays[..., k]
        good = np.isfinite(t) & (t > 0) & (t < 1.0)
        at = (pose.pupil + np.where(good, t, 0.0)[..., None] * rays)[..., [i, j]] / MM
        cell = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], axis=2)
        whole = good[:-1, :-1] & good[:-1, 1:] & good[1:, 1:] & good[1:, :-1]
        near = (cell.max(axis=2) >= flat.min(axis=(0, 1))).all(-1) & (
            cell.min(axis=2) <= flat.max(axis=(0, 1))
        ).all(-1)
        quads = shapely.polygons(cell[whole & near])
        cuts += [q for q in quads if q.is_valid and q.area > 0]
    cut = shapely.intersection(shapely.union_all(cuts, grid_size=1e-3), outline)
    pieces = [g for g in shapely.get_parts(cut) if g.geom_type == "Polygon" and g.area > 0.1]
    if not pieces:
        return None
    area = float(sum(g.area for g in pieces))
    outer = max(shapely.get_parts(outline), key=lambda g: g.area).exterior.coords
    return Trim(
        part.name,
        part.label,
        "xyz"[i] + "xyz"[j],
        tuple((float(x), float(y)) for x, y in outer),
        tuple(tuple((float(x), float(y)) for x, y in g.simplify(0.1).exterior.coords) for g in pieces),
        area,
        area / float(outline.area),
    )


def trim_svg_file(trim: Trim) -> bytes:
    """The plate and what to take off it, true to size: one unit is one millimetre; print at 100 %."""
    xs, ys = zip(*trim.plate, strict=True)
    x0, y1, margin = min(xs), max(ys), 5.0
    width, height = max(xs) - x0 + 2 * margin, y1 - min(ys) + 2 * margin

    def path(ring: Iterable[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{x - x0 + margin:.3f},{y1 - y + margin:.3f}" for x, y in ring) + "Z"

    cuts = "".join(f'<path d="{path(c)}" fill="#bbb" stroke="#000" stroke-width="0.2"/>' for c in trim.cut)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm" '
        f'viewBox="0 0 {width:.3f} {height:.3f}">'
        f"<title>Take {trim.area:.0f} mm2 off the {escape(trim.label)}</title>"
        f'<path d="{path(trim.plate)}" fill="none" stroke="#000" stroke-width="0.2"/>{cuts}</svg>'
    ).encode()


def trim_dxf_file(trim: Trim) -> bytes:
    """The same as DXF in mm: the plate on layer PLATE, what to take off on layer CUT."""
    import io

    import ezdxf
    from ezdxf import units

    doc = ezdxf.new("R2010")  # type: ignore[attr-defined] # the package re-exports it
    doc.units = units.MM
    for name in ("PLATE", "CUT"):
        doc.layers.add(name)
    space = doc.modelspace()
    space.add_lwpolyline(trim.plate, close=True, dxfattribs={"layer": "PLATE"})
    for ring in trim.cut:
        space.add_lwpolyline(ring, close=True, dxfattribs={"layer": "CUT"})
    text = io.StringIO()
    doc.write(text)
    return text.getvalue().encode()
