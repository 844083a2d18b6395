"""What somebody else gave holds counts and nothing more."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from crashworthy.errors import JournalError
from crashworthy.upkeep.counts import QuadCounts, read_counts
from crashworthy.upkeep.crew import crew
from crashworthy.upkeep.giving import Given, checked_counts, checked_source, counts_text

HERON = QuadCounts("Heron", 40, (9, 5, 2), {"arm": (2, 1.5)}, {"arm": (0.3, 0.4, 12)})


def text_of(**changes):
    """An export of one quad, changed."""
    return json.dumps(HERON.to_json() | changes)


def test_counts_come_back_as_they_were_given():
    """Keeping and reading changes nothing; a list of one is one."""
    assert checked_counts(text_of()) == (HERON,)
    assert checked_counts(f"[{text_of()}]") == (HERON,)
    assert read_counts(counts_text(HERON)) == (HERON,)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[]", "holds no quad"),
        ("{}", "no file of counts"),
        (text_of(notes=["at the quarry"]), "more than counts: notes"),
        (text_of(items={"we flew at the old quarry\n on sunday": [1, 1.0]}), "which is no item"),
        (text_of(items={"x" * 60: [1, 1.0]}), "which is no item"),
        (text_of(label=""), "is no name of a quad"),
        (f"[{text_of()}, {text_of(packs=3)}]", "is there twice"),
    ],
)
def test_what_is_no_count_is_refused(text, said):
    """A note, a sentence in the place of an item, a nameless quad: each is told, none is kept."""
    with pytest.raises(JournalError, match=said):
        checked_counts(text, file="theirs.json")


def test_a_quad_is_not_counted_twice():
    """One's own export, or the same export under another name, would count the same crashes again."""
    with pytest.raises(JournalError, match="of this fleet"):
        checked_counts(text_of(label="Other"), own=[HERON])
    given = Given("the mill", datetime(2026, 5, 1, tzinfo=UTC), HERON)
    with pytest.raises(JournalError, match="given by the mill already"):
        checked_counts(text_of(), others=[given])
    new = text_of(packs=0, crashes=[0, 0, 0], items={}, screws={})
    empty = QuadCounts("Mine", 0, (0, 0, 0), {}, {})
    assert checked_counts(new, own=[empty])[0].packs == 0  # two that have not flown are two


def test_given_counts_move_a_pooled_rate():
    """With what a crew gives, a quad's own rate is pulled towards theirs: the arrow has somewhere to go."""
    mine = QuadCounts("Gannet", 40, (9, 5, 2), {"arm": (0, 2.0)}, {})
    theirs = [
        Given(
            "mill",
            datetime(2026, 5, 1, tzinfo=UTC),
            QuadCounts(f"H{i}", 90, (9, 9, 9), {"arm": (12, 6.0)}, {}),
        )
        for i in range(3)
    ]
    alone = crew([mine]).items[0]
    joined = crew([mine, *(g.named() for g in theirs)]).items[0]
    assert joined.labels[1] == "H0 (mill)"
    assert joined.raw[0] == alone.raw[0] == 0.0
    assert joined.pooled[0] > alone.pooled[0]


@pytest.mark.parametrize("name", ["", "  ", "x" * 41, "two\nlines", "bell\x07"])
def test_a_source_has_a_name_of_one_line(name):
    """Who gave counts is said in one short line."""
    with pytest.raises(JournalError, match="is no name"):
        checked_source(name)
    assert checked_source(" the mill ") == "the mill"
