"""What every bench of the workshop stands on: the data folder, the store, the jobs, the priors."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Self

from crashworthy.jobs.memo import Memo
from crashworthy.store.folder import DataFolder, default_folder

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.evidence.registry import Outcome
    from crashworthy.jobs.runner import JobRunner, JobStatus
    from crashworthy.store.backup import BackupReport, VerifyReport
    from crashworthy.store.engine import Store
    from crashworthy.upkeep.priors import Priors

__all__ = ["Desk"]


class Desk:
    """The data folder and the store, opened; closes them at the end."""

    def __init__(self, data: Path | None = None, store: str | None = None) -> None:
        """Open a fleet.

        Args:
            data: folder, made when absent; None means the platform's folder for application data.
            store: "postgresql://..." or None for SQLite in the folder.

        Raises:
            StoreError: the folder or the database cannot be used.
        """
        self.folder = DataFolder(data or default_folder())
        self._store_address: str | Path = store or self.folder.database
        self._store: Store | None = None
        self._runner: JobRunner | None = None
        self._evidence: str | None = None
        self._lock = threading.RLock()
        self.memo = Memo()

    def __enter__(self) -> Self:
        """Open for a ``with`` block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close at the end of it."""
        self.close()

    def close(self) -> None:
        """Stop the jobs and close the store."""
        if self._runner is not None:
            self._runner.close()
        if self._store is not None:
            self._store.close()

    @property
    def store(self) -> Store:
        """The store, opened at first use.

        Raises:
            StoreError: the database cannot be used.
        """
        with self._lock:
            if self._store is None:
                from crashworthy.store.engine import open_store

                self._store = open_store(self._store_address)
            return self._store

    @property
    def jobs(self) -> JobRunner:
        """The background, begun at first use."""
        with self._lock:
            if self._runner is None:
                from crashworthy.jobs.runner import JobRunner

                self._runner = JobRunner()
            return self._runner

    def job(self, job: str) -> JobStatus:
        """What a job is doing.

        Raises:
            NotFoundError: no such job.
        """
        return self.jobs.status(job)

    def cancel(self, job: str) -> JobStatus:
        """Ask a job to stop.

        Raises:
            NotFoundError: no such job.
        """
        return self.jobs.cancel(job)

    def priors(self) -> Priors:
        """The beliefs upkeep starts from: the packaged ones, with those in DATA/priors.toml in their place.

        Raises:
            CrashworthyError: the file has a problem.
        """
        from crashworthy.upkeep.priors import load_priors

        own = self.folder.root / "priors.toml"
        return load_priors(own if own.is_file() else None)

    def backup(self, to: Path) -> BackupReport:
        """Write a verified copy of the store to a new file.

        Raises:
            StoreError: it cannot be written.
        """
        return self.store.backup(to)

    def verify(self, against: Path | None = None) -> VerifyReport:
        """Read everything in the store, compare each event with its digest and its device's chain.

        Args:
            against: an older backup, whose events must all still be here.

        Raises:
            StoreError: the backup cannot be opened.
        """
        return self.store.verify(against)

    def evidence_job(self) -> JobStatus | None:
        """The latest run of the outside checks, or None when there was none since the start."""
        return None if self._evidence is None else self.jobs.status(self._evidence)

    def start_evidence(self, room: str | None = None) -> JobStatus:
        """Run every outside check in the background; the job's result is a tuple of outcomes.

        Raises:
            ValueError: no such room.
        """
        from crashworthy.evidence.registry import all_checks, run_check
        from crashworthy.jobs.runner import Cancelled, Reporter

        checks = all_checks(room)

        def work(report: Reporter) -> tuple[Outcome, ...]:
            outcomes = []
            for number, check in enumerate(checks):
                if report.cancelled():
                    raise Cancelled
                report.progress(number, len(checks), check.title)
                outcomes.append(run_check(check))
            report.progress(len(checks), len(checks))
            return tuple(outcomes)

        status = self.jobs.start(f"{len(checks)} outside checks", work)
        self._evidence = status.id
        return status
