"""STEP files written as text: boxes and cylinders from the entities of AP214 (ISO 10303-214) by ISO 10303-21.

What the reader makes of them can then be compared with closed forms, without a drawing program.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["StepText"]

_HEAD: Final = """\
ISO-10303-21;
HEADER;
FILE_DESCRIPTION((''),'2;1');
FILE_NAME('{file}','2026-01-01T00:00:00',('{author}'),(''),'','','');
FILE_SCHEMA(('AUTOMOTIVE_DESIGN {{ 1 0 10303 214 1 1 1 1 }}'));
ENDSEC;
DATA;
"""


def _numbers(values: Sequence[float]) -> str:
    return ",".join(repr(float(v)) for v in values)


@dataclass
class StepText:
    """One STEP file under way; lengths in the file's own unit.

    Attributes:
        inch: the unit is inch (conversion based) instead of millimetre.
        author: written into the header, as drawing programs do.
        lines: the entities so far.
    """

    inch: bool = False
    author: str = ""
    lines: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Write what every body shares: the application and the units."""
        self._app = self._add("APPLICATION_CONTEXT('automotive design')")
        mm = self._add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
        if self.inch:
            size = self._add("DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)")
            by = self._add(f"LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),{mm})")
            mm = self._add(f"(CONVERSION_BASED_UNIT('INCH',{by})LENGTH_UNIT()NAMED_UNIT({size}))")
        angle = self._add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
        solid = self._add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
        close = self._add(
            f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-07),{mm},'distance_accuracy_value','')"
        )
        self._context = self._add(
            f"(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({close}))"
            f"GLOBAL_UNIT_ASSIGNED_CONTEXT(({mm},{angle},{solid}))REPRESENTATION_CONTEXT('','3D'))"
        )

    def _add(self, words: str) -> str:
        self.lines.append(f"#{len(self.lines) + 1}={words};")
        return f"#{len(self.lines)}"

    def _point(self, at: Sequence[float]) -> str:
        return self._add(f"CARTESIAN_POINT('',({_numbers(at)}))")

    def _way(self, along: Sequence[float]) -> str:
        return self._add(f"DIRECTION('',({_numbers(along)}))")

    def _axes(self, at: Sequence[float], z: Sequence[float], x: Sequence[float]) -> str:
        return self._add(f"AXIS2_PLACEMENT_3D('',{self._point(at)},{self._way(z)},{self._way(x)})")

    def _line(self, at: Sequence[float], along: Sequence[float]) -> str:
        vector = self._add(f"VECTOR('',{self._way(along)},1.)")
        return self._add(f"LINE('',{self._point(at)},{vector})")

    def _face(self, surface: str, edges: Sequence[tuple[str, bool]]) -> str:
        """A face bounded by (edge, along its own direction)."""
        turned = [self._add(f"ORIENTED_EDGE('',*,*,{e},.{'T' if along else 'F'}.)") for e, along in edges]
        loop = self._add(f"EDGE_LOOP('',({','.join(turned)}))")
        bound = self._add(f"FACE_OUTER_BOUND('',{loop},.T.)")
        return self._add(f"ADVANCED_FACE('',({bound}),{surface},.T.)")

    def _body(self, name: str, faces: Sequence[str]) -> None:
        shell = self._add(f"CLOSED_SHELL('',({','.join(faces)}))")
        solid = self._add(f"MANIFOLD_SOLID_BREP('{name}',{shell})")
        origin = self._axes((0, 0, 0), (0, 0, 1), (1, 0, 0))
        shape = self._add(f"ADVANCED_BREP_SHAPE_REPRESENTATION('{name}',({origin},{solid}),{self._context})")
        about = self._add(f"PRODUCT_CONTEXT('',{self._app},'mechanical')")
        product = self._add(f"PRODUCT('{name}','{name}','',({about}))")
        formation = self._add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
        stage = self._add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{self._app},'design')")
        definition = self._add(f"PRODUCT_DEFINITION('design','',{formation},{stage})")
        whole = self._add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
        self._add(f"SHAPE_DEFINITION_REPRESENTATION({whole},{shape})")

    def box(self, name: str, low: Sequence[float], size: Sequence[float]) -> StepText:
        """A box by its lowest corner and its edges along x, y and z: eight corners, 12 lines, 6 planes."""
        corners = [[low[i] + (k >> i & 1) * size[i] for i in range(3)] for k in range(8)]
        vertices = [self._add(f"VERTEX_POINT('',{self._point(c)})") for c in corners]
        edges: dict[tuple[int, int], str] = {}
        for a in range(8):
            for i in range(3):
                if (b := a | 1 << i) != a:
                    line = self._line(corners[a], [float(j == i) for j in range(3)])
                    edges[a, b] = self._add(f"EDGE_CURVE('',{vertices[a]},{vertices[b]},{line},.T.)")
        faces = []
        for i in range(3):
            j, k = (i + 1) % 3, (i + 2) % 3
            for side in (0, 1):
                # Counter-clockwise from outside: the lower face of each pair runs the other way round.
                ring = [0, 1 << j, 1 << j | 1 << k, 1 << k]
                ring = [c | side << i for c in (ring if side else ring[::-1])]
                pairs = zip(ring, [*ring[1:], ring[0]], strict=True)
                bound = [(edges[min(p), max(p)], p[0] < p[1]) for p in pairs]
                normal = [float(m == i) * (1 if side else -1) for m in range(3)]
                axes = self._axes(corners[ring[0]], normal, [float(m == j) for m in range(3)])
                faces.append(self._face(self._add(f"PLANE('',{axes})"), bound))
        self._body(name, faces)
        return self

    def cylinder(self, name: str, radius: float, height: float, z: float = 0.0) -> StepText:
        """A cylinder about z from ``z`` upwards: one wall with a seam, two round ends."""
        ends = (z, z + height)
        vertices = [self._add(f"VERTEX_POINT('',{self._point((radius, 0, v))})") for v in ends]
        rims = []
        for vertex, at in zip(vertices, ends, strict=True):
            circle = self._add(f"CIRCLE('',{self._axes((0, 0, at), (0, 0, 1), (1, 0, 0))},{float(radius)!r})")
            rims.append(self._add(f"EDGE_CURVE('',{vertex},{vertex},{circle},.T.)"))
        line = self._line((radius, 0, z), (0, 0, 1))
        seam = self._add(f"EDGE_CURVE('',{vertices[0]},{vertices[1]},{line},.T.)")
        axes = self._axes((0, 0, z), (0, 0, 1), (1, 0, 0))
        wall = self._add(f"CYLINDRICAL_SURFACE('',{axes},{float(radius)!r})")
        faces = [self._face(wall, [(rims[0], True), (seam, True), (rims[1], False), (seam, False)])]
        for rim, at, out in ((rims[0], ends[0], False), (rims[1], ends[1], True)):
            plane = self._add(f"PLANE('',{self._axes((0, 0, at), (0, 0, 1 if out else -1), (1, 0, 0))})")
            faces.append(self._face(plane, [(rim, out)]))
        self._body(name, faces)
        return self

    def text(self, file: str = "body.step") -> str:
        """The whole file."""
        head = _HEAD.format(file=file, author=self.author)
        return head + "\n".join(self.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"
