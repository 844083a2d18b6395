"""One call draws a result; what cannot be drawn says what can."""

from __future__ import annotations

import pytest

from crashworthy import plot
from crashworthy.errors import CrashworthyError
from crashworthy.impact.sensitivity import Bar, Tornado
from crashworthy.pictures.figures import Picture


@pytest.fixture
def swing():
    """A sensitivity of one parameter."""
    bar = Bar("speed", "median speed", "6.2 m/s", "10.4 m/s", "assumption", 30.0, 52.0, (), ())
    return Tornado("Wren", "bench minutes", 64, 1, 41.0, (), (), (bar,), ())


def test_a_picture_stands_alone(swing, tmp_path):
    """A saved picture needs no style sheet, and its numbers are those of the result."""
    made = plot(swing)
    text = made.save(tmp_path / "swing.svg").read_text(encoding="utf-8")
    assert "<style" not in text
    assert "var(--" not in text
    assert "30.0 to 52.0" in text
    assert made._repr_svg_() == text


def test_a_picture_becomes_paper(swing, tmp_path):
    """A name that ends in .pdf gives a PDF."""
    assert plot(swing).save(tmp_path / "swing.pdf").read_bytes().startswith(b"%PDF")


def test_another_ending_is_refused(tmp_path):
    """A name that ends otherwise is refused with the two that will do, and nothing is written."""
    with pytest.raises(CrashworthyError, match=r"\.svg or \.pdf"):
        Picture("x", "<svg/>").save(tmp_path / "x.png")
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_picture_names_those_there_are(swing):
    """Asking for a picture that a result has not names those it has."""
    with pytest.raises(CrashworthyError, match="ask for assumptions"):
        plot(swing, "breaks")


def test_a_result_with_nothing_in_it_says_so():
    """An empty result is told, not drawn empty."""
    with pytest.raises(CrashworthyError, match="nothing to draw"):
        plot(Tornado("Wren", "bench minutes", 64, 1, 41.0, (), (), (), ()))


@pytest.mark.parametrize("thing", [3, [1, 2], "gannet"])
def test_what_is_no_result_is_refused_with_what_is(thing):
    """Something that is no result is refused with a word on what can be drawn."""
    with pytest.raises(CrashworthyError, match="no picture of"):
        plot(thing)
