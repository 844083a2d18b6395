"""How a database is copied while it is in use: one moment of it, whichever database it is on."""

from __future__ import annotations

import hashlib
import os
import secrets
import sqlite3
import tempfile
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

import sqlalchemy as sa

from crashworthy.errors import Problem, StoreError, said_by_system
from crashworthy.store.connect import in_words, parse_address, reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.engine import Connection, Engine

    from crashworthy.store.connect import Address

__all__ = [
    "copy_file",
    "copy_table",
    "passing_beside",
    "settle",
    "sha256_of",
    "snapshot_of",
    "spare_copy",
    "unwritable",
]

_CHUNK: Final = 500


def snapshot_of(engine: Engine, address: Address) -> AbstractContextManager[Connection]:
    """A read transaction that sees one moment of the whole database."""
    if engine.dialect.name == "postgresql":
        return reading(engine.execution_options(isolation_level="REPEATABLE READ"), address)
    return reading(engine, address)


def copy_file(engine: Engine, address: Address, to: Path) -> None:
    """Copy a SQLite database while others write (SQLite's own online backup)."""
    with reading(engine, address) as connection:
        raw = connection.connection.driver_connection
        assert isinstance(raw, sqlite3.Connection)  # noqa: S101 - the caller asked the dialect
        with closing(sqlite3.connect(to)) as copy:
            raw.backup(copy)


def copy_table(source: Connection, target: Connection, table: sa.Table) -> None:
    """Copy the rows of one table into an empty one, in order.

    A number that the database gives by itself is left to the target: PostgreSQL must go on counting.
    """
    given = [c for c in table.columns if c.identity is not None]
    query = sa.select(*(c for c in table.columns if c not in set(given))).order_by(
        *(given or table.primary_key)
    )
    rows = source.execute(query).mappings()
    while chunk := rows.fetchmany(_CHUNK):
        target.execute(sa.insert(table), [dict(row) for row in chunk])


@contextmanager
def spare_copy(source: Path) -> Iterator[Path]:
    """A copy to open and perhaps migrate: not one byte of the backup itself changes, and it may be read-only.

    Raises:
        StoreError: there is no such file, or it is no database.
    """
    address = parse_address(source)
    file = address.path
    if file is None or not file.is_file():
        raise StoreError(Problem("there is no store here", "check the path", address.shown))
    with tempfile.TemporaryDirectory(prefix="crashworthy-") as folder:
        copied = Path(folder) / file.name
        uri = f"file:{quote(str(file.absolute()))}?mode=ro"
        with (
            in_words(address),
            closing(sqlite3.connect(uri, uri=True)) as old,
            closing(sqlite3.connect(copied)) as new,
        ):
            old.backup(new)
        yield copied


def settle(path: Path) -> None:
    """Make a copy one self-contained file and see it onto the disk."""
    with closing(sqlite3.connect(path)) as copy:
        copy.execute("PRAGMA journal_mode=DELETE").close()
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def passing_beside(target: Path) -> Path:
    """A passing name beside the one that is meant: what has its own name is whole."""
    return target.with_name(f".{target.name}.{secrets.token_hex(4)}")


def unwritable(problem: OSError, target: Path) -> StoreError:
    """The error for a place that cannot be written to."""
    what = said_by_system(problem, "cannot be written")
    return StoreError(Problem(what, "give a place that you may write to", str(target)))
