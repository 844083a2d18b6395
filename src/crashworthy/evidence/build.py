"""Outside checks of the build room: mass properties, drawings, booleans, contact skin, densities."""

from __future__ import annotations

import math
import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build import mass
from crashworthy.build.drafts import Draft
from crashworthy.build.overlaps import manifold, overlaps
from crashworthy.build.plates import circle
from crashworthy.build.points import contact_points
from crashworthy.build.quad import MassProperties
from crashworthy.build.solids import Mesh, box, lathe, prism, rotation
from crashworthy.evidence.build_step import CHECKS as STEP_CHECKS
from crashworthy.evidence.making import pair_check
from crashworthy.evidence.registry import Check
from crashworthy.materials import table
from crashworthy.quantities import G_N, MM

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["CHECKS"]

SIZE: Final = (0.1, 0.06, 0.04)
WEIGHT: Final = 0.3
INTEGRALS: Final = "exact integrals over the body, Beer & Johnston, Vector Mechanics, mass moments of inertia"
AXES: Final = "parallel-axis theorem (Huygens-Steiner)"
PLATE_AREA: Final = 112 * 42 - (4 - math.pi) * 6**2 - 4 * math.pi * 1.6**2


_check = partial(pair_check, "build")


def _box_inertia(axis: int) -> tuple[float, float]:
    mesh = box(SIZE, (0.31, -0.17, 0.05)).moved()
    got = mass.solid(mesh.vertices, mesh.faces).of_mass(WEIGHT).inertia[axis, axis]
    others = [s for i, s in enumerate(SIZE) if i != axis]
    return WEIGHT * (others[0] ** 2 + others[1] ** 2) / 12, float(got)


def _turned_box() -> tuple[float, float]:
    """Ixy of the box turned 30 degrees about z: (Ixx - Iyy) sin 60° / 2 for the turned axes."""
    mesh = box(SIZE).moved(rotation(z=math.pi / 6))
    got = mass.solid(mesh.vertices, mesh.faces).of_mass(WEIGHT).inertia[0, 1]
    ixx, iyy = (WEIGHT * (b * b + c * c) / 12 for b, c in ((0.06, 0.04), (0.1, 0.04)))
    return (ixx - iyy) / 2 * math.sin(math.pi / 3), float(got)


def _cylinder(quantity: str) -> tuple[float, float]:
    r, h, n = 0.014, 0.019, 24
    mesh = lathe([(r, 0.0), (r, h)], n)
    solid = mass.solid(mesh.vertices, mesh.faces)
    if quantity == "volume":
        return math.pi * r * r * h, solid.volume
    per_mass = float(solid.of_mass(1.0).inertia[2, 2])
    if quantity == "circle":
        return r * r / 2, per_mass
    corner = mass.equal_area(r, n)
    return corner**2 * (2 + math.cos(2 * math.pi / n)) / 6, per_mass


def _octants() -> tuple[float, float]:
    """A box cut into eight unequal boxes and put together again."""
    cut = (0.03, 0.041, 0.013)
    bodies = []
    for k in range(8):
        low = [0.0 if not k >> i & 1 else cut[i] for i in range(3)]
        high = [cut[i] if not k >> i & 1 else SIZE[i] for i in range(3)]
        size = np.subtract(high, low)
        piece = box(size, np.add(low, high) / 2)
        share = WEIGHT * float(np.prod(size)) / float(np.prod(SIZE))
        bodies.append(mass.solid(piece.vertices, piece.faces).of_mass(share))
    return WEIGHT * (SIZE[0] ** 2 + SIZE[1] ** 2) / 12, float(mass.assembly(bodies).inertia[2, 2])


def _four_masses(axis: int) -> tuple[float, float]:
    arm = 0.113 * math.sqrt(0.5)
    points = [
        MassProperties(0.05, np.array([sx * arm, sy * arm, 0.0]), np.zeros((3, 3)))
        for sx in (1, -1)
        for sy in (1, -1)
    ]
    expected = 4 * 0.05 * 0.113**2 * (1.0 if axis == 2 else 0.5)
    return expected, float(mass.assembly(points).inertia[axis, axis])


def _drilled_plate() -> Mesh:
    import shapely

    outline = shapely.Polygon([(-0.06, -0.02), (0.05, -0.03), (0.07, 0.01), (0.0, 0.035), (-0.05, 0.02)])
    cut = outline.difference(shapely.union_all([circle(0.02, 0.0, 0.012), circle(-0.03, 0.0, 0.008)]))
    return prism(cut, -0.0025, 0.0).moved(rotation(0.3, -0.4, 0.8), (0.02, 0.01, 0.05))


def _beside_trimesh(quantity: str) -> tuple[float, float]:
    import trimesh

    mesh = _drilled_plate()
    other: Any = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    own = mass.solid(mesh.vertices, mesh.faces)
    if quantity == "volume":
        return float(other.volume), own.volume
    if quantity == "centroid":
        return float(other.center_mass[0]), float(own.centroid[0])
    if quantity == "product":
        return float(other.moment_inertia[0, 2]), float(own.inertia[0, 2])
    return float(other.moment_inertia[1, 1]), float(own.inertia[1, 1])


def _draw(draw: Callable[[Any], None], units: int, **more: Any) -> Any:
    """Write a drawing with an independent library, then read its outline."""
    import ezdxf.filemanagement

    from crashworthy.build.dxf import outline

    document = ezdxf.filemanagement.new("R2010", units=units)
    draw(document.modelspace())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plate.dxf"
        document.saveas(path)
        return outline(path, **more)


def _rounded_plate(space: Any, unit: float = 1.0) -> None:
    """112 x 42 mm, corners r 6, four holes 3.2, from lines, arcs and circles in no order."""
    a, b, r = 56 / unit, 21 / unit, 6 / unit
    for x, y, start in ((a - r, b - r, 0), (r - a, b - r, 90), (r - a, r - b, 180), (a - r, r - b, 270)):
        space.add_arc((x, y), r, start, start + 90)
        space.add_circle((x * 0.9, y * 0.9), 1.6 / unit)
    for s in (1, -1):
        space.add_line((s * (a - r), s * b), (s * (r - a), s * b))
        space.add_line((s * a, s * (b - r)), (s * a, s * (r - b)))


def _nested(space: Any) -> None:
    """Squares of 100, 60, 20 and 8 mm inside each other: plate, hole, island, hole in the island."""
    for side in (20, 100, 8, 60):
        h = side / 2
        space.add_lwpolyline([(-h, -h), (h, -h), (h, h), (-h, h)], close=True)


def _plate_area(units: int, unit: float) -> tuple[float, float]:
    return PLATE_AREA, float(_draw(lambda s: _rounded_plate(s, unit), units).area)


def _shell(degrees: float) -> tuple[float, float]:
    turn = rotation(0.0, 0.0, math.radians(degrees))
    outer = manifold(box((0.024, 0.024, 0.02)).moved(turn))
    inner = manifold(box((0.02, 0.02, 0.04)).moved(turn))
    return 20.0 * (24**2 - 20**2), float((outer - inner).volume())


def _drilled_cube() -> tuple[float, float]:
    import shapely

    turn = 2 * np.pi * np.arange(64) / 64
    drill = shapely.Polygon(np.column_stack([np.cos(turn), np.sin(turn)]) * 3 * MM)
    left = manifold(box((0.01, 0.01, 0.01))) - manifold(prism(drill, -0.01, 0.01))
    return 1000.0 - 10.0 * 64 / 2 * 9 * math.sin(2 * math.pi / 64), float(left.volume())


def _common_volume() -> tuple[float, float]:
    a = Draft("a", "a", "box", "pc", "", box((0.01, 0.01, 0.01)), 0.01)
    b = Draft("b", "b", "box", "pc", "", box((0.01, 0.01, 0.01), (0.008, 0.007, 0.006)), 0.01)
    return 2.0 * 3.0 * 4.0, overlaps([a, b])[0][2]


def _skin(count: int) -> tuple[float, float]:
    part = Draft("a", "a", "box", "pc", "", box(SIZE), 0.3).finish()
    a, b, c = SIZE
    return 2 * (a * b + b * c + c * a), float(contact_points((part,), (), count).area.sum())


def _steel_weight() -> tuple[float, float]:
    return 77.75, table.value("steel", "density") * G_N / 1000.0


CHECKS: Final[tuple[Check, ...]] = (
    *(
        _check(
            f"mass.box_i{name}{name}",
            f"moment of inertia of a box about {name}",
            "0.1 x 0.06 x 0.04 m, 0.3 kg, away from the origin: m (b² + c²) / 12",
            "kg m²",
            1e-12,
            INTEGRALS,
            "derived",
            lambda axis=axis: _box_inertia(axis),  # type: ignore[misc] # the default binds the loop's value
        )
        for axis, name in enumerate("xyz")
    ),
    _check(
        "mass.turned_box",
        "product of inertia of a turned box",
        "the same box turned 30 degrees about z: (Ixx - Iyy) / 2 sin 60°",
        "kg m²",
        1e-12,
        "rotation of a symmetric tensor",
        "derived",
        _turned_box,
    ),
    _check(
        "mass.cylinder_volume",
        "volume of a meshed cylinder",
        "r 14 mm, h 19 mm, 24 sides of equal area: π r² h",
        "m³",
        1e-12,
        INTEGRALS,
        "derived",
        lambda: _cylinder("volume"),
    ),
    _check(
        "mass.cylinder_izz",
        "axial inertia of a meshed cylinder against the round one",
        "r 14 mm, 24 sides of equal area, per kg: r² / 2",
        "m²",
        1e-4,
        INTEGRALS,
        "derived",
        lambda: _cylinder("circle"),
    ),
    _check(
        "mass.polygon_izz",
        "axial inertia of a meshed cylinder against the regular prism",
        "24 sides, corner radius R, per kg: R² (2 + cos(2π/n)) / 6",
        "m²",
        1e-12,
        "polar second moment of a regular polygon by exact integration",
        "derived",
        lambda: _cylinder("polygon"),
    ),
    _check(
        "mass.eight_boxes",
        "inertia of eight unequal boxes put together",
        "the box cut at (30, 41, 13) mm, Izz about the common centre of gravity",
        "kg m²",
        1e-12,
        AXES,
        "derived",
        _octants,
    ),
    *(
        _check(
            f"mass.four_masses_{name}",
            f"inertia of four point masses, {name}",
            "four 50 g masses on a 226 mm square X: 4 m r² about z, half of it about x",
            "kg m²",
            1e-12,
            AXES,
            "derived",
            lambda axis=axis: _four_masses(axis),  # type: ignore[misc] # the default binds the loop's value
        )
        for axis, name in ((0, "ixx"), (2, "izz"))
    ),
    *(
        _check(
            f"mass.trimesh_{quantity}",
            f"{quantity} of a drilled, tilted plate beside a general mesh library",
            "five-sided plate 2.5 mm thick, two holes, turned about three axes",
            unit,
            1e-9,
            "trimesh, mass properties of a closed mesh, same run",
            "computed",
            lambda q=quantity: _beside_trimesh(q),  # type: ignore[misc] # the default binds the loop's value
        )
        for quantity, unit in (("volume", "m³"), ("centroid", "m"), ("inertia", "m⁵"), ("product", "m⁵"))
    ),
    _check(
        "dxf.plate_area",
        "area of a drilled plate read from a drawing in mm",
        "112 x 42 mm, corners r 6, four holes 3.2: 112·42 - (4-π)·36 - 4π·1.6²",
        "mm²",
        1e-4,
        "area of a rounded rectangle less circles",
        "derived",
        lambda: _plate_area(4, 1.0),
    ),
    _check(
        "dxf.plate_area_inch",
        "area of the same plate drawn in inches",
        "as before, drawn in inch with the drawing's unit set; 1 inch = 25.4 mm exactly",
        "mm²",
        1e-4,
        "area of a rounded rectangle less circles; international inch of 1959",
        "derived",
        lambda: _plate_area(1, 25.4),
    ),
    _check(
        "dxf.holes",
        "holes found in the drawing of the plate",
        "four circles drawn in no order among lines and arcs",
        "",
        0.0,
        "count of the circles drawn",
        "derived",
        lambda: (4.0, float(len(_draw(_rounded_plate, 4).interiors))),
        relative=False,
    ),
    _check(
        "dxf.even_odd",
        "area of loops nested four deep",
        "squares of 100, 60, 20 and 8 mm inside each other: 100² - 60² + 20² - 8²",
        "mm²",
        1e-9,
        "even-odd rule",
        "derived",
        lambda: (100.0**2 - 60**2 + 20**2 - 8**2, float(_draw(_nested, 4).area)),
    ),
    _check(
        "boolean.shell",
        "volume of a square shell",
        "24 x 24 x 20 mm less 20 x 20 through: 20 (24² - 20²)",
        "mm³",
        1e-9,
        "difference of two boxes",
        "derived",
        lambda: _shell(0.0),
    ),
    _check(
        "boolean.shell_turned",
        "volume of the same shell turned",
        "turned 37 degrees about z",
        "mm³",
        1e-9,
        "a rotation keeps volumes",
        "derived",
        lambda: _shell(37.0),
    ),
    _check(
        "boolean.drilled_cube",
        "volume of a drilled cube",
        "10 mm cube less a 64-sided hole of corner radius 3: 1000 - 10 · 32 · 9 sin(2π/64)",
        "mm³",
        1e-9,
        "area of a regular polygon",
        "derived",
        _drilled_cube,
    ),
    _check(
        "overlap.two_boxes",
        "common volume of two overlapping parts",
        "10 mm cubes shifted by (8, 7, 6) mm: 2 · 3 · 4",
        "mm³",
        1e-9,
        "intersection of two boxes",
        "derived",
        _common_volume,
    ),
    *(
        _check(
            f"points.skin_{count}",
            f"skin that {count} contact points of a lone box stand for",
            "100 x 60 x 40 mm: 2 (ab + bc + ca)",
            "m²",
            1e-9,
            "surface of a box",
            "derived",
            lambda n=count: _skin(n),  # type: ignore[misc] # the default binds the loop's value
        )
        for count in (300, 1200)
    ),
    _check(
        "density.steel",
        "weight of steel from the density table",
        "tabled density times standard gravity, against 77.0 to 78.5 kN/m³",
        "kN/m³",
        0.0125,
        "EN 1991-1-1:2002 table A.4, from memory",
        "recalled",
        _steel_weight,
    ),
    _check(
        "density.carbon_plate",
        "density of a carbon laminate from the table",
        "rule of mixtures at 60 % fibre: 0.6 · 1780 + 0.4 · 1200",
        "kg/m³",
        0.03,
        "rule of mixtures; fibre 1780 and epoxy 1200 kg/m³ from memory",
        "recalled",
        lambda: (0.6 * 1780 + 0.4 * 1200, table.value("carbon_plate", "density")),
    ),
    *STEP_CHECKS,
)
