"""The open database of people and crews, and the record of what was done in it."""

from __future__ import annotations

from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, Self

import sqlalchemy as sa

from crashworthy.accounts import tables
from crashworthy.store.connect import make_engine, parse_address, reading, use_write_ahead_log, writing
from crashworthy.store.migrate import ensure_schema, found_version

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from sqlalchemy.engine import Connection

__all__ = ["FILE_NAME", "Entry", "Ledger", "holds_accounts"]

FILE_NAME: Final = "accounts.db"
"""The database in a data folder."""


def _now() -> datetime:
    return datetime.now(UTC)


def holds_accounts(where: str | Path) -> bool:
    """Whether there is anybody in the accounts of a database; makes no table.

    Raises:
        StoreError: the database cannot be used.
    """
    address = parse_address(where)
    engine = make_engine(address)
    try:
        with reading(engine, address) as connection:
            if found_version(connection, address, tables.ACCOUNTS) is None:
                return False
            return connection.execute(sa.select(tables.person.c.id).limit(1)).first() is not None
    finally:
        engine.dispose()


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the record.

    Attributes:
        happened: when.
        person: who did it (or the name that was typed).
        act: what, in two or three words.
        about: to what or whom.
    """

    happened: datetime
    person: str
    act: str
    about: str

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "happened": self.happened.isoformat(),
            "person": self.person,
            "act": self.act,
            "about": self.about,
        }


class Ledger:
    """The database, opened; safe to use from several threads."""

    def __init__(self, where: str | Path, clock: Callable[[], datetime] = _now) -> None:
        """Open it, and make or migrate its tables where needed.

        Args:
            where: a file, or ``postgresql://user@host/name``.
            clock: gives aware datetimes.

        Raises:
            StoreError: it cannot be used.
        """
        self.address = parse_address(where)
        self.engine = make_engine(self.address)
        self._clock = clock
        try:
            ensure_schema(self.engine, self.address, tables.ACCOUNTS)
            if self.address.path is not None:
                use_write_ahead_log(self.engine, self.address)
                self.address.path.chmod(0o600)  # digests of passwords are nobody else's business
        except BaseException:
            self.engine.dispose()
            raise

    def __enter__(self) -> Self:
        """Use in a ``with``."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self.close()

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()

    def reading(self) -> AbstractContextManager[Connection]:
        """One read transaction."""
        return reading(self.engine, self.address)

    def writing(self) -> AbstractContextManager[Connection]:
        """One write transaction."""
        return writing(self.engine, self.address)

    def now(self) -> datetime:
        """What the clock says."""
        return self._clock()

    def note(self, connection: Connection, crew: str, person: str, act: str, about: str = "") -> None:
        """Add a line to the record, in the transaction of the act itself."""
        values = {"crew": crew, "person": person[:80], "act": act, "about": about[:200]}
        connection.execute(sa.insert(tables.audit).values(happened=self.now(), **values))

    def record(self, crew: str, most: int = 200) -> tuple[Entry, ...]:
        """The latest lines that concern a crew, newest first."""
        t = tables.audit.c
        query = sa.select(t.happened, t.person, t.act, t.about).where(t.crew == crew)
        with self.reading() as connection:
            rows = connection.execute(query.order_by(t.seq.desc()).limit(most)).all()
        return tuple(Entry(*row) for row in rows)
