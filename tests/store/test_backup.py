"""A backup is whole, verified, and opens as a store."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing

import numpy as np
import pytest
import sqlalchemy as sa

from crashworthy.errors import StoreError
from crashworthy.store import schema
from crashworthy.store.backup import restore, snapshot
from crashworthy.store.engine import open_store
from crashworthy.upkeep.payloads import Crash, Note, Pack
from crashworthy.upkeep.state import fold


@pytest.fixture
def full(store, pen):
    """A store with something in every table."""
    store.append(pen.write(Pack(4.0), Crash("slam", broke=("arm_fl",)), Note("größer")))
    store.add_quad("gannet", "Gannet", sheet="a = 1", digest="aa")
    store.save_campaign(
        "gannet", digest="aa", seed=1, n=1, scenario={}, summary={}, arrays={"x": np.arange(3.0)}
    )
    store.save_log("gannet", file="a.csv", sha256="00", report={"x": 1})
    store.set_stock("prop", 4)
    return store


def test_a_backup_opens_as_a_store_with_everything(full, tmp_path):
    """The copy of either database is one SQLite file that holds every event and result."""
    report = full.backup(tmp_path / "backup.db")
    assert (report.events, report.digest) == (3, full.verify().digest)
    assert sorted(p.name for p in tmp_path.iterdir() if "backup" in p.name) == ["backup.db"]
    with open_store(report.path, create=False) as copy:
        assert copy.events() == full.events()
        assert copy.quads() == full.quads()
        assert copy.stock() == {"prop": 4}
        assert copy.logs() == full.logs()
        (campaign,) = copy.campaigns()
        np.testing.assert_array_equal(copy.load_campaign(campaign.key).arrays["x"], [0.0, 1.0, 2.0])
        copy.record("gannet", Pack(1.0))  # it goes on counting


def test_a_folder_gets_a_dated_file_and_nothing_is_overwritten(full, tmp_path):
    """A backup never replaces a file."""
    folder = tmp_path / "safe"
    folder.mkdir()
    report = full.backup(folder)
    assert report.path.parent == folder
    assert str(report.path) in report.summary()
    with pytest.raises(StoreError, match="name a new file"):
        full.backup(report.path)
    assert [p.name for p in folder.iterdir()] == [report.path.name]


def test_a_backup_during_writes_is_of_one_moment(where, tmp_path):
    """A backup taken while others write restores to a history that the journal once had."""
    with open_store(where) as store:
        store.record("gannet", Pack(1.0), Crash("hit"))
        stop = threading.Event()

        def write():
            while not stop.is_set():
                store.record("gannet", Pack(1.0), Crash("hit"))

        thread = threading.Thread(target=write)
        thread.start()
        try:
            reports = [store.backup(tmp_path / f"b{k}.db") for k in range(3)]
        finally:
            stop.set()
            thread.join()
        every = store.events()
    for report in reports:
        with open_store(report.path) as copy:
            events = copy.events()
            # Pairs are entered in one transaction, so a moment has as many packs as crashes.
            history = fold("gannet", events, {})
            assert history.packs == len(history.crashes) == report.events / 2
            assert events == every[: len(events)]
            assert copy.verify().digest == report.digest


def test_copying_sees_one_moment_of_the_whole_store(full):
    """What is entered while a copy runs is not in it, in any table."""
    with snapshot(full) as connection:
        query = sa.select(sa.func.count()).select_from(schema.event)
        before = connection.execute(query).scalar()
        full.record("gannet", Pack(1.0))
        full.set_stock("arm", 1)
        assert connection.execute(query).scalar() == before
        assert connection.execute(sa.select(schema.stock.c.item)).scalars().all() == ["prop"]


def test_restoring_fills_an_empty_store(full, tmp_path, request):
    """A backup restored into either database gives the same digest and goes on counting."""
    path = full.backup(tmp_path / "backup.db").path
    if full.engine.dialect.name == "postgresql":
        fresh = request.getfixturevalue("postgres").new_database()
    else:
        fresh = tmp_path / "fresh.db"
    with open_store(fresh) as new:
        assert restore(new, path).digest == full.verify().digest
        assert new.events() == full.events()
        assert new.device != full.device
        new.record("gannet", Pack(1.0))
        with pytest.raises(StoreError, match="not empty"):
            restore(new, path)


def test_a_changed_byte_is_found(full, tmp_path):
    """Verifying finds an event that was changed behind the program's back, and a backup of it is refused."""
    before = full.verify()
    assert before.ok
    assert before.summary().startswith("3 events")
    with full.engine.begin() as connection:
        connection.exec_driver_sql(
            "DROP TRIGGER event_no_update"
            if full.engine.dialect.name == "sqlite"
            else "ALTER TABLE event DISABLE TRIGGER ALL"
        )
        connection.execute(
            sa.update(schema.event).where(schema.event.c.kind == "pack").values(payload='{"minutes":5.0}')
        )
    after = full.verify()
    assert not after.ok
    assert "changed after it was entered" in after.to_json()["problems"][0]
    with pytest.raises(StoreError, match="changed after"):
        full.backup(tmp_path / "no.db")
    assert not (tmp_path / "no.db").exists()


def test_a_backup_that_cannot_be_written_is_one_message(full, tmp_path):
    """A place that cannot be written to is said so, and nothing is left behind."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError, match="->"):
        full.backup(tmp_path / "file" / "b.db")


def test_a_backup_is_one_self_contained_file(full, tmp_path):
    """The copy needs no write-ahead log beside it."""
    path = full.backup(tmp_path / "b.db").path
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as copy:
        assert copy.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert copy.execute("SELECT count(*) FROM event").fetchone() == (3,)
