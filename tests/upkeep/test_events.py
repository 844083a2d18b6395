"""Events are strict, canonical and never lost."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from contextlib import suppress
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.upkeep.events import Event, IdMaker, Scribe, amend, milliseconds, moment, retract, uuid7
from crashworthy.upkeep.history import REASONS, SEVERITIES
from crashworthy.upkeep.lines import (
    from_line,
    payload_text,
    read_journal,
    read_lines,
    to_line,
    trusted_payload,
    write_lines,
)
from crashworthy.upkeep.payloads import (
    GRADES,
    KINDS,
    TIGHTENED,
    WHY,
    Build,
    Check,
    Crash,
    Note,
    Pack,
    Repair,
    Retraction,
    Swap,
    Tighten,
    payload_from,
)

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
ID = UUID("019de0d5-c800-7344-9f81-8c8ae66cb18c")

words = st.text(st.characters(blacklist_categories=("Cc", "Cs")), max_size=30).map(str.strip)
needed = words.filter(bool)
parts = st.lists(needed, max_size=3, unique=True).map(tuple)


@st.composite
def checks(draw):
    """Any check whose counts fit together."""
    looked = draw(st.integers(1, 20))
    loose = draw(st.integers(0, looked))
    missing = draw(st.integers(0, looked - loose))
    grade = "missing" if missing else "over-half" if loose else "tight"
    return Check(
        draw(needed),
        looked,
        loose,
        missing,
        draw(st.sampled_from(("", grade))),
        draw(st.sampled_from(("scheduled", "suspicion", "after-crash"))),
        draw(st.sampled_from(("all", "loose", "none"))),
    )


payloads = st.one_of(
    st.builds(
        Pack,
        st.none() | st.floats(0, 120),
        words,
        st.none() | st.floats(0, 1e6),
        st.booleans(),
        st.none() | st.integers(0, 200),
        words,
    ),
    st.builds(Crash, st.sampled_from(("scuff", "hit", "slam")), words, words, parts),
    checks(),
    st.builds(Tighten, needed),
    st.builds(Swap, needed, st.sampled_from(("broke", "worn", "upgrade")), words, st.none() | st.uuids()),
    st.builds(Repair, needed, st.sampled_from(("broke", "worn")), words, st.none() | st.uuids()),
    st.builds(Build, st.from_regex(r"\A[0-9a-f]{8,128}\Z"), words),
    st.builds(Note, needed),
    st.builds(Retraction, st.uuids(), words, st.none() | st.uuids()),
)
moments = st.integers(946_800_000_000, 7_258_000_000_000).map(moment)
events = st.builds(
    Event,
    st.uuids(),
    st.from_regex(r"\A[a-z0-9][a-z0-9_-]{0,20}\Z"),
    moments,
    st.from_regex(r"\A[A-Za-z0-9][A-Za-z0-9._-]{0,20}\Z"),
    st.integers(1, 2**53 - 1),
    payloads,
)


def scribe(*, step_ms=0):
    """A scribe whose clock advances by a fixed step and whose randomness is a counter."""
    state = {"ms": milliseconds(NOON), "n": 0}

    def clock():
        state["ms"] += step_ms
        return moment(state["ms"])

    def entropy(count):
        state["n"] += 1
        return state["n"].to_bytes(count, "big")

    return Scribe("phone", clock, IdMaker(clock, entropy))


@settings(max_examples=200, deadline=None)
@given(events)
def test_a_line_read_back_is_the_same_event_and_the_same_bytes(event):
    """Writing and reading a line changes nothing, and the bytes are canonical."""
    line = to_line(event)
    assert "\n" not in line
    again = from_line(line)
    assert again == event
    assert to_line(again) == line
    assert trusted_payload(event.kind, payload_text(event)) == event.payload


@settings(max_examples=100, deadline=None)
@given(payloads)
def test_no_payload_field_hides_a_field_of_the_event(payload):
    """Payload fields can stand beside the head of a line without a clash."""
    assert not set(type(payload).rules) & {"v", "id", "quad", "kind", "occurred", "device", "seq"}


def test_every_id_field_is_known_to_the_quick_reader():
    """The quick reader of stored payloads turns exactly the id fields into ids."""
    from crashworthy.upkeep import lines

    found = {
        name
        for cls in KINDS.values()
        for name, rule in cls.rules.items()
        if "id_rule" in getattr(rule, "__qualname__", "")
    }
    assert found == lines._IDS


def test_uuid7_layout_against_rfc_9562():
    """The example of RFC 9562, appendix A.6, comes out of its own fields (value from memory)."""
    rand_a, rand_b = 0xCC3, 0x18C4DC0C0C07398F
    made = uuid7(0x017F22E279B0, rand_a << 62 | rand_b)
    assert str(made) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
    assert (made.version, made.variant) == (7, "specified in RFC 4122")
    with pytest.raises(ValueError, match="48 bits"):
        uuid7(1 << 48, 0)


@given(st.lists(st.integers(-5, 5), min_size=2, max_size=40))
def test_ids_rise_whatever_the_clock_does(steps):
    """Ids of one maker rise strictly, also within a ms, with a clock that steps back, and at overflow."""
    now = [milliseconds(NOON)]
    maker = IdMaker(lambda: moment(now[0]), lambda n: b"\xff" * n)
    made = []
    for step in steps:
        now[0] += step
        made.append(maker())
    assert made == sorted(set(made))
    assert all(i.version == 7 for i in made)


def test_ids_of_many_threads_differ():
    """One maker used from several threads gives no id twice."""
    maker = IdMaker(lambda: NOON, bytes)
    made: list[UUID] = []
    threads = [threading.Thread(target=lambda: made.extend(maker() for _ in range(500))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(made)) == 2000


@pytest.mark.parametrize(
    ("kind", "values", "field"),
    [
        ("pack", {"minutes": "4"}, "minutes"),
        ("pack", {"minutes": True}, "minutes"),
        ("pack", {"minutes": float("nan")}, "minutes"),
        ("pack", {"minutes": 10**400}, "minutes"),
        ("pack", {"minutes": -1}, "minutes"),
        ("pack", {"bent_prop": 1}, "bent_prop"),
        ("pack", {"crashes": 1.0}, "crashes"),
        ("pack", {"battery": "a\x00b"}, "battery"),
        ("pack", {"battery": "a\ud800"}, "battery"),
        ("pack", {"battery": "x" * 81}, "battery"),
        ("pack", {"speed": 3}, "speed"),
        ("crash", {}, "severity"),
        ("crash", {"severity": "bang"}, "severity"),
        ("crash", {"severity": "hit", "broke": "arm_fl"}, "broke"),
        ("crash", {"severity": "hit", "broke": ["arm_fl", "arm_fl"]}, "broke"),
        ("check", {"group": "arm", "looked": 0}, "looked"),
        ("check", {"group": " ", "looked": 1}, "group"),
        ("check", {"group": "arm", "looked": 4, "loose": 3, "missing": 2}, "looked"),
        ("check", {"group": "arm", "looked": 4, "loose": 1, "grade": "tight"}, "grade"),
        ("check", {"group": "arm", "looked": 4, "grade": "over-half"}, "grade"),
        ("check", {"group": "arm", "looked": 4, "loose": 1, "grade": "missing"}, "grade"),
        ("check", {"group": "arm", "looked": 4, "missing": 1, "grade": "over-half"}, "grade"),
        ("check", {"group": "arm", "looked": 4, "reason": "bored"}, "reason"),
        ("swap", {"part": "arm_fl", "crash": "7"}, "crash"),
        ("build", {"digest": "xyz"}, "digest"),
        ("note", {"text": ""}, "text"),
        ("retraction", {}, "target"),
        ("flight", {}, "kind"),
    ],
)
def test_a_value_that_cannot_be_meant_is_refused_by_name(kind, values, field):
    """A bad payload is refused with the field and a remedy."""
    with pytest.raises(JournalError) as caught:
        payload_from(kind, values)
    (problem,) = caught.value.problems
    assert problem.field == field
    assert problem.what
    assert problem.remedy


def test_grades_are_ordered_from_tight_to_missing():
    """The words for a finding begin with tight and end with missing."""
    assert (GRADES[0], GRADES[-1]) == ("tight", "missing")


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("quad", "Gannet"),
        ("quad", ""),
        ("occurred", NOON.replace(tzinfo=None)),
        ("occurred", datetime(1970, 1, 1, tzinfo=UTC)),
        ("occurred", "yesterday"),
        ("occurred", datetime.max.replace(tzinfo=timezone(timedelta(hours=-12)))),
        ("device", "my phone"),
        ("device_seq", 0),
        ("device_seq", "1"),
        ("id", "019DE0D5-C800-7344-9F81-8C8AE66CB18C"),
        ("payload", {"minutes": 4}),
    ],
)
def test_an_event_with_a_bad_head_is_refused_by_name(field, value):
    """A bad field of the event itself is refused with its name and a remedy."""
    good = {"id": ID, "quad": "gannet", "occurred": NOON, "device": "d", "device_seq": 1, "payload": Pack()}
    with pytest.raises(JournalError) as caught:
        Event(**(good | {field: value}))
    (problem,) = caught.value.problems
    assert problem.field == field
    assert problem.remedy


def test_times_become_utc_and_whole_milliseconds():
    """The same moment in another zone, with microseconds, is the same event."""
    local = NOON.astimezone(timezone(timedelta(hours=2))) + timedelta(microseconds=7)
    assert Event(ID, "gannet", local, "d", 1, Pack()) == Event(ID, "gannet", NOON, "d", 1, Pack())


def test_minus_zero_is_zero_in_the_bytes():
    """Events that compare equal have equal lines."""
    plus, minus = (Event(ID, "gannet", NOON, "d", 1, Pack(rms=v)) for v in (0.0, -0.0))
    assert plus == minus
    assert to_line(plus) == to_line(minus)


def test_a_bad_line_does_not_stop_the_others(tmp_path):
    """Reading a file keeps every good line, and every bad one with its number, reason and text."""
    pen = scribe(step_ms=1)
    good = [pen.write("gannet", Pack(4.0, battery="zwölf")), pen.write("gannet", Crash("hit"))]
    lines = [to_line(e).encode() for e in good]
    deep = b"[" * 100_000
    bad = [
        b"\xff\xfe",
        b"not json",
        b"[1]",
        b'{"v":9,"kind":"pack"}',
        lines[0].replace(b"4.0", b"NaN"),
        lines[0].replace(b'"quad"', b'"quad":"a","quad"', 1),
        lines[0].replace(b'"seq":1', b'"seq":0'),
        lines[0].replace(b'"kind":"pack"', b'"kind":["pack"]'),
        deep,
    ]
    path = tmp_path / "journal.jsonl"
    path.write_bytes(b"\xef\xbb\xbf" + b"\r\n".join([lines[0], b"", *bad, lines[1]]))
    got = read_journal(path)
    assert list(got.events) == good
    assert [number for number, _ in got.bad_lines] == list(range(3, 3 + len(bad)))
    assert {p.line for p in got.problems} == set(range(3, 3 + len(bad)))
    assert all(p.file == str(path) and p.remedy for p in got.problems)
    assert "2 events" in got.summary()
    assert "9 lines" in got.summary()
    assert "Traceback" not in str(JournalError(*got.problems))


def test_a_line_of_a_newer_version_says_to_update():
    """A line from the future is not guessed at."""
    with pytest.raises(JournalError, match="update this program"):
        from_line('{"v":2,"kind":"pack"}')


def test_a_file_that_is_not_there_is_one_message(tmp_path):
    """A missing journal file is a JournalError that names it."""
    with pytest.raises(JournalError, match=r"none\.jsonl"):
        read_journal(tmp_path / "none.jsonl")


@settings(max_examples=200, deadline=None)
@given(st.lists(st.binary(max_size=60) | st.text(max_size=60), max_size=8))
def test_no_garbage_raises(lines):
    """Whatever the lines hold, reading ends with events and problems."""
    got = read_lines(lines)
    assert len(got.events) + len(got.bad_lines) <= len(lines)
    assert bool(got.problems) == bool(got.bad_lines)


@settings(max_examples=200, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(["v", "id", "quad", "kind", "minutes", "severity"]),
        st.none() | st.integers() | st.text() | st.sampled_from(list(KINDS)),
    )
)
def test_no_json_object_raises_anything_else(values):
    """Any JSON object is an event or a JournalError."""
    with suppress(JournalError):
        assert from_line(json.dumps(values)).quad == values["quad"]


def test_a_file_of_events_reads_back(tmp_path):
    """Export and import give the same events."""
    pen = scribe(step_ms=3)
    made = [pen.write("gannet", Pack(float(k))) for k in range(5)]
    path = tmp_path / "out.jsonl"
    path.write_text("".join(write_lines(made)), encoding="utf-8")
    assert list(read_journal(path).events) == made


def test_a_correction_is_two_further_events():
    """Amending gives the new event at the old time and a retraction that names both."""
    pen = scribe(step_ms=1000)
    old = pen.write("gannet", Pack(3.0))
    new, gone = amend(pen, old, Pack(4.0), why="misread")
    assert (new.occurred, new.payload, new.device_seq) == (old.occurred, Pack(4.0), 2)
    assert gone.payload == Retraction(old.id, "misread", new.id)
    assert gone.quad == old.quad
    with pytest.raises(JournalError, match="cannot be taken back"):
        retract(pen, gone)


def test_a_refused_payload_uses_up_no_number():
    """A number is given only to an event that was made."""
    pen = scribe()
    with pytest.raises(JournalError):
        pen.write("NOT A SLUG", Pack())
    assert pen.write("gannet", Pack()).device_seq == 1


def test_events_import_light():
    """Events and their lines need no numeric, database or web library."""
    code = (
        "import sys, crashworthy.upkeep.lines;"
        "print([m for m in ('numpy','scipy','sqlalchemy','pydantic','fastapi') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


DOCS = Path(__file__).parents[2] / "docs" / "journal.md"


def test_the_page_names_every_kind_and_field():
    """The page about the journal names each kind with each of its fields and choices."""
    text = DOCS.read_text(encoding="utf-8")
    rows = {line.split("|")[1].strip(): line for line in text.splitlines() if line.startswith("| `")}
    for kind, cls in KINDS.items():
        row = rows[f"`{kind}`"]
        for name in cls.rules:
            assert f"**`{name}`**" in row if name not in cls.defaults else f"`{name}`" in row
    for word in (*GRADES, *TIGHTENED, *WHY, *SEVERITIES, *REASONS):
        assert word in text


def test_the_lines_on_the_page_are_lines():
    """The example lines on the page read as they stand and are canonical."""
    text = DOCS.read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.startswith('{"v"')]
    got = read_lines(lines)
    assert got.problems == ()
    assert [to_line(e) for e in got.events] == lines
    assert {e.kind for e in got.events} == {"pack", "crash", "check"}
