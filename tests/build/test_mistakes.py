"""A broken sheet is told which file, line and field, what is wrong and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from crashworthy.build.assemble import load, parse
from crashworthy.errors import SheetError

GOOD = """schema = 1
name = "Tern"
arms = { wheelbase = 226 }
"""

# Each: text after the good head, the field named, the line, and words of the remedy.
BROKEN = {
    "misspelt key": ("[motors]\nmas = 33\n", "motors.mas", 5, "did you mean 'mass'"),
    "misspelt section": ("[moters]\nmass = 33\n", "moters", 4, "did you mean 'motors'"),
    "unit in the number": ('[props]\nd = "127 mm"\n', "props.d", 5, "the diameter, mm"),
    "text for a number": ('[motors]\nmass = "heavy"\n', "motors.mass", 5, "the mass of one motor"),
    "negative size": ("[motors]\n\n\nh = -3\n", "motors.h", 7, "the height"),
    "too large": ("[props]\nd = 1270\n", "props.d", 5, "20 to 400"),
    "fraction of a blade": ("[props]\nblades = 2.5\n", "props.blades", 5, "number of blades"),
    "boolean for a number": ("[props]\nd = true\n", "props.d", 5, "the diameter"),
    "not finite": ("[props]\nd = nan\n", "props.d", 5, "the diameter"),
    "infinite": ("[props]\nd = inf\n", "props.d", 5, "the diameter"),
    "no such choice": ('[motors]\nspin = "inn"\n', "motors.spin", 5, "did you mean 'in'"),
    "corner twice": ('[motors]\nlog_order = ["fl", "fl", "rl", "rr"]\n', "motors", 4, "once"),
    "three corners": ('[motors]\nlog_order = ["fl", "fr", "rl"]\n', "motors.log_order[3]", 5, "corners"),
    "row without size": ("[plates]\ntop = { t = 2 }\n", "plates.top", 5, "exactly one of dxf"),
    "two outlines": (
        "[plates]\ntop = { t = 2, rect = [9, 9], poly = [[0, 0], [9, 0], [0, 9]] }\n",
        "plates.top",
        5,
        "exactly one",
    ),
    "thickness left out": ("[plates]\ntop = { rect = [90, 40] }\n", "plates.top.t", 5, "thickness"),
    "cheek without place": (
        "[plates]\nc = { side = [[0, 0], [9, 0], [0, 9]], t = 2 }\n",
        "plates.c",
        5,
        "both",
    ),
    "capital in a name": ("[plates]\nTop = { rect = [90, 40], t = 2 }\n", "plates.Top", 5, "small letters"),
    "unknown material": (
        '[plates]\ntop = { rect = [90, 40], t = 2, material = "carbon" }\n',
        "plates.top.material",
        5,
        "carbon_plate",
    ),
    "number in a point": (
        '[plates]\ntop = { t = 2, poly = [\n  [0, 0],\n  [9, "x"], [0, 9]] }\n',
        "plates.top.poly[1][1]",
        7,
        "corners",
    ),
    "two corners": ("[plates]\ntop = { t = 2, poly = [[0, 0], [9, 9]] }\n", "plates.top.poly", 5, "three"),
    "crossing outline": (
        "[plates]\ntop = { t = 2, poly = [[0, 0], [9, 9], [9, 0], [0, 9]] }\n",
        "plates.top.poly",
        5,
        "in order",
    ),
    "holes cut it apart": (
        "[plates]\ntop = { t = 2, rect = [90, 20], slots = [[0, 0, 5, 40]] }\n",
        "plates.top.slots",
        5,
        "places and sizes",
    ),
    "row is no table": ("[plates]\ntop = 3\n", "plates.top", 5, "key = value"),
    "no drawing": ('[plates]\ntop = { t = 2, dxf = "lost.dxf" }\n', "plates.top.dxf", 5, "beside the sheet"),
    "drawing elsewhere": ('[plates]\ntop = { t = 2, dxf = "../a.dxf" }\n', "plates.top.dxf", 5, "folder"),
    "no model": ('[imports]\na = { file = "lost.stl" }\n', "imports.a.file", 5, "beside the sheet"),
    "view half said": (
        "[camera]\nat = { edge_x = 80, z = 20 }\nview = { fov = 130 }\n",
        "camera.view",
        6,
        "fov and of",
    ),
    "camera without place": ("[camera]\nmass = 9\n", "camera.at", 4, "edge_x"),
    "antenna without direction": (
        "[antennas]\nv = { at = [0, 0, 0], dir = [0, 0, 0], length = 40 }\n",
        "antennas.v",
        5,
        "vector",
    ),
    "lead repeats": (
        "[leads]\nm = { path = [[0, 0, 0], [0, 0, 0]], d = 5, mass = 5 }\n",
        "leads.m",
        5,
        "each point once",
    ),
    "shield face twice": (
        '[battery]\nsize = [70, 35, 30]\nmass = 200\nat = [0, 0, 30]\nshield = ["front", "front"]\n',
        "battery",
        4,
        "once",
    ),
    "board without a size": (
        '[stack]\nz = 5\nboards = [{ name = "fc", mass = 9 }]\n',
        "stack.boards[0].size",
        6,
        "length, width",
    ),
    "no thread": ("[screws]\narm = { length = 8 }\n", "screws.arm.thread", 5, "M1.4"),
    "unknown thread": (
        '[screws]\narm = { thread = "M7", length = 8 }\n',
        "screws.arm.thread",
        5,
        "the thread",
    ),
    "unknown grade": (
        '[screws]\narm = { thread = "M3", length = 8, grade = "12.8" }\n',
        "screws.arm.grade",
        5,
        "did you mean '12.9'",
    ),
    "screws in nothing": (
        '[screws]\nstack = { thread = "M3", length = 8 }\n',
        "screws.stack",
        5,
        "describe what they hold",
    ),
    "screws nowhere": (
        '[screws]\nlid = { thread = "M3", length = 8 }\n',
        "screws.lid",
        5,
        "give at",
    ),
    "screws join a ghost": (
        '[screws]\nlid = { thread = "M3", length = 8, at = [[0, 0, 0]], joins = ["ghost"] }\n',
        "screws.lid.joins",
        5,
        "names of parts",
    ),
    "name twice": (
        "[boxes]\nx1 = { size = [5, 5, 5], at = [0, 0, 50], mass = 1 }\n[loose]\nx1 = 3\n",
        "loose.x1",
        7,
        "another name",
    ),
    "negative loose mass": ("[loose]\nglue = -3\n", "loose.glue", 5, "give"),
    "no weight": ("[loose]\nglue = 0\n", "loose.glue", 5, "give"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_sheet_names_field_line_and_remedy(case: str, tmp_path: Path) -> None:
    """Every mistake is told with file, line, field and remedy, from the file to the quad."""
    text, field, line, remedy = BROKEN[case]
    path = tmp_path / "tern.toml"
    path.write_text(GOOD + text, encoding="utf-8")
    with pytest.raises(SheetError) as caught:
        load(path)
    assert len(caught.value.problems) == 1, caught.value.problems
    (problem,) = caught.value.problems
    assert (problem.field, problem.line) == (field, line)
    assert remedy in problem.remedy
    assert problem.file == str(path)
    assert problem.what


@pytest.mark.parametrize(
    ("text", "field", "line"),
    [
        ('schema = 1\nname = "x"\n', "arms", 0),
        ('schema = 2\nname = "x"\narms = { wheelbase = 200 }\n', "schema", 1),
        ('schema = 1\nname = "!"\narms = { wheelbase = 200 }\n', "", 0),
        ('schema = 1\nname = ""\narms = { wheelbase = 200 }\n', "name", 2),
        ('schema = 1\nname = "x"\narms = { wheelbase = 200, r0 = 90 }\n', "arms", 3),
        ('schema = 1\nname = "x"\narms = { wheelbase = 200, clamp = 90 }\n', "arms", 3),
        ('schema = 1\nname = "x"\narms = { wheelbase = 200\n', "", 3),
        ('schema = 1\nname = "x\narms = 3\n', "", 2),
        ("schema = 1\nschema = 1\n", "", 2),
        ("schema = 1\n\n== 3\n", "", 3),
        ("", "schema", 0),
        ("x = " + "[" * 5000, "", 0),
        ("x = " + "9" * 9000, "", 0),
    ],
)
def test_what_is_wrong_with_the_head_is_told(text: str, field: str, line: int) -> None:
    """A sheet that is not TOML, or lacks what every quad has, is refused with its line."""
    with pytest.raises(SheetError) as caught:
        parse(text, file="x.toml")
    found = [(p.field, p.line) for p in caught.value.problems]
    assert (field, line) in found
    assert all(p.remedy for p in caught.value.problems)


def test_all_mistakes_are_told_at_once() -> None:
    """A pilot mends a sheet in one go, from top to bottom."""
    text = GOOD + '[motors]\nmas = 3\nspin = "x"\n[props]\nd = 1\n[stack]\n'
    with pytest.raises(SheetError) as caught:
        parse(text)
    assert [p.line for p in caught.value.problems] == [5, 6, 8, 9, 9]


def test_a_file_that_is_no_sheet_is_told(tmp_path: Path) -> None:
    """A missing, binary or huge file and a folder each get one plain message."""
    binary, huge = tmp_path / "b.toml", tmp_path / "h.toml"
    binary.write_bytes(b"schema = 1\n\xff\xfe\x00")
    huge.write_bytes(b"#" * 2_000_001)
    for path in (binary, huge, tmp_path, tmp_path / "none.toml"):
        with pytest.raises(SheetError) as caught:
            load(path)
        assert caught.value.problems[0].file == str(path)
    with pytest.raises(SheetError) as caught:
        load(binary)
    assert caught.value.problems[0].line == 2
