"""Backup while in use, and the check that everything is still what was entered.

A backup is always one SQLite file, of a PostgreSQL store too: it opens as a store of its own, anywhere.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from crashworthy.errors import JournalError, Problem, StoreError
from crashworthy.store import schema
from crashworthy.store.chain import Chains, heads, missing_heads
from crashworthy.store.connect import reading, writing
from crashworthy.store.copies import (
    copy_file,
    copy_table,
    passing_beside,
    settle,
    sha256_of,
    snapshot_of,
    spare_copy,
    unwritable,
)
from crashworthy.store.journal import event_digest
from crashworthy.upkeep.events import Event
from crashworthy.upkeep.lines import from_line, said_digest, to_line, trusted_payload

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from sqlalchemy.engine import Connection, Row

    from crashworthy.store.engine import Store

__all__ = [
    "BackupReport",
    "VerifyReport",
    "backup",
    "copy_rows",
    "restore",
    "snapshot",
    "verify",
    "write_copy",
]

_MOST_SHOWN: Final = 20


@dataclass(frozen=True, slots=True)
class VerifyReport:
    """What verifying found.

    Attributes:
        events: how many were read.
        digest: SHA-256 over all event digests in the order of ids, hexadecimal; two stores with the same
            events have the same.
        problems: what is wrong, at most the first 20.
        heads: newest link of each device's chain, hexadecimal; see ``store.chain``.
    """

    events: int
    digest: str
    problems: tuple[Problem, ...]
    heads: dict[str, str] = field(default_factory=dict)

    @property
    def ok(self) -> bool:
        """Nothing is wrong."""
        return not self.problems

    def summary(self) -> str:
        """One sentence with the numbers."""
        if self.ok:
            chains = f"{len(self.heads)} chains whole" if len(self.heads) != 1 else "1 chain whole"
            return f"{self.events} events, every one as it was entered, {chains} (state {self.digest[:12]})."
        return f"{len(self.problems)} problems in {self.events} events: {self.problems[0]}"

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        problems = [str(p) for p in self.problems]
        told = {"ok": self.ok, "events": self.events, "digest": self.digest, "problems": problems}
        return {**told, "heads": self.heads}


@dataclass(frozen=True, slots=True)
class BackupReport:
    """A backup that was written and verified.

    Attributes:
        path: the file.
        size: bytes.
        sha256: of the file, hexadecimal.
        events: how many it holds.
        digest: as in ``VerifyReport``.
        verified: what verifying the copy found.
    """

    path: Path
    size: int
    sha256: str
    events: int
    digest: str
    verified: VerifyReport

    def summary(self) -> str:
        """One sentence with the numbers."""
        return f"{self.events} events, {self.size / 1e6:.1f} MB, verified, in {self.path}."

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        told = {name: getattr(self, name) for name in ("size", "sha256", "events", "digest")}
        return {"path": str(self.path), **told}


def verify(store: Store, against: Path | str | None = None) -> VerifyReport:
    """Read every event strictly, compare it with its digest and its chain, let the database check itself.

    Args:
        store: the store.
        against: an older backup of this store; every event in it must still be here. Without it, newest
            events that were taken away cannot be noticed.

    Raises:
        StoreError: the backup cannot be opened.
    """
    problems: list[Problem] = []
    older = {} if against is None else _heads_of(against)
    chains = Chains()
    digests: dict[bytes, bytes] = {}
    count = 0
    with reading(store.engine, store.address) as connection:
        if connection.dialect.name == "sqlite":
            for (said,) in connection.exec_driver_sql("PRAGMA integrity_check(20)"):
                if said != "ok":
                    problems.append(_bad(store, f"the file is damaged: {said}"))
            problems += [
                _bad(store, f"table {row[0]} names something that is not there")
                for row in connection.exec_driver_sql("PRAGMA foreign_key_check")
            ]
        for row in connection.execute(sa.select(schema.event).order_by(schema.event.c.seq)):
            count += 1
            if what := _fault(row):
                problems.append(_bad(store, f"event {row.seq} {what}"))
            if chains.breaks(row.device, bytes(row.digest), bytes(row.link)):
                problems.append(_bad(store, _broken(row)))
            digests[row.event_id.bytes] = bytes(row.digest)
        problems += [
            _bad(store, f"the newest events of {device} in the older backup are not here any more")
            for device in missing_heads(connection, older)
        ]
    total = hashlib.sha256()
    for key in sorted(digests):
        total.update(digests[key])
    found = {device: link.hex() for device, link in sorted(chains.heads.items())}
    return VerifyReport(count, total.hexdigest(), tuple(problems[:_MOST_SHOWN]), found)


def _heads_of(backup_file: Path | str) -> dict[str, bytes]:
    from crashworthy.store.engine import open_store

    with (
        spare_copy(Path(backup_file)) as copy,
        open_store(copy, create=False) as old,
        reading(old.engine, old.address) as connection,
    ):
        return heads(connection)


def _broken(row: Row[Any]) -> str:
    return (
        f"event {row.seq}, number {row.device_seq} of {row.device}, does not follow the one that arrived"
        " before it: an event was taken out, changed, added or put elsewhere there"
    )


def _bad(store: Store, what: str) -> Problem:
    return Problem(what, "keep this file, restore your latest backup", store.address.shown)


def _fault(row: Row[Any]) -> str:
    """What is wrong with one stored event, or ""."""
    try:
        said = trusted_payload(row.kind, row.payload)
        event = Event.trusted(row.event_id, row.quad, row.occurred, row.device, row.device_seq, said)
        strict = from_line(to_line(event))
    except (KeyError, ValueError, TypeError):
        return "cannot be read"
    except JournalError as error:
        return f"breaks a rule: {error.problems[0]}"
    same = event_digest(strict) == bytes(row.digest) and said_digest(row.kind, row.payload) == bytes(row.said)
    return "" if same else "was changed after it was entered"


def backup(store: Store, to: Path | str) -> BackupReport:
    """Write a copy of everything to a new file while the store stays in use.

    The copy is of one moment. It is written under a passing name, verified, and only then given its own, so a
    file of that name is always whole.

    Args:
        store: the store.
        to: a new file, or a folder that gets a file named by the moment.

    Returns:
        What was written.

    Raises:
        StoreError: the file exists, cannot be written, or the copy does not verify.
    """
    target = Path(to).expanduser()
    if target.is_dir():
        target = target / f"crashworthy-{store.now():%Y%m%d-%H%M%S}.db"
    if target.exists():
        raise StoreError(Problem("there is a file of that name", "name a new file", str(target)))
    passing = passing_beside(target)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise unwritable(problem, target) from None
    try:
        copied = write_copy(store, passing)
        passing.rename(target)
    except OSError as problem:
        raise unwritable(problem, target) from None
    finally:
        for left in (passing, *(passing.with_name(passing.name + end) for end in ("-wal", "-shm"))):
            left.unlink(missing_ok=True)
    return replace(copied, path=target)


def write_copy(store: Store, to: Path) -> BackupReport:
    """Write a verified copy to ``to``, which nobody else knows yet; ``backup`` gives it its name.

    Raises:
        StoreError: the copy does not verify.
        OSError: it cannot be written.
    """
    if store.engine.dialect.name == "sqlite":
        copy_file(store.engine, store.address, to)
    else:
        _copy_server(store, to)
    report = _verified(to)
    settle(to)
    return BackupReport(to, to.stat().st_size, sha256_of(to), report.events, report.digest, report)


def restore(store: Store, source: Path | str) -> VerifyReport:
    """Fill an empty store from a backup, after verifying the backup.

    Returns:
        What verifying the store found afterwards; its digest equals the backup's.

    Raises:
        StoreError: the backup does not verify, or the store is not empty.
    """
    from crashworthy.store.engine import open_store

    with spare_copy(Path(source)) as copy, open_store(copy, create=False) as old:
        before = verify(old)
        if not before.ok:
            raise StoreError(*before.problems)
        copy_rows(old, store)
    after = verify(store)
    if after.digest != before.digest:
        raise StoreError(Problem("the copy differs from the backup", "restore into a new store again"))
    return after


def copy_rows(old: Store, new: Store) -> None:
    """Copy every row of one store into an empty one, whatever database each is on, in one transaction.

    The new store keeps its own device name, so that two stores never enter events under one.

    Raises:
        StoreError: the new store holds something already.
    """
    tables = [t for t in schema.metadata.sorted_tables if t.name not in _OWN]
    with snapshot(old) as source, writing(new.engine, new.address) as target:
        for table in tables:
            if target.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
                raise StoreError(Problem("this store is not empty", "give a new one", new.address.shown))
        for table in tables:
            copy_table(source, target, table)


_OWN: Final = frozenset({schema.VERSION_TABLE, "event_kind", "setting", "job"})  # of this very store


def snapshot(store: Store) -> AbstractContextManager[Connection]:
    """A read transaction that sees one moment of the whole database."""
    return snapshot_of(store.engine, store.address)


def _copy_server(store: Store, to: Path) -> None:
    from crashworthy.store.engine import open_store

    with open_store(to) as copy:
        copy_rows(store, copy)


def _verified(path: Path) -> VerifyReport:
    from crashworthy.store.engine import open_store

    with open_store(path, create=False) as copy:
        report = verify(copy)
    if not report.ok:
        raise StoreError(*report.problems)
    return report
