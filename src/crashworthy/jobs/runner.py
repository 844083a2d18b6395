"""Long work in the background: one job at a time, with progress, cancel and a result to fetch."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, Literal
from uuid import uuid4

from crashworthy.errors import CrashworthyError, NotFoundError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Cancelled", "JobRunner", "JobStatus", "Reporter"]

State = Literal["waiting", "running", "done", "failed", "cancelled", "interrupted"]

KEEP: Final = 200
"""Finished jobs remembered; a page that asks for an older one is told that it is gone."""


class Cancelled(Exception):  # noqa: N818 - not an error: the person asked for it
    """The person cancelled the job."""


@dataclass(frozen=True, slots=True)
class JobStatus:
    """What a job is doing.

    Attributes:
        id: to ask again.
        title: in words ("Crash test of Gannet, 2000 crashes").
        state: waiting, running, done, failed, cancelled or interrupted (its process ended too often).
        done, total: progress; ``total`` is 0 until it is known.
        message: what it is doing now, or why it failed.
        seconds: since it began; stands still at the end.
        result: what it returned, once done.
    """

    id: str
    title: str
    state: State
    done: int = 0
    total: int = 0
    message: str = ""
    seconds: float = 0.0
    result: Any = None

    @property
    def ended(self) -> bool:
        """Whether nothing more will happen."""
        return self.state in ("done", "failed", "cancelled", "interrupted")

    @property
    def share(self) -> float:
        """Progress from 0 to 1."""
        return self.done / self.total if self.total else float(self.state == "done")


class Reporter:
    """What a running job uses to say how far it is and to learn that it should stop."""

    def __init__(self, runner: JobRunner, job: str) -> None:
        """Made by the runner."""
        self._runner = runner
        self._job = job

    def progress(self, done: int, total: int, message: str = "") -> None:
        """Say how far the work is."""
        self._runner._update(self._job, done=done, total=total, message=message)

    def cancelled(self) -> bool:
        """Whether the person asked to stop."""
        return self._runner._stop[self._job].is_set()


class JobRunner:
    """Runs jobs one at a time in a thread of its own; each job may use every core itself."""

    def __init__(self) -> None:
        """Start with no jobs; the thread begins with the first one."""
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="job")
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, JobStatus] = OrderedDict()
        self._stop: dict[str, threading.Event] = {}
        self._began: dict[str, float] = {}

    def start(self, title: str, work: Callable[[Reporter], Any]) -> JobStatus:
        """Queue ``work``; it gets a ``Reporter`` and may raise ``Cancelled``."""
        job = uuid4().hex
        with self._lock:
            self._jobs[job] = JobStatus(job, title, "waiting")
            self._stop[job] = threading.Event()
            ended = [k for k, v in self._jobs.items() if v.ended]
            for old in ended[: max(0, len(self._jobs) - KEEP)]:
                del self._jobs[old], self._stop[old]
                self._began.pop(old, None)
        self._pool.submit(self._run, job, work)
        return self.status(job)

    def status(self, job: str) -> JobStatus:
        """Return what the job is doing.

        Raises:
            NotFoundError: no such job, or so old that it was forgotten.
        """
        with self._lock:
            if job not in self._jobs:
                raise NotFoundError(Problem("this job is not known here any more", "start it again"))
            now = self._jobs[job]
            if now.state == "running":
                now = replace(now, seconds=time.monotonic() - self._began[job])
            return now

    def cancel(self, job: str) -> JobStatus:
        """Ask the job to stop; it does at the end of the chunk it is at.

        Raises:
            NotFoundError: no such job.
        """
        now = self.status(job)
        if not now.ended:
            self._stop[job].set()
        return now

    def wait(self, job: str, timeout: float) -> JobStatus:
        """Return the status once the job ended, or after ``timeout`` seconds."""
        end = time.monotonic() + timeout
        while not (now := self.status(job)).ended and time.monotonic() < end:
            time.sleep(0.02)
        return now

    def close(self) -> None:
        """Cancel what runs and wait for it."""
        for stop in list(self._stop.values()):
            stop.set()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _update(self, job: str, **changes: Any) -> None:
        with self._lock:
            self._jobs[job] = replace(self._jobs[job], **changes)

    def _run(self, job: str, work: Callable[[Reporter], Any]) -> None:
        self._began[job] = time.monotonic()
        if self._stop[job].is_set():
            self._update(job, state="cancelled", message="cancelled before it began")
            return
        self._update(job, state="running")
        try:
            result = work(Reporter(self, job))
        except Cancelled:
            outcome: dict[str, Any] = {"state": "cancelled", "message": "cancelled; nothing was kept"}
        except CrashworthyError as problem:
            outcome = {"state": "failed", "message": str(problem)}
        except Exception as problem:  # noqa: BLE001 - a job must end in a state whatever broke
            outcome = {"state": "failed", "message": f"internal fault: {problem!r}"}
        else:
            outcome = {"state": "done", "result": result, "message": ""}
        self._update(job, seconds=time.monotonic() - self._began[job], **outcome)
