"""Where long work runs, and how its results are had again where it did not run."""

from __future__ import annotations

import threading
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

from crashworthy.workshop.fleet import FleetBench

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from crashworthy.impact.cases import Runner
    from crashworthy.jobs.durable import DurableReporter, Work

__all__ = ["Background", "cancellable"]

K = TypeVar("K")
T = TypeVar("T")


class Background(FleetBench):
    """Crashes run on threads or on a cluster; what was run once is kept."""

    cluster: str | None = None
    """Address of a Dask scheduler that runs the crashes; None for the cores of this machine."""

    def runner(self, workers: int | None = None) -> Runner:
        """Where crashes run: the cluster or this machine's cores; finished chunks are kept and read again."""
        from crashworthy.jobs.executor import executor_for
        from crashworthy.store.chunks import ChunkStore

        kept = ChunkStore(self.folder.root / "chunks")
        if getattr(self._only, "kept", False):
            return kept.keeping(_nothing_new)
        return kept.keeping(executor_for(workers, self.cluster).map_chunks)

    def _recall(self, kind: str, **match: object) -> None:
        """Make the result of a job that another process did, from the crashes that it kept; or leave it.

        Results are remembered where they were made; the crashes, which took the time, are kept for all. When
        some of them are gone, or the build has changed since, nothing is made: the page says "not yet".

        Args:
            kind: of the job.
            **match: parameters that it must have had.
        """
        from crashworthy.errors import CrashworthyError
        from crashworthy.jobs.durable import DurableReporter
        from crashworthy.store.jobs import JobBook

        tried: set[str] = self.__dict__.setdefault("_recalled", set())
        for row in JobBook(self.store).of_kind(kind):
            given = row.given()
            if row.state != "done" or any(given.get(k) != v for k, v in match.items()):
                continue
            stamp = f"{row.id} {[self.quad(str(v)).digest for v in match.values() if v in self.names()]}"
            if stamp in tried:
                return
            tried.add(stamp)
            self._only.kept = True
            try:
                self._kinds()[kind](**given)(DurableReporter())
            except (CrashworthyError, LookupError):
                return
            finally:
                self._only.kept = False
            return

    def _kept_work(
        self, run: Callable[..., T], says: str, shelf: Callable[[], dict[K, T]], key: Callable[[], K]
    ) -> Work:
        """The body of a job that crashes something: told how far it is, can be stopped, its result kept.

        Args:
            run: does it; takes ``progress`` and ``cancelled``.
            says: what is shown beside the progress.
            shelf: where results of the kind are kept.
            key: of the result there, asked before the work begins, for a build may change meanwhile.
        """

        def work(report: DurableReporter) -> T:
            place = key()

            def progress(done: int, total: int) -> None:
                report.progress(done, total, says)

            found = cancellable(lambda: run(progress=progress, cancelled=report.cancelled))
            with self._lock:
                shelf()[place] = found
            return found

        return work

    @cached_property
    def _only(self) -> threading.local:
        """Whether this thread may only read crashes that are kept."""
        return threading.local()


def cancellable(work: Callable[[], T]) -> T:
    """Run a piece of work; a cancelled campaign is a cancelled job.

    Raises:
        Cancelled: somebody asked it to stop.
    """
    from crashworthy.impact.campaign import CampaignCancelled
    from crashworthy.jobs.runner import Cancelled

    try:
        return work()
    except CampaignCancelled:
        raise Cancelled from None


def _nothing_new(_function: Callable[[Any], Any], works: Iterable[Any]) -> Iterator[Any]:
    """An ordered map that has nothing run.

    Raises:
        LookupError: something would have to be.
    """
    for _ in works:
        raise LookupError
    return iter(())
