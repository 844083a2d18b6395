"""A dozen answers make a sheet that loads, assembles and says what it assumed."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crashworthy.build.answers import Drawing, sheet_of, with_balance
from crashworthy.build.assemble import assemble, parse, to_toml
from crashworthy.build.questions import FIELDS, QUESTIONS, all_checked, checked
from crashworthy.errors import SheetError


def _any(field: object) -> st.SearchStrategy:
    if field.options:
        return st.sampled_from([value for value, _ in field.options])
    if field.is_text:
        return st.sampled_from(["Wren", "Old \u201cgrey\u201d quad 3", 'a"b\\c'])
    if field.unit == "":
        return st.integers(int(field.low), int(field.high)).map(float)
    return st.floats(field.low, field.high, allow_nan=False)


ANSWERS = st.fixed_dictionaries({}, optional={f.key: _any(f) for f in FIELDS})


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(answers=ANSWERS)
def test_any_admissible_answers_are_a_quad(answers: dict) -> None:
    """Whatever is answered within the ranges gives a sheet that loads, assembles and round-trips."""
    found = sheet_of(answers)
    assert parse(found.text) == found.sheet
    assert parse(to_toml(found.sheet)) == found.sheet
    quad = assemble(found.sheet, points=64)
    assert quad.mass > 0.0
    assert len(quad.arms) == 4
    assert found.given + len(found.assumed) <= found.asked == len(FIELDS)


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(answers=ANSWERS)
def test_any_admissible_answers_can_be_crashed(answers: dict) -> None:
    """Such a quad goes through crashes and comes out with finite loads."""
    import numpy as np

    from crashworthy.impact.campaign import simulate

    batch = simulate(assemble(sheet_of(answers).sheet, points=300), 4, seed=3)
    assert np.isfinite(batch.part_peak).all()


def test_what_was_typed_comes_back_from_the_sheet() -> None:
    """Each number answered stands in the sheet where it belongs."""
    sheet = sheet_of({"name": "Wren", "wheelbase": 219.0, "pack_mass": 205.0, "cam_tilt": 25.0}).sheet
    assert (sheet.name, sheet.arms.wheelbase) == ("Wren", 219.0)
    assert sheet.battery is not None
    assert sheet.camera is not None
    assert (sheet.battery.mass, sheet.camera.at.tilt) == (205.0, 25.0)


def test_comments_tell_measured_from_assumed() -> None:
    """The line above each row says which of its numbers were answered."""
    text = sheet_of({"wheelbase": 219.0}).text
    above = text[: text.index("\narms =")].rsplit("\n", 1)[1]
    assert above.startswith("# measured: motor to motor, diagonally; assumed: thickness")
    assert "# assumed: diameter, blades" in text


def test_every_assumption_says_what_it_moves() -> None:
    """Nothing is assumed in silence."""
    assert len(QUESTIONS) == 12
    assumed = sheet_of({}).assumed
    assert {a.key for a in assumed} == {f.key for f in FIELDS} - {"name", "weighed"}
    assert all(a.moves and a.words for a in assumed)


def test_the_scales_find_what_is_not_described() -> None:
    """Grams beyond the parts are put into the sheet, so that the quad weighs what the scales said."""
    answers = {"name": "Wren", "weighed": 650.0}
    bare = assemble(sheet_of(answers).sheet, points=64)
    whole = assemble(with_balance(answers, 1000 * bare.mass).sheet, points=64)
    assert whole.mass == pytest.approx(0.65, abs=6e-5)


def test_drawings_take_the_place_of_plate_and_part() -> None:
    """A DXF becomes the plate's outline, a body an import."""
    sheet = sheet_of({}, [Drawing("bottom", "a/b.dxf"), Drawing("part", "a/c.stl")]).sheet
    assert sheet.plates["bottom"].dxf == "a/b.dxf"
    assert sheet.imports["c"].file == "a/c.stl"


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("wheelbase", "22"),
        ("wheelbase", "wide"),
        ("blades", "2.5"),
        ("antenna", "roof"),
        ("name", "!!!"),
        ("x", "1"),
    ],
)
def test_a_wrong_answer_says_what_would_do(key: str, text: str) -> None:
    """Each refusal names the field and a remedy."""
    with pytest.raises(SheetError) as told:
        checked(key, text)
    assert told.value.problems[0].field == key
    assert told.value.problems[0].remedy


def test_units_and_decimal_commas_are_understood() -> None:
    """What a person types is taken as meant."""
    assert all_checked({"wheelbase": "226 mm", "arm_t": "4,5", "pack_w": " "}) == {
        "wheelbase": 226.0,
        "arm_t": 4.5,
    }
