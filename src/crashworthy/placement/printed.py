"""Printed parts from the build's own sizes: camera cradle, antenna mount, lead guard.

Solids are made by manifold3d in mm in the frame of the quad. Every part goes through
``gates.check``; one that
fails is refused with the reason. Walls, clearances and screw sizes are common practice, no source.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build import mass as mass_of
from crashworthy.build.drafts import Draft, fixed
from crashworthy.build.points import contact_points
from crashworthy.build.quad import MassProperties
from crashworthy.errors import Problem, SheetError
from crashworthy.materials.table import value as density_of
from crashworthy.placement.gates import Gate, as_mesh
from crashworthy.quantities import GRAM, MM

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.build.sheet import Sheet
    from crashworthy.build.solids import Mesh

__all__ = ["KINDS", "Printed", "bar", "export", "finish", "in_place", "sheet_with", "slab", "with_printed"]

KINDS: Final = ("camera-cradle", "antenna-mount", "lead-guard")
"""What can be printed."""

CLEAR: Final = 0.3
"""Gap around what is held, mm (common practice, no source)."""

WALL: Final = 2.0
"""Wall, mm (common practice, no source)."""

ROUND: Final = 48
"""Sides of a printed round."""


@dataclass(frozen=True, slots=True, eq=False)
class Printed:
    """A part ready to print.

    Attributes:
        name: one of ``KINDS``.
        words: what it is, with its numbers.
        mesh: m, in the frame of the quad.
        up: (3,) which way is up on the printer.
        mass: solid, kg.
        material: key into the materials tables.
        gates: what was asked of it.
        settings: how to print it.
        holds: names of the parts it holds or guards.
        edits: (field of the sheet, value) that put what it holds into it.
    """

    name: str
    words: str
    mesh: Mesh
    up: Any
    mass: float
    material: str
    gates: tuple[Gate, ...]
    settings: str
    holds: tuple[str, ...] = ()
    edits: tuple[tuple[str, Any], ...] = ()

    def summary(self) -> str:
        """One sentence."""
        return f"{self.words}: {self.mass / GRAM:.1f} g solid, {len(self.gates)} gates passed."

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "name": self.name,
            "words": self.words,
            "mass_g": round(self.mass / GRAM, 2),
            "material": self.material,
            "settings": self.settings,
            "holds": list(self.holds),
            "edits": [{"field": f, "value": v} for f, v in self.edits],
            "gates": [{"name": g.name, "found": g.found, "passed": g.passed} for g in self.gates],
            "summary": self.summary(),
        }


def finish(
    name: str,
    words: str,
    solid: Any,
    gates: tuple[Gate, ...],
    up: Any,
    settings: str,
    *,
    holds: tuple[str, ...] = (),
    edits: tuple[tuple[str, Any], ...] = (),
) -> Printed:
    """Wrap a solid that passed its gates; arguments as the fields of ``Printed``.

    Raises:
        SheetError: a gate refused it; every reason.
    """
    failed = [g for g in gates if not g.passed]
    if failed:
        raise SheetError(
            *(
                Problem(
                    f"cannot print the {name.replace('-', ' ')}: {g.name}: {g.found}",
                    _REMEDY.get((name, g.name)) or _REMEDY.get(("", g.name), "change its place in the sheet"),
                )
                for g in failed
            )
        )
    material = "tpu"
    return Printed(
        name,
        words,
        as_mesh(solid),
        up,
        float(solid.volume()) * MM**3 * density_of(material, "density"),
        material,
        gates,
        settings,
        holds,
        edits,
    )


_REMEDY: Final = {
    ("camera-cradle", "clear of the rest"): "move the camera or the part it meets, or tilt less",
    ("antenna-mount", "clear of the rest"): (
        "move the part it meets away from the standoffs, at most by what it is cut, or add a standoff "
        "with room "
        "around it"
    ),
    (
        "lead-guard",
        "clear of the rest",
    ): "lead the cable farther from the part it meets (leads path), or guard another",
    ("", "clear of what it holds"): "check the sizes of what it holds in the sheet",
    ("", "room for the driver"): "move what is in the way, or screw it from the other side",
    ("", "wall"): "make room around it",
}
"""What to do about a gate that refuses, by part and gate; "" for every part."""


def bar(diameter: float, start: Any, end: Any) -> Any:
    """A round bar of one diameter between two points, mm."""
    from crashworthy.build.overlaps import manifold
    from crashworthy.build.solids import frame_to, lathe

    a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    length = float(np.linalg.norm(b - a))
    made = lathe([(diameter / 2 * MM, 0.0), (diameter / 2 * MM, length * MM)], ROUND)
    return manifold(made.moved(frame_to(b - a), a * MM))


def slab(corners: Any, width: float, y: float) -> Any:
    """A polygon [[x, z], ...], either way round, made ``width`` wide about y."""
    import shapely
    from shapely.geometry.polygon import orient

    from crashworthy.build.overlaps import manifold
    from crashworthy.build.solids import prism

    shape = orient(shapely.Polygon(np.asarray(corners, dtype=float) * MM))
    # The polygon's plane (x, z) stands up: x stays, z comes from the second coordinate, width along y.
    turned = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    made = prism(shape, -width / 2 * MM, width / 2 * MM).moved(turned, (0.0, y * MM, 0.0))
    return manifold(made)


def export(part: Printed, kind: str) -> bytes:
    """The part as a file for a printer, mm, standing on the bed.

    Args:
        part: what to print.
        kind: "stl" or "3mf".

    Raises:
        SheetError: another kind.
    """
    if kind not in ("stl", "3mf"):
        raise SheetError(Problem(f"cannot write {kind!r}", "name a file that ends in .stl or .3mf"))
    import trimesh

    from crashworthy.build.solids import frame_to

    points = part.mesh.vertices @ frame_to(part.up) / MM
    points = points - [*(points[:, :2].min(axis=0) + np.ptp(points[:, :2], axis=0) / 2), points[:, 2].min()]
    mesh: Any = trimesh.Trimesh(points, part.mesh.faces, process=False)
    mesh.units = "mm"
    return bytes(mesh.export(file_type=kind))


def in_place(part: Printed) -> bytes:
    """The part as STL where it sits in the build, mm: to be named in a sheet's imports."""
    import trimesh

    mesh: Any = trimesh.Trimesh(part.mesh.vertices / MM, part.mesh.faces, process=False)
    return bytes(mesh.export(file_type="stl"))


def sheet_with(sheet: Sheet, part: Printed, file: str) -> Sheet:
    """A copy of a sheet with a printed part as an imported model, and what it holds moved into it.

    Args:
        sheet: of the build that the part was made for.
        part: the printed part.
        file: name of its model beside the sheet (``in_place``).

    Raises:
        NotFoundError: the sheet lacks what the part is made to hold.
        ValueError: the sheet's rules refuse the result.
    """
    from crashworthy.placement.moves import with_field

    for field, value in part.edits:
        sheet = with_field(sheet, field, value)
    data = sheet.model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    row = {"file": file, "material": part.material}
    data["imports"] = {**data.get("imports", {}), part.name.replace("-", "_"): row}
    return type(sheet).model_validate(data)


def with_printed(quad: Quad, part: Printed) -> Quad:
    """The build with a printed part in its place and what it holds in it, ready to be crashed.

    Raises:
        NotFoundError: the build lacks what the part is made to hold.
    """
    from crashworthy.placement.moves import edited

    for field, value in part.edits:
        quad = edited(quad, field, value)
    name = part.name.replace("-", "_")
    draft = Draft(name, part.name.replace("-", " "), "model", part.material, f"imports.{name}", part.mesh)
    parts = (*(p for p in quad.parts if p.name != name), draft.finish())
    total = mass_of.assembly(MassProperties(p.mass, p.centre, p.inertia) for p in parts)
    digest = hashlib.sha256(f"{quad.digest} {part.edits}".encode() + part.mesh.vertices.tobytes()).hexdigest()
    return replace(
        quad,
        parts=parts,
        points=contact_points(parts, quad.arms),
        mass_properties=MassProperties(total.mass, fixed(total.cog), fixed(total.inertia)),
        digest=digest,
    )
