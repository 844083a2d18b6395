"""Parts from STL, 3MF, OBJ and STEP files."""

from __future__ import annotations

import io
import logging
import zipfile
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.drafts import Draft, in_words
from crashworthy.build.mass import solid
from crashworthy.build.solids import Mesh, merge, rotation
from crashworthy.build.step import SUFFIXES as STEP
from crashworthy.build.step import bodies_of
from crashworthy.errors import DrawingError, Problem, SheetError
from crashworthy.materials import table
from crashworthy.quantities import DEG, GRAM, MM

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.build.equipment_rows import Import
    from crashworthy.build.quad import Ints

__all__ = ["FACES_MAX", "SIZE_MAX", "closed", "hull_mass", "model", "read_mesh"]

SIZE_MAX: Final = 50_000_000
"""A larger file, in bytes, packed or unpacked, is refused."""

FACES_MAX: Final = 400_000
"""A finer mesh than this is refused."""

_SILENT: Final = logging.NullHandler()
"""Takes the reader's remarks on harmless flaws, which would otherwise be printed between ours."""

_KINDS: Final = ("stl", "3mf", "obj")


def closed(faces: Ints) -> bool:
    """Whether every edge is used once in each direction, that is, the mesh is watertight and consistent."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    n = int(faces.max()) + 1 if len(faces) else 1
    there = np.unique(edges[:, 0] * n + edges[:, 1])
    back = np.unique(edges[:, 1] * n + edges[:, 0])
    return len(faces) > 0 and len(there) == len(edges) and np.array_equal(there, back)


def read_mesh(path: Path, body: str | None = None) -> Mesh:
    """Read a mesh in the file's own units, equal corners merged; a STEP file says its unit and comes in mm.

    Args:
        path: the file.
        body: of a STEP file, by name; None for all of them as one.

    Raises:
        DrawingError: it cannot be read, is empty or too large.
    """
    name = path.name
    kind = path.suffix.lower().lstrip(".")
    if kind not in _KINDS and f".{kind}" not in STEP:
        raise DrawingError(
            Problem(
                f".{kind} files cannot be read as a part", "export it as STL, 3MF, OBJ or STEP", file=name
            )
        )
    if body is not None and f".{kind}" not in STEP:
        raise DrawingError(Problem("only a STEP file has bodies with names", "take body away", file=name))
    try:
        raw = path.read_bytes() if path.stat().st_size <= SIZE_MAX else None
    except OSError as error:
        reason = error.strerror or "it cannot be opened"
        raise DrawingError(
            Problem(f"the model cannot be read: {reason}", "check the file's name", file=name)
        ) from None
    if raw is None or (kind == "3mf" and _unpacked(raw) > SIZE_MAX):
        raise DrawingError(
            Problem(
                f"the model is larger than {SIZE_MAX / 1e6:.0f} MB",
                "export it with a coarser mesh",
                file=name,
            )
        )
    vertices, faces = _step(raw, name, body) if f".{kind}" in STEP else _load(raw, kind, name)
    if len(faces) == 0:
        raise DrawingError(Problem("the model holds no faces", "export it again as a solid", file=name))
    if len(faces) > FACES_MAX:
        raise DrawingError(
            Problem(
                f"the model has {len(faces)} faces; at most {FACES_MAX} are read",
                "export it with a coarser mesh",
                file=name,
            )
        )
    if not np.isfinite(vertices).all() or np.abs(vertices).max() > 1e9:
        raise DrawingError(
            Problem("the model has corners that are not numbers", "export it again", file=name)
        )
    return Mesh(vertices, faces)


def _step(raw: bytes, name: str, body: str | None) -> Mesh:
    found = bodies_of(raw, name)
    if body is None:
        return merge(*(b.mesh for b in found))
    for one in found:
        if one.name == body:
            return one.mesh
    there = ", ".join(repr(b.name) for b in found[:20])
    raise DrawingError(Problem(f"it has no body called {body!r}", f"its bodies: {there}", file=name))


def _unpacked(raw: bytes) -> int:
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            return sum(entry.file_size for entry in archive.infolist())
    except (zipfile.BadZipFile, ValueError, OSError, EOFError):
        return 0  # not an archive: the reader will say so


def _load(raw: bytes, kind: str, name: str) -> tuple[Any, Any]:
    import trimesh

    logging.getLogger("trimesh").addHandler(_SILENT)
    try:
        mesh: Any = trimesh.load(io.BytesIO(raw), file_type=kind, force="mesh", process=True)
        mesh.merge_vertices(merge_tex=True, merge_norm=True)
        faces = np.asarray(mesh.faces, dtype=np.int32).reshape(-1, 3)
        distinct = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
        return np.asarray(mesh.vertices, dtype=np.float64).reshape(-1, 3), faces[distinct]
    except Exception as error:  # noqa: BLE001 - a damaged file can break the reader anywhere
        reason = type(error).__name__
        raise DrawingError(
            Problem(f"this is not a readable {kind.upper()} file ({reason})", "export it again", file=name)
        ) from None


def hull_mass(path: Path, scale: float, body: str | None = None, material: str = "tpu") -> float | None:
    """Mass of a leaky body's convex hull, g, as a first guess; None when it is watertight and needs none.

    Args:
        path: the file.
        scale: mm per unit of the file.
        body: as for ``read_mesh``.
        material: whose density counts.

    Raises:
        DrawingError: it cannot be read, or is flat.
    """
    mesh = read_mesh(path, body)
    if closed(mesh.faces) and _encloses(mesh):
        return None
    try:
        hull = _hull(mesh)
    except ValueError:
        raise DrawingError(
            Problem("the model is flat or empty", "export it as a solid", file=path.name)
        ) from None
    volume = abs(solid(hull.vertices, hull.faces).volume) * (scale * MM) ** 3
    return round(volume * table.value(material, "density") / GRAM, 2)


def _hull(mesh: Mesh) -> Mesh:
    """The convex hull, faces outward.

    Raises:
        ValueError: the corners lie in a plane.
    """
    from scipy.spatial import ConvexHull, QhullError

    try:
        hull = ConvexHull(mesh.vertices)
    except QhullError as error:
        raise ValueError("flat") from error
    faces = hull.simplices.astype(np.int32)
    a, b, c = (mesh.vertices[faces[:, i]] for i in range(3))
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), hull.equations[:, :3]) < 0
    faces[inward] = faces[inward][:, ::-1]
    used, inverse = np.unique(faces, return_inverse=True)
    return Mesh(mesh.vertices[used], inverse.reshape(-1, 3).astype(np.int32))


def model(name: str, row: Import, folder: Path | None) -> tuple[Draft, str]:
    """The draft of an imported part, and a note when its shape had to be replaced by its hull, or "".

    Raises:
        DrawingError: the file cannot be read.
        SheetError: the mesh is not watertight and no mass is given, or the size cannot be meant.
    """
    field = f"imports.{name}"
    if folder is None:
        raise SheetError(
            Problem("a model is named but no folder to find it in", "give the folder", field=f"{field}.file")
        )
    mesh = read_mesh(folder / row.file, row.body)
    extent = np.ptp(mesh.vertices, axis=0).max() * row.scale
    if not 0.5 <= extent <= 1000.0:
        raise SheetError(
            Problem(
                f"the model is {extent:.4g} mm long",
                "give scale = mm per unit of the file (1000 when it is in m, 25.4 in inch)",
                field=f"{field}.scale",
            )
        )
    note = ""
    watertight = closed(mesh.faces) and _encloses(mesh)
    if not watertight:
        if row.mass is None:
            raise SheetError(
                Problem(
                    f"{row.file} is not watertight, so its mass cannot be computed",
                    "weigh the part and give mass, g, or export it as a closed solid",
                    field=f"{field}.mass",
                )
            )
        try:
            mesh = _hull(mesh)
        except ValueError:
            raise DrawingError(
                Problem("the model is flat or empty", "export it as a solid", file=row.file)
            ) from None
        note = f"{in_words(name)}: {row.file} is not watertight; its convex hull stands in for its shape."
    elif solid(mesh.vertices, mesh.faces).volume < 0:
        mesh = Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[:, ::-1]))
    turn = rotation(*(a * DEG for a in row.rpy))
    placed = Mesh(mesh.vertices * row.scale * MM, mesh.faces).moved(turn, np.array(row.at) * MM)
    mass = None if row.mass is None else row.mass * GRAM
    return Draft(name, in_words(name), "model", row.material, field, placed, mass), note


def _encloses(mesh: Mesh) -> bool:
    try:
        solid(mesh.vertices, mesh.faces)
    except ValueError:
        return False
    return True
