"""Long work shows progress, can be cancelled, and always ends in a state."""

from __future__ import annotations

import threading

import pytest

from crashworthy.errors import NotFoundError, SheetError
from crashworthy.jobs.runner import KEEP, Cancelled, JobRunner


@pytest.fixture
def runner():
    """A runner that is closed after the test."""
    runner = JobRunner()
    yield runner
    runner.close()


def test_a_job_reports_progress_and_its_result(runner):
    """A finished job is done, whole, and holds its result."""

    def work(report):
        for k in range(4):
            report.progress(k + 1, 4, "crashing")
        return "answer"

    status = runner.wait(runner.start("four", work).id, 5)
    assert (status.state, status.done, status.total, status.result, status.share) == (
        "done",
        4,
        4,
        "answer",
        1.0,
    )


def test_a_running_job_can_be_cancelled(runner):
    """A cancelled job stops at its next look and says so."""
    begun = threading.Event()

    def work(report):
        begun.set()
        while not report.cancelled():
            pass
        raise Cancelled

    job = runner.start("endless", work).id
    assert begun.wait(5)
    runner.cancel(job)
    assert runner.wait(job, 5).state == "cancelled"


def test_a_waiting_job_can_be_cancelled_before_it_begins(runner):
    """A job cancelled in the queue never runs."""
    gate = threading.Event()
    ran = []
    runner.start("first", lambda _: gate.wait(5))
    second = runner.start("second", lambda _: ran.append(1)).id
    runner.cancel(second)
    gate.set()
    assert runner.wait(second, 5).state == "cancelled"
    assert ran == []


@pytest.mark.parametrize(
    ("fault", "words"), [(SheetError("no arms"), "no arms"), (KeyError("x"), "internal fault")]
)
def test_a_failed_job_says_why(runner, fault, words):
    """Whatever breaks, the job ends as failed with the reason."""

    def work(_):
        raise fault

    status = runner.wait(runner.start("bad", work).id, 5)
    assert status.state == "failed"
    assert words in status.message


def test_an_unknown_job_is_refused_in_words(runner):
    """Asking for a job that is gone says what to do."""
    with pytest.raises(NotFoundError, match="start it again"):
        runner.status("nope")


def test_only_the_latest_jobs_are_remembered(runner):
    """Memory does not grow with every job ever run."""
    first = runner.start("first", lambda _: 1).id
    runner.wait(first, 5)
    last = ""
    for _ in range(KEEP + 5):
        last = runner.start("next", lambda _: 1).id
        runner.wait(last, 5)
    assert runner.status(last).state == "done"
    with pytest.raises(NotFoundError):
        runner.status(first)
