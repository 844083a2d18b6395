"""Numbers in words: units shown, signs and gaps right, nothing shown as exact that is not."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crashworthy.web import words


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (words.grams(0.6977), "698 g"),
        (words.grams(-0.0123, 1), "−12.3 g"),
        (words.grams(None), "–"),
        (words.millimetres(0.0048), "4.8 mm"),
        (words.percent(0.414), "41 %"),
        (words.percent(0.0312), "3.1 %"),
        (words.percent(0.0006), "0.06 %"),
        (words.percent(0.00002), "under 0.01 %"),
        (words.percent(0.0), "0 %"),
        (words.percent(math.nan), "–"),
        (words.chance(0.98), "98 in 100"),
        (words.chance(0.025), "1 in 40"),
        (words.chance(0.0), "never seen"),
        (words.plural(1, "pack"), "1 pack"),
        (words.plural(1840, "crash", "crashes"), "1\u202f840 crashes"),
        (words.number(1234.5), "1\u202f234"),
        (words.number(0.0123456), "0.0123"),
        (words.number(-3.0, 2), "−3.0"),
        (words.number(0.0), "0"),
        (words.number(math.inf), "∞"),
        (words.number(2.5e-7), "2.50e−07"),
        (words.few(1e-17), "under 0.01"),
        (words.few(0.0), "0"),
        (words.whole(2000), "2\u202f000"),
        (words.upfirst("UN rules"), "UN rules"),
        (words.factor(0.25), "1.3"),
    ],
)
def test_each_number_reads_as_it_should(said: str, expected: str) -> None:
    """One example for each rule of the words."""
    assert said == expected


@given(st.floats(1e-4, 9.9e6), st.integers(2, 6))
def test_a_number_keeps_its_digits(value: float, digits: int) -> None:
    """What is written differs from the number by at most half a unit of its last significant digit."""
    shown = float(words.number(value, digits).replace("\u202f", "").replace("−", "-"))
    assert shown == pytest.approx(value, rel=0.5001 * 10.0 ** (1 - digits))


def test_moments_are_told_in_utc_and_roughly() -> None:
    """Another zone is turned into UTC; ages are whole days, hours or minutes."""
    moment = datetime(2026, 5, 1, 10, 30, tzinfo=UTC)
    assert words.day(moment) == "2026-05-01 10:30 UTC"
    assert words.iso(moment) == "2026-05-01T10:30:00+00:00"
    assert words.ago(moment, moment + timedelta(hours=50)) == "2 days ago"
    assert words.ago(moment, moment + timedelta(minutes=61)) == "1 hour ago"
    assert words.ago(moment, moment) == "just now"
    assert words.ago(None) == "never"


def test_sentences_are_set_as_print_has_them() -> None:
    """Ranges get a dash, sizes a cross, negative numbers a minus; dates and words stay as they are."""
    assert words.typeset("-0.15 %") == "−0.15 %"
    given = "M3 x 12 at 0.8-1.0 N m (-0.1 to 3), -4 mm on 2026-11-29, see-saw"
    assert words.typeset(given) == "M3 × 12 at 0.8–1.0 N m (−0.1 to 3), −4 mm on 2026-11-29, see-saw"


def test_a_change_has_its_sign_and_nothing_has_none() -> None:
    """Changes carry a sign, with a true minus; what rounds to nothing is 0."""
    assert [words.signed(x, 1) for x in (7.0, -9.44, -0.04, None)] == ["+7.0", "−9.4", "0", "–"]
