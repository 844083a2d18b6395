"""Drawings and models become parts, and damaged ones are refused in words."""

from __future__ import annotations

import math
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crashworthy.build.assemble import assemble, load, parse
from crashworthy.build.dxf import outline
from crashworthy.build.mass import solid
from crashworthy.build.models import closed, read_mesh
from crashworthy.build.solids import Mesh, box, lathe
from crashworthy.errors import CrashworthyError, DrawingError, SheetError

EXAMPLES = Path(__file__).parents[2] / "examples"
HEAD = 'schema = 1\nname = "Tern"\narms = { wheelbase = 226 }\n'


def drawn(units: int = 4) -> tuple[Any, Any]:
    """An empty drawing and its model space."""
    from ezdxf.filemanagement import new

    document = new("R2010", units=units)
    return document, document.modelspace()


def square(space: Any, side: float, x: float = 0.0, layer: str = "0") -> None:
    """Draw a square about (x, 0)."""
    h = side / 2
    space.add_lwpolyline(
        [(x - h, -h), (x + h, -h), (x + h, h), (x - h, h)], close=True, dxfattribs={"layer": layer}
    )


def polite(read: Callable[[Path], Any], path: Path) -> Any:
    """What was read, or None when it was refused with words and remedy; anything else escapes."""
    try:
        return read(path)
    except DrawingError as error:
        problems = error.problems
    assert problems
    assert all(p.what and p.remedy for p in problems)
    return None


def test_curves_of_every_kind_make_one_outline(tmp_path: Path) -> None:
    """Lines, arcs, ellipses, splines and block references join into one outline."""
    document, space = drawn()
    space.add_line((-30, -10), (30, -10))
    space.add_arc((30, 0), 10, -90, 90)
    space.add_spline(fit_points=[(30, 10), (0, 12), (-30, 10)])
    space.add_ellipse((-30, 0), (0, 10), 0.5, 0, math.pi)
    block = document.blocks.new("hole")
    block.add_circle((0, 0), 2)
    space.add_blockref("hole", (5, 0))
    space.add_text("note")
    document.saveas(tmp_path / "a.dxf")
    shape = outline(tmp_path / "a.dxf")
    assert len(shape.interiors) == 1
    assert shape.area == pytest.approx(60 * 20 + math.pi * 50 + math.pi * 25 - math.pi * 4, rel=0.12)
    assert shape.bounds == pytest.approx((-35, -10, 40, 12), abs=0.3)


@pytest.mark.parametrize(
    ("gap", "ok"), [(0.0, True), (0.03, True), (0.049, True), (0.06, False), (2.0, False)]
)
def test_small_gaps_close_and_large_ones_are_pointed_at(tmp_path: Path, gap: float, ok: bool) -> None:
    """Ends within 0.05 mm join; a wider gap is refused with its coordinates."""
    document, space = drawn()
    space.add_lwpolyline([(0, 0), (40, 0), (40, 20), (0, 20), (0, gap)])
    document.saveas(tmp_path / "a.dxf")
    if ok:
        assert outline(tmp_path / "a.dxf").area == pytest.approx(800, rel=1e-3)
    else:
        with pytest.raises(DrawingError, match=r"open at \(0\.00, 0\.00\), \(0\.00, ") as caught:
            outline(tmp_path / "a.dxf")
        assert "close the outline" in caught.value.problems[0].remedy


@pytest.mark.parametrize(("code", "factor"), [(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0), (14, 100.0)])
def test_the_drawing_says_its_unit(tmp_path: Path, code: int, factor: float) -> None:
    """Inch, mm, cm, m and dm drawings give the same plate."""
    document, space = drawn(code)
    square(space, 50 / factor)
    document.saveas(tmp_path / "a.dxf")
    assert outline(tmp_path / "a.dxf").area == pytest.approx(2500, rel=1e-4)


def test_a_drawing_without_unit_needs_a_scale(tmp_path: Path) -> None:
    """Nobody guesses a unit: the message asks for scale, and scale settles it."""
    document, space = drawn(0)
    square(space, 2)
    document.saveas(tmp_path / "a.dxf")
    with pytest.raises(DrawingError, match="scale = mm per drawing unit"):
        outline(tmp_path / "a.dxf")
    assert outline(tmp_path / "a.dxf", scale=25.4).area == pytest.approx(50.8**2, rel=1e-4)


def test_a_drawing_of_the_wrong_size_or_content_is_refused(tmp_path: Path) -> None:
    """Too small, too large, empty, several plates, crossing lines: each has its words."""
    cases = {
        "spans": lambda s: square(s, 2),
        "spans 600": lambda s: square(s, 600),
        "away from its origin": lambda s: square(s, 20, 2e5),
        "far larger": lambda s: s.add_circle((0, 0), 1e7),
        "no lines": lambda s: s.add_text("x"),
        "separate outlines": lambda s: (square(s, 20), square(s, 20, 100)),
        "open at": lambda s: (square(s, 40), s.add_line((0, 0), (0, 100))),
    }
    for words, draw in cases.items():
        document, space = drawn()
        draw(space)
        document.saveas(tmp_path / "a.dxf")
        with pytest.raises(DrawingError, match=words) as caught:
            outline(tmp_path / "a.dxf")
        assert caught.value.problems[0].file == "a.dxf"
        assert caught.value.problems[0].remedy


@pytest.mark.parametrize("shape", ["text", "line", "itself"])
def test_blocks_without_end_are_refused(tmp_path: Path, shape: str) -> None:
    """A block repeated a billion times, or holding itself, is refused in about a second."""
    document, space = drawn()
    block = document.blocks.new("b")
    if shape == "text":
        block.add_text("x")
    elif shape == "line":
        block.add_line((0, 0), (1, 0))
    else:
        block.add_blockref("b", (1, 0))
    many = {"row_count": 30000, "column_count": 30000, "row_spacing": 1, "column_spacing": 1}
    space.add_blockref("b", (0, 0), dxfattribs={} if shape == "itself" else many)
    document.saveas(tmp_path / "a.dxf")
    with pytest.raises(DrawingError):
        outline(tmp_path / "a.dxf")


def test_layers_are_read_apart(tmp_path: Path) -> None:
    """A layer names one plate of a drawing; a layer that is not there names those that are."""
    document, space = drawn()
    square(space, 40, layer="Top")
    square(space, 60, 200, layer="Bottom")
    document.saveas(tmp_path / "a.dxf")
    assert outline(tmp_path / "a.dxf", layer="top").area == pytest.approx(1600)
    with pytest.raises(DrawingError, match="Bottom, Top"):
        outline(tmp_path / "a.dxf", layer="middle")


def test_a_sheet_with_a_bad_drawing_points_at_its_row(tmp_path: Path) -> None:
    """The message names the sheet, the row's line and the drawing."""
    (tmp_path / "a.dxf").write_text("no drawing at all")
    sheet = tmp_path / "t.toml"
    sheet.write_text(HEAD + '[plates]\na = { dxf = "a.dxf", t = 2 }\nb = { dxf = "a.dxf", t = 2 }\n')
    with pytest.raises(DrawingError) as caught:
        load(sheet)
    assert [(p.line, p.field) for p in caught.value.problems] == [(5, "plates.a.dxf"), (6, "plates.b.dxf")]
    assert all(p.file == str(sheet) and "a.dxf" in p.what for p in caught.value.problems)


SOURCE = (EXAMPLES / "gannet" / "top.dxf").read_bytes()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_mangled_drawing_is_only_ever_refused_politely(tmp_path: Path, data: st.DataObject) -> None:
    """Cut, spliced and overwritten drawings give an outline or DrawingError."""
    raw = bytearray(SOURCE)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw)))
        upto = data.draw(st.integers(at, min(len(raw), at + 300)))
        raw[at:upto] = data.draw(st.sampled_from([b"", b"\0", b"1e300", b"-7\n", b"\xff\xff", b"  0\nEOF\n"]))
    path = tmp_path / "m.dxf"
    path.write_bytes(raw)
    shape = polite(outline, path)
    assert shape is None or shape.area > 0


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    raw=st.binary(max_size=200),
    head=st.sampled_from([b"", b"AutoCAD Binary DXF\r\n\x1a\0", b"  0\nSECTION\n"]),
)
def test_any_bytes_as_a_drawing_are_only_ever_refused_politely(
    tmp_path: Path, raw: bytes, head: bytes
) -> None:
    """Random bytes, binary drawings included, raise DrawingError and nothing else."""
    path = tmp_path / "r.dxf"
    path.write_bytes(head + raw)
    with pytest.raises(DrawingError):
        outline(path)


def stl(mesh: Mesh, drop: int = 0) -> bytes:
    """The mesh as a binary STL, without its last ``drop`` faces."""
    faces = mesh.faces[: len(mesh.faces) - drop]
    out = bytearray(80) + struct.pack("<I", len(faces))
    for face in faces:
        out += struct.pack("<12fH", 0, 0, 0, *mesh.vertices[face].ravel(), 0)
    return bytes(out)


CUBE = Mesh(box((30.0, 20.0, 10.0)).vertices, box((1.0, 1.0, 1.0)).faces)


def test_a_watertight_model_weighs_what_its_volume_says(tmp_path: Path) -> None:
    """A closed STL takes density; scale, turn and place are those of the row."""
    (tmp_path / "a.stl").write_bytes(stl(CUBE))
    text = HEAD + '[imports]\na = { file = "a.stl", at = [0, 0, 40], rpy = [0, 0, 90], material = "tpu" }\n'
    part = assemble(parse(text, tmp_path), tmp_path).part("a")
    assert part.mass == pytest.approx(6e-6 * 1210, rel=1e-6)
    assert np.ptp(part.vertices, axis=0) == pytest.approx([0.02, 0.03, 0.01])
    assert part.centre == pytest.approx([0, 0, 0.04], abs=1e-9)


def test_an_inside_out_model_is_turned(tmp_path: Path) -> None:
    """Faces end up outward whichever way the file had them."""
    (tmp_path / "a.stl").write_bytes(stl(Mesh(CUBE.vertices, CUBE.faces[:, ::-1])))
    part = assemble(parse(HEAD + '[imports]\na = { file = "a.stl" }\n', tmp_path), tmp_path).part("a")
    assert solid(part.vertices, part.faces).volume == pytest.approx(6e-6, rel=1e-6)


def test_a_3mf_model_comes_back_whole(tmp_path: Path) -> None:
    """3MF files, written by a general mesh library, keep their volume."""
    import trimesh

    trimesh.Trimesh(CUBE.vertices, CUBE.faces, process=False).export(tmp_path / "a.3mf")
    mesh = read_mesh(tmp_path / "a.3mf")
    assert closed(mesh.faces)
    assert solid(mesh.vertices, mesh.faces).volume == pytest.approx(6000, rel=1e-6)


def test_an_open_model_needs_a_mass_and_gets_its_hull(tmp_path: Path) -> None:
    """A leaky mesh is refused without a mass; with one its hull stands in, and a note says so."""
    (tmp_path / "a.stl").write_bytes(stl(CUBE, drop=1))
    with pytest.raises(SheetError, match="not watertight"):
        assemble(parse(HEAD + '[imports]\na = { file = "a.stl" }\n', tmp_path), tmp_path)
    quad = assemble(parse(HEAD + '[imports]\na = { file = "a.stl", mass = 7 }\n', tmp_path), tmp_path)
    assert quad.part("a").mass == pytest.approx(0.007)
    assert closed(quad.part("a").faces)
    assert any("convex hull" in note for note in quad.notes)


def test_a_model_that_cannot_be_meant_is_refused(tmp_path: Path) -> None:
    """Flat, empty, huge, tiny or unknown files each get their words."""
    flat = Mesh(CUBE.vertices * [1, 1, 0], CUBE.faces)
    files = {
        "a.stl": stl(flat),
        "b.stl": b"",
        "c.stl": b"solid x\nendsolid x\n",
        "d.step": b"x",
        "e.3mf": b"PK\x03\x04 no archive",
        "f.stl": stl(Mesh(CUBE.vertices * 1e-3, CUBE.faces)),
        "g.stl": stl(Mesh(CUBE.vertices * np.nan, CUBE.faces)),
        "h.obj": b"v 0 0\nf 1 2 3\n",
    }
    for name, raw in files.items():
        (tmp_path / name).write_bytes(raw)
        text = HEAD + f'[imports]\na = {{ file = "{name}", mass = 3 }}\n'
        with pytest.raises(CrashworthyError) as caught:
            assemble(parse(text, tmp_path), tmp_path)
        assert caught.value.problems[0].remedy, name


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), kind=st.sampled_from(["stl", "obj", "3mf"]))
def test_a_mangled_model_is_only_ever_refused_politely(
    tmp_path: Path, data: st.DataObject, kind: str
) -> None:
    """Damaged STL, OBJ and 3MF bytes give a mesh or DrawingError."""
    base = {
        "stl": stl(CUBE),
        "obj": b"v 0 0 0\nv 9 0 0\nv 0 9 0\nv 0 0 9\nf 1 2 3\nf 1 2 4\n",
        "3mf": b"PK\x03\x04",
    }
    raw = bytearray(base[kind])
    for _ in range(data.draw(st.integers(0, 3))):
        at = data.draw(st.integers(0, len(raw)))
        raw[at : at + data.draw(st.integers(0, 40))] = data.draw(st.binary(max_size=8))
    path = tmp_path / f"m.{kind}"
    path.write_bytes(raw)
    mesh = polite(read_mesh, path)
    assert mesh is None or (len(mesh.faces) > 0 and bool(np.isfinite(mesh.vertices).all()))


def test_a_watertight_mesh_is_told_from_a_leaky_one() -> None:
    """Every edge once each way: closed; a face missing or turned: not."""
    mesh = lathe([(1.0, 0.0), (1.0, 2.0)])
    assert closed(mesh.faces)
    assert not closed(mesh.faces[1:])
    turned = mesh.faces.copy()
    turned[0] = turned[0][::-1]
    assert not closed(turned)
