"""Stores to test with: a file, and a PostgreSQL server of our own."""

from __future__ import annotations

import os
import random
import shutil
import socket
import subprocess
import tempfile
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from crashworthy.store.engine import open_store
from crashworthy.upkeep.events import IdMaker, Scribe


def _program(name: str) -> str | None:
    """Where a PostgreSQL program is: on PATH, or where distributions hide it."""
    found = shutil.which(name)
    if found:
        return found
    hidden = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda p: float(p.parts[-3]))
    return str(hidden[-1]) if hidden else None


class Server:
    """A throw-away PostgreSQL server on the loopback."""

    def __init__(self, folder: Path, *, safe: bool = False) -> None:
        """Start it; ``safe`` sees every commit onto the disk, as in use, and is slower."""
        self.folder = folder
        initdb, self.pg_ctl = _program("initdb"), _program("pg_ctl")
        assert initdb
        assert self.pg_ctl
        self.prefix: list[str] = []
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            # PostgreSQL refuses to run as root.
            shutil.chown(folder, "postgres", "postgres")
            self.prefix = ["runuser", "-u", "postgres", "--"]
        self.data = folder / "data"
        self._run(initdb, "-D", str(self.data), "-U", "tester", "-A", "trust", "-E", "UTF8", "--no-sync")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        options = (
            f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}"
            f" -c fsync={'on' if safe else 'off'}"
        )
        log = str(folder / "log")
        self._run(self.pg_ctl, "-D", str(self.data), "-l", log, "-o", options, "-w", "-t", "30", "start")

    def _run(self, *words: str) -> None:
        done = subprocess.run(
            [*self.prefix, *words],
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE if "start" not in words else subprocess.DEVNULL,
            stderr=subprocess.STDOUT if "start" not in words else subprocess.DEVNULL,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, done.stdout

    def stop(self) -> None:
        """Stop it and do not wait for clients."""
        self._run(self.pg_ctl, "-D", str(self.data), "-m", "immediate", "-w", "stop")

    def url(self, database: str = "postgres") -> str:
        """Address as a person would paste it."""
        return f"postgresql://tester@127.0.0.1:{self.port}/{database}"

    def new_database(self) -> str:
        """Address of a fresh, empty schema; to a program it is a database, and it is made much faster."""
        import psycopg

        name = f"t{uuid.uuid4().hex}"
        with psycopg.connect(self.url(), autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {name}")
        return f"{self.url()}?options=-csearch_path%3D{name}"


@pytest.fixture(scope="session")
def postgres():
    """The server of this session; where there is none to start, skip, but fail in CI."""
    missing = [name for name in ("initdb", "pg_ctl") if _program(name) is None]
    try:
        import psycopg  # noqa: F401
    except ImportError:
        missing.append("psycopg")
    if missing:
        reason = f"PostgreSQL is not installed here ({', '.join(missing)} not found)"
        if os.environ.get("CI"):
            pytest.fail(f"{reason}; CI must install it")
        pytest.skip(reason)
    # Not pytest's own folder: its parents are closed to the user that the server runs as.
    folder = Path(tempfile.mkdtemp(prefix="cwpg"))
    server = Server(folder)
    yield server
    server.stop()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def where(request, tmp_path):
    """Address of a store that does not exist yet, on each database."""
    if request.param == "sqlite":
        return tmp_path / "fleet.db"
    return request.getfixturevalue("postgres").new_database()


@pytest.fixture
def store(where):
    """An open, empty store on each database."""
    with open_store(where) as opened:
        yield opened


class Pen:
    """Writes events as some phone would, with a clock of its own."""

    def __init__(self, device: str = "phone") -> None:
        self.now = datetime(2026, 5, 1, 9, tzinfo=UTC)
        source = random.Random(device)  # noqa: S311 - repeatable on purpose
        self.scribe = Scribe(device, self._tick, IdMaker(lambda: self.now, source.randbytes))

    def _tick(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now

    def write(self, *payloads, quad="gannet"):
        """One event per payload."""
        return tuple(self.scribe.write(quad, payload) for payload in payloads)


@pytest.fixture
def pen():
    """A phone."""
    return Pen()


@pytest.fixture
def other_pen():
    """Another phone."""
    return Pen("tablet")
