"""An event that was acknowledged is there, once, as it was entered."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime
from uuid import UUID

import pytest
import sqlalchemy as sa

from crashworthy.errors import JournalError, NotFoundError, StoreError
from crashworthy.store import connect, journal, schema
from crashworthy.store.engine import open_store
from crashworthy.upkeep.payloads import Check, Crash, Note, Pack, Retraction, Swap
from crashworthy.upkeep.state import fold

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)

ONE_OF_EACH = (
    Pack(4.5, battery="B3", crashes=0),
    Crash("slam", "wall – Ecke", "arm_fl", ("arm_fl", "prop_fl")),
    Check("arm", 8, loose=1, missing=1, grade="missing", tightened="loose"),
    Swap("arm_fl", serial="7", crash=UUID(int=5)),
    Note("two\nlines"),
    Retraction(UUID(int=9), "typing", UUID(int=10)),
)


def test_what_goes_in_comes_out(store, pen):
    """Events are read back equal, in order of arrival, of every kind."""
    events = pen.write(*ONE_OF_EACH)
    result = store.append(events)
    assert result.accepted == tuple(e.id for e in events)
    assert (store.events(), store.count(), store.last_seq() > 0) == (events, len(events), True)
    assert store.events("dunlin") == ()
    assert store.event(events[2].id) == events[2]
    assert store.latest(limit=2) == events[:-3:-1]
    with pytest.raises(NotFoundError):
        store.event(UUID(int=1))


def test_appending_twice_changes_nothing(store, pen):
    """The same batch again is all duplicates; a batch that repeats itself is stored once."""
    events = pen.write(Pack(1.0), Pack(2.0))
    assert store.append(events + events).summary() == "2 events added, 0 were there already"
    again = store.append(reversed(events))
    assert (again.accepted, set(again.duplicate)) == ((), {e.id for e in events})
    assert store.events() == events


def test_an_id_that_says_something_else_is_refused(store, pen):
    """An id is never overwritten: the first event stays, the other is refused with a reason."""
    (event,) = pen.write(Pack(1.0))
    store.append([event])
    forged = replace(event, payload=Pack(9.0))
    result = store.append([forged])
    assert [r.event_id for r in result.rejected] == [event.id]
    assert "another event has this id" in result.to_json()["rejected"][0]["reason"]
    assert store.events() == (event,)


def test_two_devices_under_one_name_are_noticed(store, pen, other_pen):
    """A number that another event of the device holds is refused, and the rest of the batch is taken."""
    store.append(pen.write(Pack(1.0)))
    mine, yours = other_pen.write(Pack(2.0), Pack(3.0))
    clone = replace(mine, device="phone", device_seq=1)
    twin = replace(yours, device_seq=7)
    result = store.append([clone, yours, replace(twin, id=UUID(int=3)), twin])
    assert result.accepted == (yours.id, UUID(int=3))
    assert [r.event_id for r in result.rejected] == [clone.id, twin.id] or result.rejected[
        0
    ].event_id == clone.id
    assert "phone" in result.rejected[0].reason


def test_pages_go_on_where_they_stopped(store, pen):
    """Reading page by page gives every event once."""
    events = pen.write(*[Pack(float(k)) for k in range(7)])
    store.append(events)
    seen, after = [], None
    while True:
        page = store.page(after_seq=after, limit=3)
        if not page.events:
            assert page.last_seq == after
            break
        seen += page.events
        after = page.last_seq
    assert tuple(seen) == events


def test_large_imports_go_in_batches(store, pen):
    """More events than one transaction takes are all stored."""
    events = pen.write(*[Pack(1.0)] * (journal.BATCH + 7))
    assert len(store.append(iter(events)).accepted) == len(events)
    assert store.count("gannet") == len(events)


def test_the_store_enters_events_itself(store):
    """Recording numbers the events of this store's own device without gaps, all or none."""
    first = store.record("gannet", Pack(1.0), Crash("hit"))
    (third,) = store.record("gannet", Note("x"), occurred=first[0].occurred)
    assert [e.device_seq for e in (*first, third)] == [1, 2, 3]
    assert {e.device for e in first} == {store.device}
    assert third.occurred == first[0].occurred
    with pytest.raises(JournalError):
        store.record("NO SLUG", Pack())
    assert store.last_device_seq(store.device) == 3


def test_corrections_are_events(store):
    """Taking back and amending leave the old event in place and change what the journal says."""
    pack, crash = store.record("gannet", Pack(1.0), Crash("slam"))
    new = store.amend(pack.id, Pack(8.0), why="misread")
    gone = store.retract(crash.id)
    assert store.count() == 5
    history = fold("gannet", store.events(), {})
    assert (history.packs, history.dose, history.crashes) == (1, 2.0, ())
    assert store.event(new.id).payload == Pack(8.0)
    with pytest.raises(JournalError):
        store.retract(gone.id)
    with pytest.raises(NotFoundError):
        store.retract(UUID(int=4))


def test_events_cannot_be_changed_or_deleted(store, pen):
    """The database itself refuses UPDATE and DELETE on events, whoever asks."""
    store.append(pen.write(Pack(1.0)))
    for statement in (
        sa.update(schema.event).values(quad="dunlin"),
        sa.delete(schema.event),
        *([sa.text("TRUNCATE event")] if store.engine.dialect.name == "postgresql" else []),
    ):
        with pytest.raises(sa.exc.DBAPIError, match="append-only"), store.engine.begin() as connection:
            connection.execute(statement)
    assert store.count() == 1


def test_the_tables_refuse_what_the_rules_would(store, pen):
    """Types, kinds and counts are held by the database too, on both."""
    (event,) = pen.write(Pack(1.0))
    good = {
        "event_id": event.id.bytes if store.engine.dialect.name == "sqlite" else event.id,
        "quad": "gannet",
        "kind": "pack",
        "occurred": 1 if store.engine.dialect.name == "sqlite" else event.occurred,
        "device": "d",
        "device_seq": 1,
        "payload": "{}",
        "digest": b"x",
        "received": 1 if store.engine.dialect.name == "sqlite" else event.occurred,
        "said": b"y",
        "link": b"z",
    }
    # Without the column types of the schema, as another program would write.
    insert = sa.insert(sa.table("event", *map(sa.column, good)))
    for change in (
        {"kind": "bogus"},
        {"device_seq": 0},
        {"device_seq": "many"},
        {"quad": None},
        {"occurred": "soon"},
        {"said": None},
        {"link": None},
    ):
        with pytest.raises(sa.exc.DBAPIError), store.engine.begin() as connection:
            connection.execute(insert, good | change)
    with store.engine.begin() as connection:
        connection.execute(insert, good)
    assert store.count() == 1


def test_moments_keep_their_zone_and_naive_ones_are_refused(store, pen):
    """Times are UTC to the ms on both databases; a time without a zone cannot get in."""
    (event,) = pen.write(Pack(1.0))
    store.append([event])
    got = store.events()[0].occurred
    assert (got, got.utcoffset().total_seconds()) == (event.occurred, 0)
    query = sa.select(schema.event).where(schema.event.c.occurred == event.occurred.replace(tzinfo=None))
    with pytest.raises(sa.exc.StatementError, match="time zone"), store.engine.connect() as connection:
        connection.execute(query)


def test_writers_at_once_lose_nothing(where):
    """Threads and stores that write at the same time all get their turn, and numbers stay without gaps."""
    with open_store(where) as first, open_store(where) as second:
        failures: list[BaseException] = []

        def write(store, device):
            try:
                for k in range(15):
                    store.record("gannet", Pack(float(k)), device=device)
            except BaseException as problem:  # noqa: BLE001 - shown by the assertion below
                failures.append(problem)

        threads = [
            threading.Thread(target=write, args=(s, d)) for s in (first, second) for d in ("a", "a", "b")
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failures == []
        numbers = {d: sorted(e.device_seq for e in first.events() if e.device == d) for d in "ab"}
        assert numbers == {"a": list(range(1, 61)), "b": list(range(1, 31))}


def test_the_same_upload_from_several_sides_is_stored_once(where, pen):
    """Uploads of the same events that run at once accept each event exactly once between them."""
    events = pen.write(*[Pack(1.0)] * 120)
    with open_store(where) as store:
        gate, results, failures = threading.Barrier(4), [], []

        def upload(size):
            gate.wait()
            try:
                for k in range(0, len(events), size):
                    results.append(store.append(events[k : k + size]))  # noqa: PERF401 - one by one
            except BaseException as problem:  # noqa: BLE001 - shown by the assertion below
                failures.append(problem)

        threads = [threading.Thread(target=upload, args=(size,)) for size in (7, 11, 40, 120)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failures == []
        assert sorted(i for r in results for i in r.accepted) == sorted(e.id for e in events)
        assert [r for r in results if r.rejected] == []
        assert store.count() == len(events)


def test_appending_waits_for_the_writer_before(store, pen):
    """A second writer gets no arrival number before the first has committed, so readers miss nothing."""
    first, second = pen.write(Pack(1.0), Pack(2.0))
    done = threading.Event()

    def append_second():
        store.append([second])
        done.set()

    thread = threading.Thread(target=append_second)
    with connect.writing(store.engine, store.address) as connection:
        journal.insert_events(connection, [first], store.now())
        thread.start()
        assert not done.wait(0.3)
    thread.join()
    assert store.events() == (first, second)


def test_an_id_made_twice_stores_nothing(where):
    """Should two makers of ids ever agree, the second entry fails whole instead of being lost in silence."""
    with (
        open_store(where, clock=lambda: NOON, entropy=bytes) as first,
        open_store(where, clock=lambda: NOON, entropy=bytes) as second,
    ):
        first.record("gannet", Pack(1.0))
        with pytest.raises(JournalError, match="another event has this id"):
            second.record("gannet", Pack(2.0), Note("lost?"))
        assert first.count() == 1


def test_a_row_damaged_outside_is_one_message(store, pen):
    """A payload that something else wrote is reported with what to do, not with a traceback."""
    store.append(pen.write(Pack(1.0)))
    with store.engine.begin() as connection:
        connection.exec_driver_sql(
            "DROP TRIGGER event_no_update"
            if store.engine.dialect.name == "sqlite"
            else "ALTER TABLE event DISABLE TRIGGER ALL"
        )
        connection.execute(sa.update(schema.event).values(payload='{"minutes":'))
    with pytest.raises(StoreError, match="restore your latest backup"):
        store.events()
    assert not store.verify().ok


WRITER = """
import sys
from crashworthy.store.engine import open_store
from crashworthy.upkeep.payloads import Pack
with open_store(sys.argv[1]) as store:
    while True:
        for event in store.record("gannet", Pack(4.0), Pack(5.0)):
            sys.stdout.write(str(event.id) + "\\n")
        sys.stdout.flush()
"""


@pytest.mark.parametrize("attempt", range(2))
def test_killed_in_the_middle_of_writing(where, tmp_path, attempt):
    """After kill -9 at a random moment, every acknowledged event is there and the store is whole."""
    open_store(where).close()
    out = tmp_path / "acknowledged"
    with out.open("wb") as file:
        # A file and not a pipe: what was flushed before the kill is kept.
        writer = subprocess.Popen([sys.executable, "-c", WRITER, str(where)], stdout=file)
        try:
            deadline = time.monotonic() + 30
            while out.stat().st_size < 37 * 4 and time.monotonic() < deadline:
                time.sleep(0.01)
            time.sleep(random.Random(attempt).uniform(0, 0.2))  # noqa: S311 - repeatable on purpose
        finally:
            writer.kill()  # SIGKILL; TerminateProcess on Windows
            writer.wait(timeout=10)
    acknowledged = {UUID(line) for line in out.read_text().splitlines() if len(line) == 36}
    assert len(acknowledged) >= 4
    with open_store(where) as store:
        stored = store.events()
        assert acknowledged <= {e.id for e in stored}
        assert len(stored) % 2 == 0  # two at a time: never half a transaction
        assert store.verify().ok
        (event,) = store.record("gannet", Pack(1.0))
        assert event.device_seq == len(stored) + 1
