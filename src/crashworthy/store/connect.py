"""Addresses, engines and the translation of database errors into words.

A password is never part of a message: addresses are shown without it, and it is blotted out of what the
driver says.
"""

from __future__ import annotations

import importlib.util
import re
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from crashworthy.errors import DISK_FULL, Problem, StoreError, said_by_system

__all__ = [
    "FILE_NAME",
    "PASSING",
    "Address",
    "in_schema",
    "in_words",
    "make_engine",
    "parse_address",
    "reading",
    "use_write_ahead_log",
    "writing",
]

FILE_NAME: Final = "fleet.db"
"""The database in a data folder."""

BUSY_SECONDS: Final = 10.0
"""How long a statement waits for another program that is writing."""

INSTALL_POSTGRES: Final = "python -m pip install 'crashworthy[postgres]'"


class Address:
    """Where a store is.

    Attributes:
        url: for SQLAlchemy, with its driver.
        path: the database file, or None for a server.
        shown: how to name it to people, without a password.
    """

    def __init__(self, url: URL, path: Path | None = None) -> None:
        """Take the URL and, for SQLite, the file."""
        self.url, self.path = url, path
        # SQLite lets waiting writers try again at random; within a process they queue here instead.
        self.turn = threading.RLock()
        if path is not None:
            self.shown = str(path)
        else:
            # Only the known harmless parts: options after ? may hold a password too.
            bare = URL.create("postgresql", url.username, None, url.host, url.port, url.database)
            self.shown = bare.render_as_string()

    def blot(self, text: str) -> str:
        """The text without any secret of this address."""
        options = [self.url.query.get(name) for name in ("password", "passfile", "sslpassword")]
        for secret in (self.url.password, *options):
            for one in (secret,) if isinstance(secret, str) else secret or ():
                text = text.replace(str(one), "***")
        return text


def parse_address(where: str | Path) -> Address:
    """Understand a path or a database address.

    Args:
        where: a file, a folder (the database is then ``FILE_NAME`` in it), ``sqlite:///file``,
            or ``postgresql://user@host/name``.

    Returns:
        The address.

    Raises:
        StoreError: when it is neither.
    """
    text = str(where)
    if "://" not in text:
        if not text.strip() or text == ":memory:" or "\0" in text:
            raise StoreError(Problem(f"{text!r} names no file", "give a file or a folder"))
        return _file(Path(text))
    scheme = text.split("://", 1)[0].lower()
    if scheme.split("+")[0] not in ("sqlite", "postgresql", "postgres"):
        raise StoreError(
            Problem(
                f"a store cannot be at a {scheme[:20]}:// address",
                "give a file, a folder or postgresql://user@host/name",
            )
        )
    try:
        url = sa.make_url(text)
    except (sa.exc.ArgumentError, ValueError):
        # The address itself is not shown: what could not be understood may hold a password.
        raise StoreError(
            Problem(f"the {scheme}:// address cannot be understood", "write postgresql://user@host:5432/name")
        ) from None
    if scheme.startswith("sqlite"):
        if not url.database or url.database == ":memory:":
            raise StoreError(Problem("the sqlite:// address names no file", "write sqlite:///folder/name.db"))
        return _file(Path(url.database))
    if importlib.util.find_spec("psycopg") is None:
        raise StoreError(Problem("PostgreSQL needs a driver that is not installed", INSTALL_POSTGRES))
    if not url.database:
        raise StoreError(
            Problem("the postgresql:// address names no database", "write postgresql://user@host/name")
        )
    return Address(url.set(drivername="postgresql+psycopg"))


def _file(path: Path) -> Address:
    path = path.expanduser()
    if path.is_dir():
        path = path / FILE_NAME
    return Address(URL.create("sqlite", database=str(path)), path)


def make_engine(address: Address) -> Engine:
    """An engine for the address; nothing is opened yet.

    SQLite runs in WAL with ``synchronous=FULL``: a commit that returned is on the disk, whatever happens to
    the program after.
    """
    if address.path is None:
        given = address.url.query.get("options", "")
        options = " ".join((given,) if isinstance(given, str) else given)
        return sa.create_engine(
            address.url,
            pool_pre_ping=True,  # a server that was restarted is noticed before a statement is lost
            hide_parameters=True,
            connect_args={
                "connect_timeout": 10,
                "options": f"{options} -c timezone=utc -c lock_timeout=10s".strip(),
            },
        )
    engine = sa.create_engine(address.url, hide_parameters=True, connect_args={"timeout": BUSY_SECONDS})
    sa.event.listen(engine, "connect", _prepare_sqlite)
    sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: Any) -> None:
    # Transactions are begun by _begin_sqlite, not guessed by the driver from the first word of a statement.
    connection.isolation_level = None
    for pragma in (
        f"busy_timeout={int(BUSY_SECONDS * 1000)}",
        "synchronous=FULL",
        "fullfsync=1",  # macOS: ask the disk itself, elsewhere without effect
        "foreign_keys=ON",
        "trusted_schema=OFF",
    ):
        connection.execute("PRAGMA " + pragma).close()


def use_write_ahead_log(engine: Engine, address: Address) -> None:
    """Let readers go on while one writes. Kept in the file; only for a file that is known to be ours."""
    with in_words(address), closing(engine.raw_connection()) as pooled:
        raw = pooled.driver_connection
        assert isinstance(raw, sqlite3.Connection)  # noqa: S101 - only SQLite addresses have a file
        patience = time.monotonic() + BUSY_SECONDS
        while raw.execute("PRAGMA journal_mode").fetchone() != ("wal",):
            # SQLite does not wait here by itself while another connection reads or changes the same thing.
            try:
                raw.execute("PRAGMA journal_mode=WAL").close()
            except sqlite3.OperationalError as problem:
                if "locked" not in str(problem) or time.monotonic() > patience:
                    raise
                time.sleep(0.02)


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes its lock at once: upgrading a reader in the middle could fail without waiting.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine, address: Address) -> Iterator[Connection]:
    """A connection in one read transaction; database errors become ``StoreError``."""
    with in_words(address), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine, address: Address) -> Iterator[Connection]:
    """A connection in one write transaction, committed at the end; errors become ``StoreError``.

    ``IntegrityError`` passes through: it says that a row was refused, and the caller knows what that means.
    """
    with (
        _turn(address),
        in_words(address),
        engine.connect().execution_options(writes=True) as connection,
        connection.begin(),
    ):
        yield connection


@contextmanager
def _turn(address: Address) -> Iterator[None]:
    """The turn of this thread to write to a file; a server sees to that by itself."""
    if address.path is None:
        yield
        return
    if not address.turn.acquire(timeout=2.0 * BUSY_SECONDS):
        what = "another program is writing to it"
        raise StoreError(Problem(what, "close the other program and try again", address.shown))
    try:
        yield
    finally:
        address.turn.release()


@contextmanager
def in_words(address: Address) -> Iterator[None]:
    """What a driver says becomes a ``StoreError`` in words; ``IntegrityError`` passes through."""
    try:
        yield
    except sa.exc.IntegrityError:
        raise
    except (sa.exc.DBAPIError, sqlite3.Error, sa.exc.TimeoutError) as problem:
        # The chain is cut: a traceback of the driver may show the address.
        raise StoreError(_problem(address, problem)) from None
    except OSError as problem:
        raise StoreError(
            Problem(
                said_by_system(problem, "cannot be used"), "check the path and your rights", address.shown
            )
        ) from None


_KNOWN: Final = (
    ("database is locked", "another program is writing to it", "close the other program and try again"),
    ("not a database", "is not a database", "give another file, or restore your backup under this name"),
    ("malformed", "is damaged", "restore your latest backup; keep this file for rescue"),
    ("disk i/o error", "the disk reports an error", "check the disk, then restore your latest backup"),
    ("disk is full", DISK_FULL, "make room; nothing already acknowledged is lost"),
    ("no space left", DISK_FULL, "make room; nothing already acknowledged is lost"),
    ("readonly", "may only be read", "give yourself the right to write to the file and its folder"),
    ("unable to open", "cannot be opened", "check that the folder exists and may be written to"),
    ("password authentication failed", "the server refused name or password", "check the address"),
    ("no password supplied", "the server asks for a password", "put it in the address or in a pgpass file"),
    ("does not exist", "the server has no such database, table or role", "create it, or check the address"),
    ("refused", "nothing answers there", "start the server, or check host and port"),
    ("permission denied", "the server does not allow it", "grant the role rights on the database"),
    ("lock timeout", "another program is writing to it", "try again"),
    ("resolve", "the host is not known", "check the host in the address"),
    ("timeout", "the server does not answer", "check host and port, then try again"),
    ("timed out", "the server does not answer", "check host and port, then try again"),
)

PASSING: Final = frozenset(
    {
        "another program is writing to it",
        "the disk reports an error",
        DISK_FULL,
        "may only be read",
        "cannot be opened",
        "nothing answers there",
        "the host is not known",
        "the server does not answer",
    }
)
"""Of these it is not the request that is at fault: the same one may succeed once the cause is mended."""


def _problem(address: Address, problem: BaseException) -> Problem:
    said = str(getattr(problem, "orig", None) or problem)
    for sign, what, remedy in _KNOWN:
        if sign in said.lower():
            return Problem(what, remedy, address.shown)
    first = re.sub(r"\s+", " ", address.blot(said)).strip()[:200]
    return Problem(f"the database says: {first}", "check the address, then try again", address.shown)


def in_schema(where: str, schema: str) -> str:
    """The PostgreSQL address with its tables in a schema of their own, made when it does not exist.

    Args:
        where: "postgresql://...".
        schema: letters, digits and underscores.

    Raises:
        StoreError: the server cannot be used.
        ValueError: the schema cannot be a name.
    """
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,60}", schema):
        raise ValueError(f"{schema!r} cannot be the name of a schema")
    address = parse_address(where)
    engine = make_engine(address)
    try:
        with writing(engine, address) as connection:
            connection.exec_driver_sql(f"CREATE SCHEMA IF NOT EXISTS {schema}")
    finally:
        engine.dispose()
    given = address.url.query.get("options", "")
    options = " ".join((given,) if isinstance(given, str) else given)
    url = address.url.update_query_dict({"options": f"{options} -c search_path={schema}".strip()})
    return url.render_as_string(hide_password=False)
