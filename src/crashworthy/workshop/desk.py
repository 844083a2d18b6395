"""What every bench of the workshop stands on: the data folder, the store, the jobs, the priors."""

from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING, Self

from crashworthy.jobs.memo import Memo
from crashworthy.store.folder import DataFolder, default_folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from crashworthy.evidence.registry import Outcome
    from crashworthy.jobs.durable import DurableReporter, DurableRunner, Work
    from crashworthy.jobs.runner import JobStatus
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
        self.address = store
        self._store_address: str | Path = store or self.folder.database
        self._store: Store | None = None
        self._runner: DurableRunner | None = None
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
    def jobs(self) -> DurableRunner:
        """The background; it works once a job is started here, or ``jobs.begin()`` is called."""
        with self._lock:
            if self._runner is None:
                from crashworthy.jobs.durable import DurableRunner
                from crashworthy.store.jobs import JobBook, owner_name

                self._runner = DurableRunner(JobBook(self.store), self._kinds(), owner_name())
            return self._runner

    def _kinds(self) -> dict[str, Callable[..., Work]]:
        """What can be done in the background: makes the work of each kind from plain parameters."""
        return {"evidence": self._evidence_work}

    def resume(self) -> None:
        """Take up what an earlier run of the program, or another worker, left unfinished."""
        self.jobs.begin()

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

    def restore(self, source: Path) -> VerifyReport:
        """Fill this empty fleet's store from a backup, after verifying the backup.

        Raises:
            StoreError: the backup does not verify, or the store is not empty.
        """
        from crashworthy.store.backup import restore

        return restore(self.store, source)

    def verify(self, against: Path | None = None) -> VerifyReport:
        """Read everything in the store, compare each event with its digest and its device's chain.

        Args:
            against: an older backup, whose events must all still be here.

        Raises:
            StoreError: the backup cannot be opened.
        """
        return self.store.verify(against)

    def evidence_job(self) -> JobStatus | None:
        """The latest run of the outside checks, or None when there was none."""
        from crashworthy.store.jobs import JobBook

        newest = next(iter(JobBook(self.store).of_kind("evidence")), None)
        return None if newest is None else self.jobs.status(newest.id)

    def evidence_outcomes(self) -> tuple[Outcome, ...] | None:
        """What the latest run of the outside checks found, once it is done; None before."""
        from crashworthy.evidence.registry import Outcome, all_checks
        from crashworthy.store.jobs import JobBook

        newest = next(iter(JobBook(self.store).of_kind("evidence")), None)
        if newest is None or newest.state != "done":
            return None
        checks = {check.id: check for check in all_checks()}
        return tuple(
            Outcome(checks[key], *values) for key, *values in json.loads(newest.kept) if key in checks
        )

    def start_evidence(self, room: str | None = None) -> JobStatus:
        """Run every outside check in the background; the job's result is a tuple of outcomes.

        Raises:
            ValueError: no such room.
        """
        from crashworthy.evidence.registry import all_checks

        return self.jobs.start("evidence", f"{len(all_checks(room))} outside checks", {"room": room})

    def _evidence_work(self, room: str | None) -> Work:
        def work(report: DurableReporter) -> tuple[Outcome, ...]:
            from crashworthy.evidence.registry import all_checks, run_check
            from crashworthy.jobs.runner import Cancelled

            checks, outcomes = all_checks(room), []
            for number, check in enumerate(checks):
                if report.cancelled():
                    raise Cancelled
                report.progress(number, len(checks), check.title)
                outcomes.append(run_check(check))
            report.progress(len(checks), len(checks))
            rows = [(o.check.id, o.expected, o.got, o.error, o.passed, o.problem) for o in outcomes]
            report.keep(json.dumps(rows))
            return tuple(outcomes)

        return work
