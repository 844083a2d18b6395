"""Chunks run anywhere, results come in order."""

from __future__ import annotations

import threading
import time

import pytest

from crashworthy.errors import ScenarioError
from crashworthy.jobs.executor import Inline, Threads, executor_for


@pytest.mark.parametrize("executor", [Inline(), Threads(1), Threads(2), Threads(7)])
def test_results_come_in_chunk_order(executor):
    """Results come in the order of the chunks whoever finishes first."""

    def work(chunk: int) -> int:
        time.sleep(0.002 * (5 - chunk % 5))
        return chunk * chunk

    assert list(executor.map_chunks(work, range(20))) == [k * k for k in range(20)]


def test_an_early_stop_leaves_the_rest_undone():
    """Leaving the loop early drops the chunks that have not begun."""
    begun: list[int] = []
    lock = threading.Lock()

    def work(chunk: int) -> int:
        with lock:
            begun.append(chunk)
        time.sleep(0.01)
        return chunk

    results = Threads(2).map_chunks(work, range(100))
    assert next(results) == 0
    results.close()
    assert len(begun) < 12


def test_a_fault_in_a_chunk_reaches_the_caller():
    """A chunk that fails is not swallowed."""

    def work(chunk: int) -> int:
        if chunk == 3:
            raise ZeroDivisionError("three")
        return chunk

    with pytest.raises(ZeroDivisionError, match="three"):
        list(Threads(2).map_chunks(work, range(8)))


def test_no_workers_is_refused_in_words():
    """Zero workers is a clear error."""
    with pytest.raises(ScenarioError, match="at least 1"):
        executor_for(0)
