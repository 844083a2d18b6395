"""One open store: the journal, and the shelf with everything else."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Self
from uuid import UUID

import sqlalchemy as sa

from crashworthy.errors import JournalError, NotFoundError, Problem, StoreError
from crashworthy.store import journal, schema
from crashworthy.store.connect import (
    Address,
    make_engine,
    parse_address,
    reading,
    use_write_ahead_log,
    writing,
)
from crashworthy.store.journal import AppendResult, Page
from crashworthy.store.migrate import ensure_schema
from crashworthy.store.shelf import Shelf
from crashworthy.upkeep.events import Event, IdMaker, Scribe, amend, retract

if TYPE_CHECKING:
    from crashworthy.store.backup import BackupReport, VerifyReport
    from crashworthy.upkeep.columns import Columns
    from crashworthy.upkeep.payloads import Payload

__all__ = ["Store", "open_store"]

_OLDEST_SQLITE = (3, 37, 0)  # the first with STRICT tables


def _now() -> datetime:
    return datetime.now(UTC)


def open_store(
    where: str | Path,
    *,
    create: bool = True,
    clock: Callable[[], datetime] = _now,
    entropy: Callable[[int], bytes] = os.urandom,
) -> Store:
    """Open a store, and make or migrate its tables where needed.

    Args:
        where: a file, a folder, or ``postgresql://user@host/name``.
        create: whether a file that does not exist is made.
        clock: gives aware datetimes.
        entropy: gives so many random bytes.

    Returns:
        The store; close it, or use it in a ``with``.

    Raises:
        StoreError: with what is wrong and what to do.
    """
    address = parse_address(where)
    if address.path is not None:
        if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
            what = f"this Python has SQLite {sqlite3.sqlite_version}, too old for a safe journal"
            raise StoreError(Problem(what, "use Python 3.11 or newer from its own installer"))
        _make_folder(address, create)
    engine = make_engine(address)
    try:
        ensure_schema(engine, address)
        if address.path is not None:
            use_write_ahead_log(engine, address)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, address, clock, entropy)


def _make_folder(address: Address, create: bool) -> None:
    path = address.path
    if path is None or path.exists():
        return
    if not create:
        raise StoreError(Problem("there is no store here", "check the path", address.shown))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as problem:
        what = getattr(problem, "strerror", "") or "the folder cannot be made"
        raise StoreError(Problem(what, "give a folder that you may write to", address.shown)) from None


class Store(Shelf):
    """An open store. Safe to use from several threads: every call is one short transaction of its own."""

    def __init__(
        self,
        engine: sa.Engine,
        address: Address,
        clock: Callable[[], datetime] = _now,
        entropy: Callable[[int], bytes] = os.urandom,
    ) -> None:
        """Take an engine whose schema is up to date; ``open_store`` does that."""
        super().__init__(engine, address, clock)
        self._ids = IdMaker(clock, entropy)

    def __enter__(self) -> Self:
        """Use in a ``with``."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self.close()

    def __repr__(self) -> str:
        """Where it is, without a password."""
        return f"<Store {self.address.shown}>"

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()

    def now(self) -> datetime:
        """What the clock of this store says."""
        return self._clock()

    # The journal

    @property
    def device(self) -> str:
        """The name under which this store enters events itself."""
        query = sa.select(schema.setting.c.value).where(schema.setting.c.key == "device")
        with reading(self.engine, self.address) as connection:
            return str(connection.execute(query).scalar_one())

    def append(self, events: Iterable[Event]) -> AppendResult:
        """Add events; those that are here already do no harm. When it returns, they are safe on the disk.

        Written in transactions of ``journal.BATCH``; after a failure in between, append all of them again.
        """
        pending, total = iter(events), AppendResult()
        while batch := list(islice(pending, journal.BATCH)):
            with writing(self.engine, self.address) as connection:
                result = journal.insert_events(connection, batch, self._clock())
            total += result
        return total

    def record(
        self,
        quad: str,
        *payloads: Payload,
        occurred: datetime | None = None,
        device: str | None = None,
    ) -> tuple[Event, ...]:
        """Make events of ``payloads`` here and add them, all or none.

        Args:
            quad: slug.
            payloads: what happened, in order.
            occurred: when; now if None.
            device: who enters it; this store if None.

        Returns:
            The events as stored.

        Raises:
            JournalError: a field cannot be accepted.
            StoreError: the database cannot be used.
        """
        return self._write(device, lambda scribe: tuple(scribe.write(quad, p, occurred) for p in payloads))

    def record_once(
        self, event_id: UUID, quad: str, payload: Payload, *, occurred: datetime | None = None
    ) -> Event:
        """Make an event of a given id here unless there is one; of several callers at once, one makes it.

        Args:
            event_id: follows from what happened alone, so that who says it again names the same.
            quad: slug.
            payload: what happened.
            occurred: when; now if None.

        Returns:
            The event as stored: this one, or that which was there first.

        Raises:
            JournalError: a field cannot be accepted.
            StoreError: the database cannot be used.
        """
        device = self.device
        with writing(self.engine, self.address) as connection:
            journal.lock_journal(connection)  # looked up under the lock that every writer takes
            for _, event in journal.select_events(connection, event_id=event_id):
                return event
            number = journal.last_device_seq(connection, device) + 1
            scribe = Scribe(device, self._clock, lambda: event_id, number)
            event = scribe.write(quad, payload, occurred)
            journal.insert_events(connection, (event,), self._clock())
        return event

    def retract(self, event_id: UUID, why: str = "", *, device: str | None = None) -> Event:
        """Take an event back.

        Raises:
            NotFoundError: there is no such event.
            JournalError: it is a retraction itself.
        """
        event = self.event(event_id)
        return self._write(device, lambda scribe: (retract(scribe, event, why),))[0]

    def amend(
        self,
        event_id: UUID,
        payload: Payload,
        *,
        occurred: datetime | None = None,
        why: str = "",
        device: str | None = None,
    ) -> Event:
        """Take an event back and enter another in its place, both or none.

        Returns:
            The new event.

        Raises:
            NotFoundError: there is no such event.
            JournalError: it is a retraction itself, or a field cannot be accepted.
        """
        event = self.event(event_id)
        return self._write(device, lambda s: amend(s, event, payload, occurred=occurred, why=why))[0]

    def _write(self, device: str | None, make: Callable[[Scribe], Sequence[Event]]) -> tuple[Event, ...]:
        name = self.device if device is None else device
        with writing(self.engine, self.address) as connection:
            journal.lock_journal(connection)
            scribe = Scribe(name, self._clock, self._ids, journal.last_device_seq(connection, name) + 1)
            events = tuple(make(scribe))
            result = journal.insert_events(connection, events, self._clock())
            if len(result.accepted) != len(events):
                # Not committed: leaving by an exception rolls back.
                raise JournalError(*(r.reason for r in result.rejected))
        return events

    def events(
        self, quad: str | None = None, after_seq: int | None = None, limit: int | None = None
    ) -> tuple[Event, ...]:
        """Events in order of arrival, all of them or those of one quad, after an arrival number."""
        return self.page(quad, after_seq, limit).events

    def page(self, quad: str | None = None, after_seq: int | None = None, limit: int | None = None) -> Page:
        """The same, with the arrival number to go on from."""
        with reading(self.engine, self.address) as connection:
            rows = list(journal.select_events(connection, quad=quad, after_seq=after_seq, limit=limit))
        return Page(tuple(e for _, e in rows), rows[-1][0] if rows else after_seq or 0)

    def latest(self, quad: str | None = None, limit: int = 20) -> tuple[Event, ...]:
        """The events that arrived last, newest first."""
        with reading(self.engine, self.address) as connection:
            rows = journal.select_events(connection, quad=quad, limit=limit, newest_first=True)
            return tuple(event for _, event in rows)

    def event(self, event_id: UUID) -> Event:
        """One event.

        Raises:
            NotFoundError: there is none of that id.
        """
        with reading(self.engine, self.address) as connection:
            for _, event in journal.select_events(connection, event_id=event_id):
                return event
        raise NotFoundError(Problem(f"there is no event {event_id}", "check the id"))

    def columns(self, quad: str, known: dict[bytes, Payload] | None = None) -> Columns:
        """Events of a quad as ``upkeep.state.fold_columns`` takes them, in order of time and id.

        Args:
            quad: slug.
            known: payloads read before, which are not read again; hand in the same one for many quads.

        Raises:
            StoreError: a row was damaged outside this program.
        """
        from crashworthy.store.columns import read_columns

        with reading(self.engine, self.address) as connection:
            return read_columns(connection, quad, {} if known is None else known)

    def count(self, quad: str | None = None) -> int:
        """How many events there are."""
        query = sa.select(sa.func.count()).select_from(schema.event)
        if quad is not None:
            query = query.where(schema.event.c.quad == quad)
        with reading(self.engine, self.address) as connection:
            return int(connection.execute(query).scalar_one())

    def last_seq(self) -> int:
        """The arrival number of the newest event, 0 when there is none; changes whenever one is added."""
        with reading(self.engine, self.address) as connection:
            return int(connection.execute(sa.select(sa.func.max(schema.event.c.seq))).scalar() or 0)

    def last_device_seq(self, device: str) -> int:
        """The highest number that a device has given, 0 when none."""
        with reading(self.engine, self.address) as connection:
            return journal.last_device_seq(connection, device)

    # Safety

    def backup(self, to: Path | str) -> BackupReport:
        """Write a verified copy to a new file while the store stays in use; see ``store.backup``."""
        from crashworthy.store.backup import backup

        return backup(self, to)

    def verify(self, against: Path | str | None = None) -> VerifyReport:
        """Read everything, compare every event with its digest and chain; see ``store.backup``."""
        from crashworthy.store.backup import verify

        return verify(self, against)
