"""A journal as a table says what its lines say."""

from __future__ import annotations

import random
from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.upkeep.events import IdMaker, Scribe, retract
from crashworthy.upkeep.payloads import Check, Crash, Finding, Note, Pack, Photo, Swap, Tap
from crashworthy.upkeep.sheets import COLUMNS, read_table, write_table

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
words = st.text(st.characters(blacklist_categories=("Cc", "Cs", "Zl", "Zp")), max_size=20).map(str.strip)
needed = words.filter(bool)
payloads = st.one_of(
    st.builds(
        Pack,
        minutes=st.none() | st.floats(0, 120),
        battery=words,
        rms=st.none() | st.floats(0, 1e6),
        bent_prop=st.booleans(),
        crashes=st.none() | st.integers(0, 200),
    ),
    st.builds(
        Crash,
        severity=st.sampled_from(["scuff", "hit", "slam"]),
        obstacle=words,
        broke=st.lists(needed, max_size=3, unique=True).map(tuple),
    ),
    st.builds(Check, group=needed, looked=st.integers(5, 9), loose=st.integers(0, 5)),
    st.builds(Swap, part=needed, serial=words),
    st.builds(Tap, part=needed, hz=st.lists(st.floats(1, 20000), min_size=1, max_size=5).map(tuple)),
    st.builds(Finding, part=needed, state=st.sampled_from(["fine", "worn", "damaged"]), text=words),
    st.builds(Note, text=needed),
)


def scribe():
    """A device with fixed randomness."""
    source = random.Random(1)  # noqa: S311 - repeatable on purpose
    return Scribe("phone", lambda: NOON, IdMaker(lambda: NOON, source.randbytes))


@given(st.lists(payloads, max_size=6))
@settings(max_examples=150, deadline=None)
def test_a_table_brings_every_event_back(said):
    """Whatever an event says, writing and reading a table gives the same event."""
    pen = scribe()
    events = [pen.write("gannet", p, NOON + timedelta(seconds=i)) for i, p in enumerate(said)]
    got = read_table("".join(write_table(events)))
    assert got.problems == ()
    assert list(got.events) == events


def test_retractions_and_pictures_travel_too():
    """Ids inside events keep their spelling."""
    pen = scribe()
    first = pen.write("gannet", Photo("0123456789abcdef.jpg", "0" * 64, "arm_fl", "=1+1; crack, long"))
    events = [first, retract(pen, first, "wrong quad")]
    assert list(read_table("".join(write_table(events))).events) == events


def test_formulas_are_defused_and_restored():
    """A note that begins like a formula is written with an apostrophe, and read without it."""
    pen = scribe()
    events = [pen.write("gannet", Note(text)) for text in ("=cmd()", "'=cmd()", "-1", "'quoted'")]
    text = "".join(write_table(events))
    assert ",=cmd" not in text
    assert list(read_table(text).events) == events


def test_a_table_written_by_hand_needs_three_columns_and_can_be_taken_twice():
    """Ids come from the row, so that the same file is the same events; semicolons and BOM are fine."""
    rows = ["quad;kind;occurred;minutes;crashes", "gannet;pack;2026-05-01T10:30:00Z;4,2;1", ""]
    text = "\ufeff" + "\n".join([*rows, "gannet;pack;2026-05-01T10:40:00Z;;", ""])
    one, two = read_table(text), read_table(text)
    assert one.problems == ()
    assert one.events == two.events
    assert one.events[0].payload == Pack(minutes=4.2, crashes=1)
    assert one.events[0].id.version == 7
    assert len({e.id for e in one.events}) == 2


@pytest.mark.parametrize(
    ("row", "field"),
    [
        ("gannet,pack,2026-05-01T10:30:00Z,long", "minutes"),
        ("gannet,pack,yesterday,4", "occurred"),
        ("gannet,flight,2026-05-01T10:30:00Z,4", "kind"),
        ("Gannet!,pack,2026-05-01T10:30:00Z,4", "quad"),
        ("gannet,note,2026-05-01T10:30:00Z,4", "minutes"),
        ("gannet,pack,2026-05-01T10:30:00Z,4,5,6", ""),
    ],
)
def test_a_bad_row_is_told_and_the_rest_taken(row, field):
    """Each problem names file, line and field; good rows are kept, the bad one stays readable."""
    text = f"quad,kind,occurred,minutes\n{row}\ngannet,pack,2026-05-01T10:31:00Z,4\n"
    got = read_table(text, "x.csv")
    assert len(got.events) == 1
    assert {(p.file, p.line) for p in got.problems} == {("x.csv", 2)}
    assert field in {p.field for p in got.problems}
    assert got.bad_lines == ((2, row),)


@pytest.mark.parametrize(
    "text", ["", "quad,kind\n", "quad,kind,occurred,colour\n", "quad,quad,kind,occurred\n"]
)
def test_a_table_without_its_columns_is_refused(text):
    """The message lists the columns there are."""
    with pytest.raises(JournalError, match=COLUMNS[-1] if text else "header"):
        read_table(text)


@given(st.text(max_size=200))
@settings(max_examples=150, deadline=None)
def test_no_text_can_break_it(text):
    """Any text gives events and problems, or one clear error."""
    got = read_table("quad,kind,occurred\n" + text)
    assert got.problems or not got.bad_lines
    with suppress(JournalError):
        read_table(text)
