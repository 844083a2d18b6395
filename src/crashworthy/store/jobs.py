"""Long work in the database: asked for by one process, run by one of several, answered by any.

A job that runs beats: its owner writes the time every second or so. One whose beat stood still for
``STALE`` seconds, or whose owner was a process of this machine that is no more, lost its owner; whoever next
looks for work takes it up again. One job of a fleet runs at a
time, whoever runs it, as each may use every core.
"""

from __future__ import annotations

import json
import os
import socket
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from uuid import uuid4

import sqlalchemy as sa

from crashworthy.errors import NotFoundError, Problem
from crashworthy.store import schema
from crashworthy.store.connect import reading, writing

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from crashworthy.store.engine import Store

__all__ = ["KEEP", "STALE", "TRIES", "JobBook", "JobRow", "owner_name"]

STALE: Final = 20.0
"""A job that did not beat for this long has lost its owner, s."""

TRIES: Final = 3
"""How often a job is begun; one that takes its process down with it must not do so for ever."""

KEEP: Final = 200
"""Ended jobs remembered."""

ENDED: Final = ("done", "failed", "cancelled", "interrupted")


@dataclass(frozen=True, slots=True)
class JobRow:
    """One job as it is stored.

    Attributes:
        id: to ask again.
        kind: what it does, a name that the workshop knows.
        params: what it does it with, JSON.
        title: in words.
        state: waiting, running, done, failed, cancelled or interrupted.
        message: what it is doing now, or why it ended so.
        kept: what it leaves behind for others to read, as text.
        owner: the process that runs it, or ran it.
        maker: who asked for it, or "".
        done, total: progress.
        stop: 1 when somebody asked it to stop.
        tries: how often it was begun.
        made, began, beat: when it was asked for, begun, last heard of.
    """

    id: str
    kind: str
    params: str
    title: str
    state: str
    message: str
    kept: str
    owner: str
    maker: str
    done: int
    total: int
    stop: int
    tries: int
    made: datetime
    began: datetime | None
    beat: datetime | None

    @property
    def seconds(self) -> float:
        """From its beginning to when it was last heard of."""
        return 0.0 if self.began is None or self.beat is None else (self.beat - self.began).total_seconds()

    def given(self) -> dict[str, Any]:
        """The parameters."""
        found: dict[str, Any] = json.loads(self.params)
        return found


class JobBook:
    """The table of jobs of one store; every call is one short transaction."""

    def __init__(self, store: Store) -> None:
        """Use an open store."""
        self._engine, self._address, self._now = store.engine, store.address, store.now

    def add(self, kind: str, title: str, params: Mapping[str, Any], maker: str = "") -> JobRow:
        """Queue a job."""
        row = JobRow(
            uuid4().hex,
            kind,
            json.dumps(params),
            title,
            state="waiting",
            message="",
            kept="",
            owner="",
            maker=maker,
            done=0,
            total=0,
            stop=0,
            tries=0,
            made=self._now(),
            began=None,
            beat=None,
        )
        c = schema.job.c
        with writing(self._engine, self._address) as connection:
            values = {name: getattr(row, name) for name in JobRow.__slots__}
            connection.execute(sa.insert(schema.job).values(**values))
            old = sa.select(c.id).where(c.state.in_(ENDED)).order_by(c.made.desc(), c.id).offset(KEEP)
            gone = list(connection.execute(old).scalars())
            if gone:
                connection.execute(sa.delete(schema.job).where(c.id.in_(gone)))
        return row

    def get(self, job: str) -> JobRow:
        """One job.

        Raises:
            NotFoundError: no such job, or so old that it was forgotten.
        """
        with reading(self._engine, self._address) as connection:
            found = self._rows(connection, schema.job.c.id == job)
        if not found:
            raise NotFoundError(Problem("this job is not known here any more", "start it again"))
        return found[0]

    def of_kind(self, kind: str) -> tuple[JobRow, ...]:
        """Jobs of a kind, the newest first."""
        with reading(self._engine, self._address) as connection:
            return tuple(reversed(self._rows(connection, schema.job.c.kind == kind)))

    def open(self) -> tuple[JobRow, ...]:
        """Jobs that have not ended, the oldest first."""
        with reading(self._engine, self._address) as connection:
            return tuple(self._rows(connection, schema.job.c.state.not_in(ENDED)))

    def claim(self, owner: str, kinds: frozenset[str]) -> JobRow | None:
        """Take the next job to run, when no other process runs one.

        A job whose owner was lost is taken up again; after ``TRIES`` beginnings, or when this program does
        not know its kind, it is marked as interrupted.

        Args:
            owner: name of this process.
            kinds: what it can do.
        """
        if not self.open():  # a read; most looks find nothing
            return None
        c, now = schema.job.c, self._now()
        with writing(self._engine, self._address) as connection:
            self._lock(connection)
            for row in self._rows(connection, c.state == "running"):
                fresh = row.beat is not None and now - row.beat < timedelta(seconds=STALE)
                if fresh and not _gone(row.owner):
                    return None
                self._change(connection, row.id, **_lost(row))
            for row in self._rows(connection, c.state == "waiting"):
                if row.kind not in kinds:
                    self._change(connection, row.id, **_unknown())
                    continue
                begun = {"state": "running", "owner": owner, "beat": now, "tries": row.tries + 1}
                self._change(connection, row.id, **begun, began=row.began or now)
                return self._rows(connection, c.id == row.id)[0]
        return None

    def beat(self, job: str, owner: str, done: int, total: int, message: str) -> bool:
        """Say that the job is alive and how far it is.

        Returns:
            Whether to go on: nobody asked to stop, and it still belongs to ``owner``.
        """
        c = schema.job.c
        mine = (c.id == job) & (c.owner == owner) & (c.state == "running")
        change = {"beat": self._now(), "done": done, "total": total, "message": message[:300]}
        with writing(self._engine, self._address) as connection:
            told = sa.update(schema.job).where(mine).values(**change).returning(c.stop)
            stop = connection.execute(told).scalar()
        return stop == 0

    def finish(self, job: str, owner: str, state: str, message: str = "", kept: str = "") -> None:
        """End a job, or put it back with the state "waiting"; nothing happens when it is not ``owner``'s."""
        c = schema.job.c
        mine = (c.id == job) & (c.owner == owner) & (c.state == "running")
        change: dict[str, Any] = {"state": state, "message": message[:2000], "kept": kept}
        if state == "waiting":
            change |= {"owner": "", "tries": c.tries - 1}
        with writing(self._engine, self._address) as connection:
            connection.execute(sa.update(schema.job).where(mine).values(beat=self._now(), **change))

    def ask_stop(self, job: str) -> JobRow:
        """Ask a job to stop; one that still waits is cancelled at once.

        Raises:
            NotFoundError: no such job.
        """
        c = schema.job.c
        with writing(self._engine, self._address) as connection:
            self._lock(connection)
            at = sa.update(schema.job).where(c.id == job)
            before = {"state": "cancelled", "message": "cancelled before it began"}
            connection.execute(at.where(c.state == "waiting").values(**before))
            connection.execute(at.where(c.state == "running").values(stop=1))
        return self.get(job)

    @staticmethod
    def _lock(connection: Connection) -> None:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(schema.LOCK_KEY + 2)))

    @staticmethod
    def _rows(connection: Connection, where: sa.ColumnElement[bool]) -> list[JobRow]:
        c = schema.job.c
        columns = [c[name] for name in JobRow.__slots__]
        found = connection.execute(sa.select(*columns).where(where).order_by(c.made, c.id))
        return [JobRow(*row) for row in found]

    @staticmethod
    def _change(connection: Connection, job: str, **values: Any) -> None:
        connection.execute(sa.update(schema.job).where(schema.job.c.id == job).values(**values))


def here() -> str:
    """Name of this machine, and of its world of processes where there are several (containers)."""
    world = Path("/proc/self/ns/pid")
    return f"{socket.gethostname()}:{world.stat().st_ino if world.exists() else 0}"


def owner_name() -> str:
    """A name for this process as an owner of jobs."""
    return f"{here()}/{os.getpid()}/{uuid4().hex[:8]}"


def _gone(owner: str) -> bool:
    """Whether the owner was a process of this machine that has ended; a new one may have its number."""
    where, _, rest = owner.partition("/")
    number = rest.partition("/")[0]
    if os.name != "posix" or where != here() or not number.isdigit():
        return False
    try:
        os.kill(int(number), 0)  # asks only
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return False


def _lost(row: JobRow) -> dict[str, Any]:
    """What becomes of a job whose owner is gone."""
    if row.stop:
        return {"state": "cancelled", "message": "cancelled; the program that ran it had ended"}
    if row.tries >= TRIES:
        message = (
            f"interrupted {row.tries} times: the program ended while it ran; start it again when you like"
        )
        return {"state": "interrupted", "message": message}
    return {"state": "waiting", "owner": "", "message": "taken up again"}


def _unknown() -> dict[str, Any]:
    message = "interrupted: this version of the program cannot go on with it; start it again"
    return {"state": "interrupted", "message": message}
