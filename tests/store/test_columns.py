"""The quick way out of the store says what the events say, also in a store of an older version."""

from __future__ import annotations

import random

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crashworthy.errors import StoreError
from crashworthy.store import connect, schema
from crashworthy.store.connect import make_engine, parse_address
from crashworthy.store.engine import open_store
from crashworthy.store.journal import event_digest
from crashworthy.store.migrate import run_migrations
from crashworthy.upkeep.events import milliseconds, retract
from crashworthy.upkeep.lines import payload_text
from crashworthy.upkeep.payloads import Check, Crash, Note, Pack, Repair, Swap, Tap
from crashworthy.upkeep.state import Screws, fold, fold_columns

GROUPS = {"arm": Screws("arm", 8), "motor": Screws("motor", 16)}


def some_events(pen, source, count):
    """Events that repeat themselves, name each other and are taken back."""
    events = []
    for _ in range(count):
        crashes = [e for e in events if e.kind == "crash"]
        named = source.choice(crashes).id if crashes else None
        said = source.choice(
            (
                Pack(4.0, "P1"),
                Pack(4.0, rms=source.choice((1.0, 2.0))),
                Crash(source.choice(("scuff", "slam")), broke=source.choice(((), ("arm_fl",)))),
                Check("arm", 8, loose=1, tightened=source.choice(("all", "loose", "none"))),
                Swap("arm_fl", crash=named),
                Repair("lead"),
                Tap("arm_fl", (180.0,)),
                Note("größer"),
            )
        )
        events += pen.write(said)
        if source.random() < 0.15:
            events.append(retract(pen.scribe, source.choice([e for e in events if e.kind != "retraction"])))
    return events


def same(store, quad="gannet", known=None):
    """The history by columns; it must be that of the events."""
    quick = fold_columns(quad, store.columns(quad, known), GROUPS)
    assert quick == fold(quad, store.events(quad), GROUPS)
    return quick


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 2**32), st.integers(0, 40))
def test_columns_of_a_store_fold_like_its_events(store, pen, seed, count):
    """However events arrived, with payloads read before or not, both ways give one history."""
    source, quad, known = random.Random(seed), f"quad-{seed}", {}  # noqa: S311 - repeatable on purpose
    events = [
        type(e)(e.id, quad, e.occurred, e.device, e.device_seq, e.payload)
        for e in some_events(pen, source, count)
    ]
    source.shuffle(events)
    half = len(events) // 2
    store.append(events[:half])
    same(store, quad, known)
    store.append(events[half:])
    store.append(events[: half + 2])
    same(store, quad, known)
    same(store, quad)


def test_a_quad_without_events_has_empty_columns(store):
    """A quad that the journal does not know is a quad that has not flown."""
    assert same(store, "nobody").packs == 0


def test_a_payload_changed_behind_our_back_is_not_folded(store, pen):
    """What is read is held against its digest: a changed payload stops the fold and is named."""
    store.append(pen.write(Pack(4.0), Pack(4.0)))
    with store.engine.begin() as connection:
        connection.exec_driver_sql(
            "DROP TRIGGER event_no_update"
            if store.engine.dialect.name == "sqlite"
            else "ALTER TABLE event DISABLE TRIGGER ALL"
        )
        connection.execute(sa.update(schema.event).values(payload='{"minutes":5.0}'))
    with pytest.raises(StoreError, match="is damaged"):
        store.columns("gannet")


OLD = "0002"


def old_store(address, events):
    """A database as version 0002 left it, with events and what else it may hold."""
    engine = make_engine(address)
    server = engine.dialect.name == "postgresql"
    with connect.writing(engine, address) as connection:
        run_migrations(connection, OLD)
        table = sa.table(
            "event",
            *map(
                sa.column,
                (
                    "event_id",
                    "quad",
                    "kind",
                    "occurred",
                    "device",
                    "device_seq",
                    "payload",
                    "digest",
                    "received",
                ),
            ),
        )
        rows = [
            {
                "event_id": e.id if server else e.id.bytes,
                "quad": e.quad,
                "kind": e.kind,
                "occurred": e.occurred if server else milliseconds(e.occurred),
                "device": e.device,
                "device_seq": e.device_seq,
                "payload": payload_text(e),
                "digest": event_digest(e),
                "received": e.occurred if server else milliseconds(e.occurred),
            }
            for e in events
        ]
        connection.execute(sa.insert(table), rows)
        connection.execute(sa.text("INSERT INTO stock (item, count) VALUES ('prop', 7)"))
        device = connection.execute(sa.text("SELECT value FROM setting WHERE key = 'device'")).scalar()
    engine.dispose()
    return device


def test_an_older_store_is_brought_up_to_date_with_all_it_holds(where, pen):
    """Opening a store of version 0002 changes no event, keeps the order of arrival, and goes on."""
    events = some_events(pen, random.Random(5), 60)  # noqa: S311 - repeatable on purpose
    address = parse_address(where)
    device = old_store(address, events)
    with open_store(where) as store:
        assert store.events() == tuple(events)
        assert store.verify().ok
        assert (store.device, store.stock()) == (device, {"prop": 7})
        before = same(store)
        assert [e for e, _ in zip(store.append(events).duplicate, events, strict=True)]
        store.record("gannet", Pack(4.0))
        assert same(store).packs == before.packs + 1
        with pytest.raises(sa.exc.DBAPIError, match="append-only"), store.engine.begin() as connection:
            connection.execute(sa.delete(schema.event))
    with open_store(where) as store:
        assert store.count() == len(events) + 1
