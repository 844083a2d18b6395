"""Where chunks of work run: one after another, on a pool of threads or on a cluster; the answer is the same.

A campaign is cut into chunks of fixed size keyed by global crash number, so that results depend neither on
how many workers there are nor on who finishes first. The crash kernel runs compiled with the interpreter
lock released, so threads use every core and cost no start-up (see docs/decisions).
"""

from __future__ import annotations

import os
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Protocol, TypeVar

from crashworthy.errors import Problem, ScenarioError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Future

__all__ = ["Executor", "Inline", "Threads", "executor_for"]

C = TypeVar("C")
R = TypeVar("R")


class Executor(Protocol):
    """Anything that can map a function over chunks and give the results in the order of the chunks."""

    def map_chunks(self, function: Callable[[C], R], chunks: Iterable[C]) -> Iterator[R]:
        """Yield ``function(chunk)`` for each chunk, in order."""
        ...


class Inline:
    """One chunk after another in the calling thread."""

    def map_chunks(self, function: Callable[[C], R], chunks: Iterable[C]) -> Iterator[R]:
        """Yield ``function(chunk)`` for each chunk, in order."""
        for chunk in chunks:
            yield function(chunk)


class Threads:
    """A pool of threads; at most two chunks a worker are in flight, so that a cancel takes effect soon."""

    def __init__(self, workers: int) -> None:
        """Make a pool of ``workers`` threads, at least one.

        Raises:
            ScenarioError: fewer than one worker.
        """
        if workers < 1:
            raise ScenarioError(
                Problem(f"{workers} workers cannot work", "ask for at least 1", field="workers")
            )
        self.workers = workers

    def map_chunks(self, function: Callable[[C], R], chunks: Iterable[C]) -> Iterator[R]:
        """Yield ``function(chunk)`` for each chunk, in order; stopping early drops what has not begun."""
        with ThreadPoolExecutor(self.workers, thread_name_prefix="crash") as pool:
            pending: deque[Future[R]] = deque()
            try:
                for chunk in chunks:
                    pending.append(pool.submit(function, chunk))
                    if len(pending) >= 2 * self.workers:
                        yield pending.popleft().result()
                while pending:
                    yield pending.popleft().result()
            finally:
                for future in pending:
                    future.cancel()


def executor_for(workers: int | None = None, cluster: str | None = None) -> Executor:
    """Pick the executor.

    Args:
        workers: threads; None means one for each core.
        cluster: address of a Dask scheduler, whose workers then do the work, or None.

    Raises:
        ScenarioError: fewer than one worker.
    """
    if cluster:
        from crashworthy.jobs.cluster import Cluster

        return Cluster(cluster)
    count = (os.cpu_count() or 1) if workers is None else workers
    return Inline() if count == 1 else Threads(count)
