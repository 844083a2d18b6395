"""Jobs in a book that processes share: progress, cancel, one at a time, none lost with its process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from crashworthy.errors import NotFoundError
from crashworthy.jobs.durable import DurableRunner
from crashworthy.jobs.runner import Cancelled
from crashworthy.store import jobs as book_room
from crashworthy.store.engine import open_store
from crashworthy.store.jobs import TRIES, JobBook


def counting(to):
    """Work that counts and can be stopped."""

    def work(report):
        for k in range(to):
            if report.cancelled():
                raise Cancelled
            report.progress(k + 1, to, "counting")
            time.sleep(0.01)
        report.keep(str(to))
        return to

    return work


def endless():
    """Work that ends only when it is stopped."""

    def work(report):
        while not report.cancelled():
            time.sleep(0.01)
        raise Cancelled

    return work


def broken():
    """Work that fails."""

    def work(_report):
        raise RuntimeError("no")

    return work


KINDS = {"count": counting, "endless": endless, "broken": broken}


@pytest.fixture
def store(tmp_path):
    """An empty fleet."""
    with open_store(tmp_path / "fleet.db") as opened:
        yield opened


@pytest.fixture
def runner(store):
    """A runner on it."""
    made = DurableRunner(JobBook(store), KINDS)
    yield made
    made.close()


def test_a_job_is_done_and_everybody_can_read_it(runner, store):
    """Progress and what a job keeps are read from any process; its result where it was made."""
    job = runner.start("count", "Counting", {"to": 3}).id
    done = runner.wait(job, 10)
    assert (done.state, done.done, done.total, done.result) == ("done", 3, 3, 3)
    other = DurableRunner(JobBook(store), KINDS)
    assert other.status(job).state == "done"
    assert other.status(job).result is None
    assert JobBook(store).get(job).kept == "3"
    with pytest.raises(NotFoundError):
        other.status("nothing")
    with pytest.raises(NotFoundError):
        other.start("bake", "", {})


def test_another_process_cancels_what_runs_here_and_what_waits(runner, store):
    """A cancel reaches the process that runs the job; a job that waits never begins."""
    first, second = (runner.start("endless", "x", {}).id for _ in range(2))
    while runner.status(first).state != "running":
        time.sleep(0.02)
    other = DurableRunner(JobBook(store), KINDS)
    assert other.status(first).state == "running"
    assert other.cancel(second).state == "cancelled"
    other.cancel(first)
    assert runner.wait(first, 10).state == "cancelled"


def test_a_fault_is_told(runner):
    """Work that breaks fails in words, and the next job runs."""
    job = runner.start("broken", "x", {}).id
    assert "internal fault" in runner.wait(job, 10).message
    assert runner.wait(runner.start("count", "x", {"to": 1}).id, 10).state == "done"


def test_one_job_runs_at_a_time_whoever_runs_it(store):
    """Two processes share the work of a fleet and never run two jobs at once."""
    at_once, most, lock = [0], [0], threading.Lock()

    def careful():
        def work(_report):
            with lock:
                at_once[0] += 1
                most[0] = max(most[0], at_once[0])
            time.sleep(0.05)
            with lock:
                at_once[0] -= 1

        return work

    both = [DurableRunner(JobBook(store), {"x": careful}) for _ in range(2)]
    jobs = [both[k % 2].start("x", "x", {}).id for k in range(8)]
    assert {both[0].wait(job, 30).state for job in jobs} == {"done"}
    for one in both:
        one.close()
    assert most == [1]


def test_closing_puts_the_job_back_and_the_next_start_takes_it_up(store):
    """A program that ends cancels nothing: the job waits, and is begun again."""
    first = DurableRunner(JobBook(store), KINDS)
    job = first.start("endless", "x", {}).id
    while first.status(job).state != "running":
        time.sleep(0.02)
    first.close()
    assert JobBook(store).get(job).state == "waiting"
    second = DurableRunner(JobBook(store), {"endless": lambda: counting(2)})
    second.begin()
    assert second.wait(job, 10).state == "done"
    second.close()


KILLED = """
import sys, time
from crashworthy.jobs.durable import DurableRunner
from crashworthy.store.engine import open_store
from crashworthy.store.jobs import JobBook, owner_name
def make():
    def work(report):
        report.progress(1, 9, "begun"); time.sleep(60)
    return work
runner = DurableRunner(JobBook(open_store(sys.argv[1])), {"count": lambda to: make()}, owner_name())
runner.begin(); time.sleep(60)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")
def test_a_job_whose_process_was_killed_is_taken_up_and_at_last_reported(store):
    """Kill -9 loses no job: it is begun again, and after the third time reported with what to do."""
    book = JobBook(store)
    job = book.add("count", "Counting", {"to": 2}).id
    for attempt in range(1, TRIES + 1):
        process = subprocess.Popen([sys.executable, "-c", KILLED, str(store.address.path)])
        try:
            deadline = time.monotonic() + 30
            while (now := book.get(job)).state != "running" or now.tries != attempt or now.done != 1:
                assert time.monotonic() < deadline, now
                time.sleep(0.05)
        finally:
            os.kill(process.pid, signal.SIGKILL)
            process.wait()
    assert book.claim("me", frozenset(KINDS)) is None
    told = book.get(job)
    assert told.state == "interrupted"
    assert "start it again" in told.message


def test_a_job_of_another_machine_is_lost_when_it_is_silent(store, monkeypatch):
    """Of another machine's process only its beat is known: while it beats nobody takes its job."""
    book = JobBook(store)
    job = book.add("count", "x", {"to": 1}).id
    assert book.claim("elsewhere:1/7/x", frozenset(KINDS)) is not None
    assert book.claim("me", frozenset(KINDS)) is None
    monkeypatch.setattr(book_room, "STALE", 0.0)
    taken = book.claim("me", frozenset(KINDS))
    assert taken is not None
    assert (taken.id, taken.tries) == (job, 2)
    assert not book.beat(job, "elsewhere:1/7/x", 1, 1, "")  # the old owner is told to stop
    book.finish(job, "elsewhere:1/7/x", "done")
    assert book.get(job).state == "running"


def test_a_kind_of_a_newer_version_is_reported(store):
    """A job that this version cannot do is marked, and does not hold up the others."""
    book = JobBook(store)
    strange, known = book.add("bake", "x", {}).id, book.add("count", "x", {"to": 1}).id
    claimed = book.claim("me", frozenset(KINDS))
    assert claimed is not None
    assert claimed.id == known
    assert book.get(strange).state == "interrupted"


def test_old_jobs_are_forgotten(store, monkeypatch):
    """The table does not grow for ever."""
    monkeypatch.setattr(book_room, "KEEP", 3)
    book = JobBook(store)
    jobs = [book.add("count", "x", {}).id for _ in range(6)]
    for job in jobs:
        book.ask_stop(job)
    book.add("count", "x", {})
    assert len(book.of_kind("count")) == 4
