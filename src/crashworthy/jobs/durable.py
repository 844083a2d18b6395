"""Long work that outlives its process: its state is kept in a book that several processes share.

The same questions as ``runner`` answers: progress, cancel, wait. What a job does is not handed over as a
function, which no other process could take up, but as the name of a kind and plain parameters; every
process makes the work from these. Work that keeps its chunks (crash campaigns do) goes on where it stopped.
"""

from __future__ import annotations

import os
import threading
import time
from collections import OrderedDict
from typing import TYPE_CHECKING, Any, Final, Protocol
from uuid import uuid4

from crashworthy.errors import CrashworthyError, NotFoundError, Problem
from crashworthy.jobs.runner import Cancelled, JobStatus

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

__all__ = ["Book", "DurableReporter", "DurableRunner", "Row", "Work"]

BEAT: Final = 0.5
"""Time between two beats of a running job, s; a cancel from another process takes so long to arrive."""

LOOK: Final = 3.0
"""Time between two looks for work that another process left, s."""

RESULTS: Final = 50
"""Results remembered in the process that made them."""


class Row(Protocol):
    """A job as the book gives it; see ``store.jobs.JobRow``."""

    @property
    def id(self) -> str: ...  # noqa: D102 - as the class says
    @property
    def kind(self) -> str: ...  # noqa: D102
    @property
    def title(self) -> str: ...  # noqa: D102
    @property
    def state(self) -> Any: ...  # noqa: D102
    @property
    def message(self) -> str: ...  # noqa: D102
    @property
    def done(self) -> int: ...  # noqa: D102
    @property
    def total(self) -> int: ...  # noqa: D102
    @property
    def seconds(self) -> float: ...  # noqa: D102
    @property
    def beat(self) -> datetime | None: ...  # noqa: D102
    def given(self) -> dict[str, Any]: ...  # noqa: D102


class Book(Protocol):
    """Where jobs are kept; see ``store.jobs.JobBook``."""

    def add(self, kind: str, title: str, params: Mapping[str, Any], maker: str = "") -> Row: ...  # noqa: D102
    def get(self, job: str) -> Row: ...  # noqa: D102
    def claim(self, owner: str, kinds: frozenset[str]) -> Row | None: ...  # noqa: D102
    def beat(self, job: str, owner: str, done: int, total: int, message: str) -> bool: ...  # noqa: D102
    def finish(self, job: str, owner: str, state: str, message: str = "", kept: str = "") -> None: ...  # noqa: D102
    def ask_stop(self, job: str) -> Row: ...  # noqa: D102


class DurableReporter:
    """What a running job uses to say how far it is and to learn that it should stop."""

    def __init__(self) -> None:
        """Made by the runner."""
        self.now: tuple[int, int, str] = (0, 0, "")
        self.stop = threading.Event()
        self.kept = ""

    def progress(self, done: int, total: int, message: str = "") -> None:
        """Say how far the work is; written down at the next beat."""
        self.now = (done, total, message)

    def cancelled(self) -> bool:
        """Whether somebody asked to stop, here or in another process."""
        return self.stop.is_set()

    def keep(self, text: str) -> None:
        """Leave a text with the job, which every process can read once it is done."""
        self.kept = text


class Work(Protocol):
    """What a job does, once."""

    def __call__(self, report: DurableReporter, /) -> Any:
        """Do it; may raise ``Cancelled``."""


class DurableRunner:
    """Runs the jobs of a book one at a time in a thread of its own, whoever asked for them."""

    def __init__(self, book: Book, kinds: Mapping[str, Callable[..., Work]], owner: str = "") -> None:
        """Take a book and what can be done.

        Args:
            book: where the jobs are kept.
            kinds: makes the work of each kind from its parameters.
            owner: name of this process; made when "".
        """
        self._book, self._kinds = book, dict(kinds)
        self.owner = owner or f"{os.getpid()}-{uuid4().hex[:8]}"
        self._results: OrderedDict[str, Any] = OrderedDict()
        self._running: dict[str, DurableReporter] = {}
        self._wake, self._closing = threading.Event(), threading.Event()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def begin(self) -> None:
        """Look for work from now on: what is asked for here, and what another process left behind."""
        with self._lock:
            if self._thread is None and not self._closing.is_set():
                self._thread = threading.Thread(target=self._loop, name="jobs", daemon=True)
                self._thread.start()

    def start(self, kind: str, title: str, params: Mapping[str, Any], maker: str = "") -> JobStatus:
        """Queue a job.

        Raises:
            NotFoundError: no such kind.
        """
        if kind not in self._kinds:
            raise NotFoundError(Problem(f"no job is of the kind {kind!r}", "update this program"))
        row = self._book.add(kind, title, params, maker)
        self.begin()
        self._wake.set()
        return self._status(row)

    def status(self, job: str) -> JobStatus:
        """What a job is doing, in whatever process.

        Raises:
            NotFoundError: no such job, or so old that it was forgotten.
        """
        return self._status(self._book.get(job))

    def cancel(self, job: str) -> JobStatus:
        """Ask a job to stop; it does at the end of the chunk it is at.

        Raises:
            NotFoundError: no such job.
        """
        row = self._book.ask_stop(job)
        if (mine := self._running.get(job)) is not None:
            mine.stop.set()
        return self._status(row)

    def wait(self, job: str, timeout: float) -> JobStatus:
        """Return the status once the job ended, or after ``timeout`` seconds."""
        end = time.monotonic() + timeout
        while not (now := self.status(job)).ended and time.monotonic() < end:
            time.sleep(0.05)
        return now

    def close(self) -> None:
        """Put what runs back for another process, or for the next start, and end."""
        self._closing.set()
        self._wake.set()
        for running in list(self._running.values()):
            running.stop.set()
        if self._thread is not None:
            self._thread.join()

    def _status(self, row: Row) -> JobStatus:
        done, total, message = row.done, row.total, row.message
        if row.state == "running" and (mine := self._running.get(row.id)) is not None:
            done, total, message = mine.now
        result = self._results.get(row.id) if row.state == "done" else None
        return JobStatus(row.id, row.title, row.state, done, total, message, row.seconds, result)

    def _loop(self) -> None:
        while not self._closing.is_set():
            self._wake.clear()
            try:
                row = self._book.claim(self.owner, frozenset(self._kinds))
            except CrashworthyError:  # the database is away; it may come back
                row = None
            if row is None:
                self._wake.wait(LOOK)
            else:
                self._run(row)

    def _run(self, row: Row) -> None:
        report = DurableReporter()
        report.now = (row.done, row.total, row.message)
        self._running[row.id] = report
        ended = threading.Event()
        beats = threading.Thread(target=self._beats, args=(row.id, report, ended), name="beat", daemon=True)
        beats.start()
        result = None
        try:
            result = self._kinds[row.kind](**row.given())(report)
        except Cancelled:
            outcome = ("cancelled", "cancelled; nothing was kept")
        except CrashworthyError as problem:
            outcome = ("failed", str(problem))
        except Exception as problem:  # noqa: BLE001 - a job must end in a state whatever broke
            outcome = ("failed", f"internal fault: {problem!r}")
        else:
            outcome = ("done", "")
        ended.set()
        beats.join()
        if self._closing.is_set() and outcome[0] != "done" and not self._asked(row.id):
            outcome = ("waiting", "waits for the next start")  # nobody cancelled it: the program ends
        with self._lock:
            self._results[row.id] = result
            while len(self._results) > RESULTS:
                self._results.popitem(last=False)
        self._tell(row.id, report, *outcome)
        self._running.pop(row.id, None)

    def _asked(self, job: str) -> bool:
        try:
            return bool(getattr(self._book.get(job), "stop", 0))
        except CrashworthyError:
            return False

    def _tell(self, job: str, report: DurableReporter, state: str, message: str) -> None:
        try:
            self._book.beat(job, self.owner, *report.now)
            self._book.finish(job, self.owner, state, message, report.kept)
        except CrashworthyError:
            return  # the database is away: its beat goes stale, and whoever finds it takes it up again

    def _beats(self, job: str, report: DurableReporter, ended: threading.Event) -> None:
        while not ended.wait(BEAT):
            try:
                go_on = self._book.beat(job, self.owner, *report.now)
            except CrashworthyError:
                continue
            if not go_on:
                report.stop.set()
