"""Chunks of work on a Dask cluster that someone else started, by its scheduler's address.

The same port as the pools of ``executor``: a function, units of work, results in the order of the work. A
unit carries all that it needs and its result depends on nothing else, so a unit whose worker dies is simply
run again by another, and neither that nor the number of workers can show in the results. Workers need this
package, of the same version, and are asked for it before the first unit is sent.

Needs the extra ``cluster`` (dask and distributed).
"""

from __future__ import annotations

import itertools
from collections import deque
from typing import TYPE_CHECKING, Any, Final, TypeVar
from uuid import uuid4

from crashworthy.errors import CrashworthyError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

__all__ = ["Cluster", "engine_of_this_process"]

C = TypeVar("C")
R = TypeVar("R")

PATIENCE: Final = 10.0
"""Time to reach the scheduler, s."""

IN_FLIGHT: Final = 4
"""Units of work under way for each worker's thread: enough to hide the network, few enough to stop soon."""

RETRIES: Final = 4
"""How often a unit may lose its worker and be given to another."""


def engine_of_this_process() -> str:
    """Version of the package and digest of its physics: what must be equal everywhere for equal results."""
    from crashworthy.impact.campaign import ENGINE
    from crashworthy.impact.jit import cache_folder
    from crashworthy.release import release

    return f"{release()}, engine {ENGINE}, {cache_folder().name}"


class Cluster:
    """A Dask cluster by address."""

    def __init__(self, address: str) -> None:
        """Take the scheduler's address, such as "tcp://10.0.0.5:8786"; nothing is contacted yet."""
        self.address = address

    def map_chunks(self, function: Callable[[C], R], chunks: Iterable[C]) -> Iterator[R]:
        """Yield ``function(chunk)`` for each chunk, in order; stopping early drops what has not begun.

        Raises:
            CrashworthyError: the extra is not installed, the cluster cannot be reached, has no workers, runs
                another version, or lost so many workers that a unit could not be finished.
        """
        try:
            from distributed import Client, KilledWorker
        except ImportError:
            raise CrashworthyError(
                Problem(
                    "a cluster needs the extra 'cluster'", "install crashworthy[cluster]", field="cluster"
                )
            ) from None
        client = self._connect(Client)
        pending: deque[Any] = deque()
        try:
            threads = self._threads(client)
            run = uuid4().hex[:12]
            waiting = enumerate(chunks)
            for number, chunk in itertools.islice(waiting, IN_FLIGHT * threads):
                pending.append(self._submit(client, function, chunk, f"crash-{run}-{number}"))
            while pending:
                try:
                    result: R = pending[0].result()
                except KilledWorker:
                    raise CrashworthyError(
                        Problem(
                            f"{RETRIES} workers in a row died over the same crashes",
                            "look at the workers' memory and logs",
                            file=self.address,
                        )
                    ) from None
                # The scheduler may forget a result once its future is gone, so that memory stays flat.
                pending.popleft().release()
                for number, chunk in itertools.islice(waiting, 1):
                    pending.append(self._submit(client, function, chunk, f"crash-{run}-{number}"))
                yield result
        finally:
            for future in pending:
                future.cancel()
            client.close()

    def _connect(self, kind: Callable[..., Any]) -> Any:
        try:
            return kind(self.address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as problem:
            raise CrashworthyError(
                Problem(
                    f"no cluster answers there ({problem})",
                    "check the scheduler's address, like tcp://host:8786",
                    file=self.address,
                    field="cluster",
                )
            ) from None

    def _threads(self, client: Any) -> int:
        """How many threads work there, after asking all for their version."""
        workers: Mapping[str, int] = client.nthreads()
        if not workers:
            raise CrashworthyError(
                Problem("the cluster has no workers", "start some", file=self.address, field="cluster")
            )
        ours = engine_of_this_process()
        try:
            answers: Mapping[str, str] = client.run(engine_of_this_process, on_error="ignore")
        except Exception as problem:  # noqa: BLE001 - whatever keeps a worker from answering, it cannot work for us
            raise CrashworthyError(
                Problem(
                    f"the workers cannot import this package ({problem})",
                    "install it there",
                    file=self.address,
                )
            ) from None
        other = {w: a for w, a in answers.items() if a != ours}
        if other or not answers:
            worker, answer = next(iter(other.items()), ("every worker", "nothing"))
            raise CrashworthyError(
                Problem(
                    f"{worker} runs {answer}, this is {ours}",
                    "install the same version everywhere",
                    file=self.address,
                )
            )
        return max(1, sum(workers.values()))

    @staticmethod
    def _submit(client: Any, function: Callable[[C], R], chunk: C, key: str) -> Any:
        return client.submit(function, chunk, key=key, pure=False, retries=RETRIES)
