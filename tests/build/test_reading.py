"""A broken sheet is told where, what and what to do; a good one comes back as it went."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crashworthy.build.assemble import assemble, load, parse, to_toml
from crashworthy.build.lines import find_line, key_lines
from crashworthy.build.models import closed
from crashworthy.errors import CrashworthyError, SheetError

EXAMPLES = Path(__file__).parents[2] / "examples"

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


@pytest.mark.parametrize("name", ["gannet", "dunlin"])
def test_sheet_to_quad_to_sheet_is_the_same_build(name: str) -> None:
    """A quad can be written as a sheet again and gives the same digest and the same parts."""
    quad = load(EXAMPLES / f"{name}.toml")
    text = to_toml(quad.sheet)
    again = assemble(parse(text, EXAMPLES), EXAMPLES)
    assert again.digest == quad.digest
    assert again.sheet == quad.sheet
    assert [p.name for p in again.parts] == [p.name for p in quad.parts]
    assert again.points.area.tobytes() == quad.points.area.tobytes()
    assert to_toml(again.sheet) == text


def test_the_digest_follows_the_sheet_and_its_drawings(tmp_path: Path) -> None:
    """Another size or another drawing gives another digest; comments and order do not."""
    import shutil

    text = (EXAMPLES / "gannet.toml").read_text(encoding="utf-8")
    shutil.copytree(EXAMPLES / "gannet", tmp_path / "gannet")
    first = assemble(parse(text, tmp_path), tmp_path)
    assert assemble(parse("# hello\n" + text, tmp_path), tmp_path).digest == first.digest
    assert (
        assemble(parse(text.replace("h           = 19", "h = 19.1"), tmp_path), tmp_path).digest
        != first.digest
    )
    drawing = tmp_path / "gannet" / "top.dxf"
    drawing.write_bytes(drawing.read_bytes() + b"999\nnote\n")
    changed = parse(text, tmp_path)
    try:
        assert assemble(changed, tmp_path).digest != first.digest
    except CrashworthyError:
        pytest.fail("a trailing comment must not spoil a drawing")


lengths = st.floats(1.0, 60.0).map(lambda v: round(v, 3))
names = st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True)


@st.composite
def sheets(draw: st.DrawFn) -> str:
    """Sheets of boxes, loose masses and plates in any number."""
    rows = ["schema = 1", f"name = {draw(names)!r}"]
    if draw(st.booleans()):
        rows.append(f"weighed = {draw(st.integers(300, 900))}")
    rows.append(f"arms = {{ wheelbase = {draw(st.integers(180, 260))}, t = {draw(st.integers(3, 7))} }}")
    keys = draw(st.lists(names, max_size=6, unique=True))
    rows.append("[boxes]")
    for key in keys[::2]:
        size = [draw(lengths) for _ in range(3)]
        at = [draw(st.integers(-80, 80)) for _ in range(3)]
        rows.append(
            f"b_{key} = {{ size = {size}, at = {at}, mass = {draw(lengths)}, "
            f"tilt = {draw(st.integers(-90, 90))} }}"
        )
    rows.append("[loose]")
    rows += [f"l_{key} = {draw(lengths)}" for key in keys[1::2]]
    return "\n".join(rows) + "\n"


@settings(max_examples=25, deadline=None)
@given(sheets())
def test_any_sheet_makes_the_round_trip(text: str) -> None:
    """Sheet, quad, sheet, quad: the digest stays and so does the text."""
    sheet = parse(text)
    written = to_toml(sheet)
    assert parse(written) == sheet
    assert assemble(parse(written)).digest == assemble(sheet).digest


def assert_polite(text: str, folder: Path | None = None) -> None:
    """The text parses, or is refused with words and remedy for every problem; anything else escapes."""
    try:
        parse(text, folder)
    except SheetError as error:
        problems = error.problems
    else:
        return
    assert problems
    assert all(p.what and p.remedy for p in problems)


GANNET = (EXAMPLES / "gannet.toml").read_text(encoding="utf-8")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_mangled_sheet_is_only_ever_refused_politely(data: st.DataObject) -> None:
    """Whatever a slip of the hand does to a sheet, it parses or raises SheetError."""
    text = GANNET
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text)))
        upto = data.draw(st.integers(at, min(len(text), at + 12)))
        text = text[:at] + data.draw(st.text(max_size=4)) + text[upto:]
    assert_polite(text, EXAMPLES)


@settings(max_examples=100, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers(-9, 9) | st.floats(allow_nan=False) | st.text(max_size=4),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
        max_leaves=6,
    ),
    st.sampled_from(
        [
            "arms",
            "motors",
            "props",
            "plates",
            "standoffs",
            "stack",
            "camera",
            "antennas",
            "battery",
            "leads",
            "boxes",
            "imports",
            "screws",
            "loose",
            "weighed",
            "name",
        ]
    ),
)
def test_a_section_of_any_other_shape_is_refused_politely(value: object, section: str) -> None:
    """Valid TOML that is no build sheet parses or raises SheetError."""
    import tomli_w

    def clean(v: object) -> object:
        if v is None:
            return 0
        if isinstance(v, list):
            return [clean(x) for x in v]
        return {k: clean(x) for k, x in v.items()} if isinstance(v, dict) else v

    text = tomli_w.dumps({"schema": 1, "name": "x", "arms": {"wheelbase": 200}, section: clean(value)})
    assert_polite(text)


def test_lines_are_found_through_every_kind_of_toml() -> None:
    """The line of a key is found in tables, arrays of tables, dotted keys and multi-line values."""
    text = (
        'a = 1 # = [\n"b c" = """x\ny = 3\n"""\n[t]\nk = [1,\n 2, # ]\n {q = 3}]\nd.e = \'#\'\n'
        "[[s]]\nx = 1\n[[s]]\nx = 2\n[s.u]\nz = 1979-05-27 07:32:00\nf = 1e-3\n"
    )
    tomllib.loads(text)
    lines = key_lines(text)
    wanted = {
        ("a",): 1,
        ("b c",): 2,
        ("t",): 5,
        ("t", "k"): 6,
        ("t", "k", 1): 7,
        ("t", "k", 2, "q"): 8,
        ("t", "d", "e"): 9,
        ("s", 0, "x"): 11,
        ("s", 1, "x"): 13,
        ("s", 1, "u", "z"): 15,
        ("s", 1, "u", "f"): 16,
    }
    assert {k: lines.get(k) for k in wanted} == wanted
    assert find_line(lines, ("t", "k", 2, "q", "deeper")) == 8
    assert find_line(lines, ("none",)) == 0


DUNLIN = (EXAMPLES / "dunlin.toml").read_text(encoding="utf-8")
NUMBERS = [m.span() for m in re.finditer(r"(?<![\w\".])-?\d+(\.\d+)?(?![\w\".])", DUNLIN) if m.start() > 300]
EXTREMES = [
    "0",
    "-1",
    "1e-9",
    "0.1",
    "0.5",
    "2",
    "7",
    "50",
    "100",
    "500",
    "2000",
    "-2000",
    "-7",
    "180",
    "1e-320",
]


@settings(max_examples=40, deadline=None)
@given(
    changes=st.dictionaries(st.sampled_from(NUMBERS), st.sampled_from(EXTREMES), min_size=1, max_size=3),
)
def test_extreme_numbers_make_a_sound_quad_or_words(changes: dict[tuple[int, int], str]) -> None:
    """Whatever numbers stand in a sheet, it becomes a finite quad of closed parts or is refused in words."""
    text = DUNLIN
    for (start, end), value in sorted(changes.items(), reverse=True):
        text = text[:start] + value + text[end:]
    try:
        quad = assemble(parse(text))
    except CrashworthyError as error:
        problems = error.problems
    else:
        assert np.isfinite(quad.mass_properties.inertia).all()
        assert np.isfinite(quad.points.position).all()
        assert all(closed(p.faces) for p in quad.parts if p.kind != "loose")
        assert all(np.linalg.eigvalsh(p.inertia).min() >= 0 for p in quad.parts)
        return
    assert all(p.what and p.remedy for p in problems)
