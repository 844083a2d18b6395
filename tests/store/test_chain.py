"""Chains: what is taken out, changed or swapped behind the program's back is found and named."""

from __future__ import annotations

import hashlib
from uuid import uuid4

import pytest
import sqlalchemy as sa

from crashworthy.errors import StoreError
from crashworthy.store import connect, schema
from crashworthy.store.backup import restore
from crashworthy.store.chain import next_link, origin
from crashworthy.store.engine import open_store
from crashworthy.store.journal import _row, event_digest
from crashworthy.store.migrate import run_migrations
from crashworthy.upkeep.events import Event
from crashworthy.upkeep.lines import payload_text, said_digest
from crashworthy.upkeep.payloads import Crash, Note, Pack


def unguarded(store):
    """A connection on which events can be changed, as somebody with the file in hand could."""
    connection = store.engine.connect()
    if store.engine.dialect.name == "postgresql":
        connection.exec_driver_sql("ALTER TABLE event DISABLE TRIGGER ALL")
    else:
        for verb in ("update", "delete"):
            connection.exec_driver_sql(f"DROP TRIGGER event_no_{verb}")
    return connection


@pytest.fixture
def two(store, pen, other_pen):
    """Two devices whose events arrive in turn, one of them out of order."""
    mine, theirs = pen.write(Pack(1.0), Pack(2.0), Pack(3.0)), other_pen.write(Crash("hit"), Note("x"))
    store.append([mine[0], theirs[0]])
    store.append([mine[2], theirs[1], mine[1]])
    return store


def test_the_link_is_the_digest_over_the_one_before(store, pen):
    """The chain is what its page says: SHA-256 of the link before and the event's own digest."""
    first, second = pen.write(Pack(1.0), Pack(2.0))
    store.append([first, second])
    begin = hashlib.sha256(b"device phone").digest()
    assert origin("phone") == begin
    last = hashlib.sha256(hashlib.sha256(begin + event_digest(first)).digest() + event_digest(second))
    assert store.verify().heads == {"phone": last.hexdigest()}


def test_whole_chains_are_whole(two):
    """Each device has one chain, in order of arrival, whatever its own numbers say."""
    report = two.verify()
    assert report.ok
    assert sorted(report.heads) == ["phone", "tablet"]
    assert "2 chains whole" in report.summary()
    assert report.to_json()["heads"] == report.heads


def faults(store):
    """What verifying finds, in words."""
    return [p.what for p in store.verify().problems]


def test_an_event_that_was_taken_out_is_found(two):
    """The event after a removed one is named, with its device; the other device's chain stays whole."""
    with unguarded(two) as connection:
        connection.execute(sa.delete(schema.event).where(schema.event.c.seq == 3))
        connection.commit()
    (what,) = faults(two)
    assert what.startswith("event 5, number 2 of phone, does not follow")


def test_two_events_that_were_swapped_are_found(two):
    """Swapping what two rows of a device hold, digests and all, breaks the chain at the first."""
    c = schema.event.c
    moved = ("event_id", "device_seq", "payload", "digest", "said", "kind", "occurred")
    with unguarded(two) as connection:
        rows = {
            row.seq: {name: getattr(row, name) for name in moved}
            for row in connection.execute(sa.select(schema.event).where(c.seq.in_((1, 3))))
        }
        aside = {"event_id": uuid4(), "device_seq": 999}
        connection.execute(sa.update(schema.event).where(c.seq == 1).values(**aside))
        connection.execute(sa.update(schema.event).where(c.seq == 3).values(**rows[1]))
        connection.execute(sa.update(schema.event).where(c.seq == 1).values(**rows[3]))
        connection.commit()
    (what,) = faults(two)
    assert what.startswith("event 1, number 3 of phone")


def test_an_event_that_was_changed_with_its_digest_is_found(two):
    """Whoever changes an event and makes its digest anew is found by the chain."""
    c = schema.event.c
    with unguarded(two) as connection:
        row = connection.execute(sa.select(schema.event).where(c.seq == 4)).one()
        other = Event.trusted(row.event_id, row.quad, row.occurred, row.device, row.device_seq, Note("y"))
        text = payload_text(other)
        new = {"payload": text, "digest": event_digest(other), "said": said_digest("note", text)}
        connection.execute(sa.update(schema.event).where(c.seq == 4).values(**new))
        connection.commit()
    (what,) = faults(two)
    assert what.startswith("event 4, number 2 of tablet")


def test_newest_events_taken_away_show_against_an_older_backup(two, tmp_path):
    """A shorter chain is whole by itself; the backup knows that more was there."""
    kept = two.backup(tmp_path / "old.db").path
    assert two.verify(kept).ok
    with unguarded(two) as connection:
        connection.execute(sa.delete(schema.event).where(schema.event.c.seq == 5))
        connection.commit()
    assert two.verify().ok
    (problem,) = two.verify(kept).problems
    assert "newest events of phone" in problem.what
    with pytest.raises(StoreError):
        two.verify(tmp_path / "nowhere.db")


def test_restored_chains_are_whole_and_go_on(two, tmp_path):
    """A backup and what it restores to have the same chains, and the next event is linked to them."""
    path = two.backup(tmp_path / "b.db").path
    with open_store(tmp_path / "new.db") as new:
        report = restore(new, path)
        assert report.heads == two.verify().heads
        (event,) = new.record("gannet", Pack(9.0), device="phone")
        after = new.verify()
        assert after.ok
        assert bytes.fromhex(after.heads["phone"]) == next_link(
            bytes.fromhex(report.heads["phone"]), event_digest(event)
        )


def test_events_of_an_older_store_are_linked_when_it_is_migrated(where, pen, other_pen):
    """Migrating links what is there, device by device, in order of arrival."""
    address = connect.parse_address(where)
    engine = connect.make_engine(address)
    with connect.writing(engine, address) as connection:
        run_migrations(connection, "0004")
        mine, theirs = pen.write(Pack(1.0), Pack(2.0)), other_pen.write(Crash("hit"))
        table = sa.table("event", *(sa.column(c.name, c.type) for c in schema.event.c if c.name != "link"))
        for event in (mine[0], theirs[0], mine[1]):
            connection.execute(sa.insert(table).values(**_row(event, event_digest(event), event.occurred)))
    engine.dispose()
    with open_store(where) as store:
        report = store.verify()
        assert report.ok
        assert report.events == 3
        assert sorted(report.heads) == ["phone", "tablet"]
        store.record("gannet", Pack(3.0), device="phone")
        assert store.verify().ok


def test_the_command_line_restores_to_the_same_state(tmp_path, pen):
    """Backup, restore and verify by command give one state; a store that holds something is not filled."""
    import json

    from typer.testing import CliRunner

    from crashworthy.cli.app import app

    with open_store(tmp_path / "old" / "fleet.db") as store:
        store.append(pen.write(Pack(1.0), Crash("hit")))

    def said(*words):
        done = CliRunner().invoke(app, [*words, "--json"])
        assert done.exit_code == 0, done.output
        return json.loads(done.output)

    old, new, file = (str(tmp_path / name) for name in ("old", "new", "b.db"))
    taken = said("backup", file, "--data", old)
    filled = said("restore", file, "--data", new)
    assert filled["digest"] == taken["digest"] == said("verify", "--data", new, "--against", file)["digest"]
    assert filled["heads"] == said("verify", "--data", old)["heads"]
    assert CliRunner().invoke(app, ["restore", file, "--data", new]).exit_code != 0
