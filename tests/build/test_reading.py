"""A sheet comes back as it went, and no text or number gets past its checks."""

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


@settings(max_examples=12, deadline=None)
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


def test_fields_of_later_versions_leave_the_digest_of_older_sheets_alone() -> None:
    """A sheet that does not use a field that came later is the same build; one that uses it is another."""
    import json

    from crashworthy.build.writing import canonical

    root = Path(__file__).parents[2] / "examples"
    text = (root / "gannet.toml").read_text(encoding="utf-8")
    plain = json.loads(canonical(parse(text)))
    assert "hz" not in plain["stack"]
    assert "room" not in plain["camera"]["mount"]
    used = text.replace("[stack]\n", "[stack]\nhz = 200\n").replace(
        'mount = { material = "tpu" }\n', 'mount = { material = "tpu", room = 6 }\n'
    )
    told = json.loads(canonical(parse(used)))
    assert told["stack"]["hz"] == 200.0
    assert told["camera"]["mount"]["room"] == 6.0
