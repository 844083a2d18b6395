"""Flight logs: keep what was dropped, say what it tells and what it cannot."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from crashworthy.errors import CrashworthyError, LogError, NotFoundError, Problem
from crashworthy.workshop.listening import ListenBench

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    from crashworthy.build.quad import Quad
    from crashworthy.vibration.answers import LogReport
    from crashworthy.vibration.features import Features
    from crashworthy.vibration.readers.guess import GuessTable

__all__ = ["FlightBench", "KeptLog"]


@dataclass(frozen=True, slots=True)
class KeptLog:
    """A flight log that was kept, and what it said.

    Attributes:
        key: to ask for it again.
        slug: quad that flew it.
        file: as it was called.
        sha256: of the file's content, hex; with "#2" for the second flight in it, and so on.
        report: ``LogReport.to_json()``, with ``columns`` when a person named them.
        created: when it was analysed, UTC.
    """

    key: str
    slug: str
    file: str
    sha256: str
    report: dict[str, Any]
    created: datetime


class FlightBench(ListenBench):
    """Flight logs of the fleet."""

    def analyse_log(
        self,
        path: Path,
        quad: Quad | None = None,
        columns: Mapping[str, Any] | None = None,
        *,
        flight: int | None = None,
        baselines: Sequence[Features] = (),
        progress: Callable[[float, str], None] | None = None,
    ) -> LogReport:
        """Read a log and ask it everything it can answer; nothing is kept.

        Args:
            path: the file.
            quad: the build that flew it; without one, what needs a build is not told.
            columns: what the columns mean, when the guess is to be overruled ({"axes":, "columns": {...}}).
            flight: which flight of the file, from 1; the longest when None.
            baselines: features of the quad's own earlier flights (``own_flights``), for the verdict.
            progress: called with the share done and what is being done.

        Raises:
            LogError: the file cannot be read as a flight log.
        """
        from crashworthy.vibration.readers.mapping import Mapping as Columns
        from crashworthy.vibration.readers.registry import read_log
        from crashworthy.vibration.report import analyse

        mapping = Columns.from_dict(dict(columns), path.name) if columns else None
        return analyse(read_log(path, mapping, flight=flight), quad, baselines=baselines, progress=progress)

    def add_log(self, slug: str, name: str, stream: BinaryIO) -> KeptLog:
        """Keep a dropped log, analyse it with the quad's build and keep the report; of several the longest.

        Raises:
            NotFoundError: no quad has that slug.
            LogError: the file cannot be read as a flight log.
        """
        return max(self.add_flights(slug, name, stream), key=lambda log: log.report["duration_s"])

    def add_flights(self, slug: str, name: str, stream: BinaryIO) -> tuple[KeptLog, ...]:
        """Keep a dropped log and a report of each flight in it, in the order in which they stand in the file.

        A log that cannot be read stays in the data folder all the same.

        Raises:
            NotFoundError: no quad has that slug.
            LogError: the file cannot be read as a flight log.
        """
        quad = self.quad(slug)
        path, sha = self.folder.keep_log(name, stream)
        try:
            return self._analysed(quad, name, path, sha, None)
        except LogError as error:
            problems = [Problem(p.what, p.remedy, name, p.line, p.field) for p in error.problems]
            kept = Problem(f"the file is kept as {path.name}", "", str(self.folder.root / "logs"))
            raise LogError(*problems, kept) from None

    def read_again(self, slug: str, key: str, columns: Mapping[str, Any]) -> KeptLog:
        """Analyse a kept log again with the columns a person named; gives the flight that was asked for.

        Raises:
            NotFoundError: no such log.
            LogError: the columns cannot be used, or the file not be read with them.
        """
        log = self.log(slug, key)
        sha, _, number = log.sha256.partition("#")
        name = log.file.split(" (flight ")[0] if number or " (flight " in log.file else log.file
        found = self._analysed(self.quad(slug), name, self._raw(log), sha, columns)
        return next((k for k in found if k.key == key), found[0])

    def _analysed(
        self, quad: Quad, name: str, path: Path, sha: str, columns: Mapping[str, Any] | None
    ) -> tuple[KeptLog, ...]:
        from crashworthy.vibration.readers.mapping import Mapping as Columns
        from crashworthy.vibration.readers.registry import read_flights
        from crashworthy.vibration.report import analyse

        mapping = Columns.from_dict(dict(columns), path.name) if columns else None
        kept = []
        for log in read_flights(path, mapping):
            one = log.meta.flights == 1
            # The first flight of a file has the file's own digest, so that reading it again finds it.
            mark = sha if log.meta.flight == 1 else f"{sha}#{log.meta.flight}"
            # The same flight read before is no baseline for itself.
            own = self.own_flights(quad.slug, leave_out=mark)
            report = analyse(log, quad, baselines=own).to_json()
            if columns:
                report["columns"] = dict(columns)
            file = Path(name).name
            file = file if one else f"{file} (flight {log.meta.flight} of {log.meta.flights})"
            key = self.store.save_log(quad.slug, file=file, sha256=mark, report=report)
            kept.append(self.log(quad.slug, key))
        return tuple(kept)

    def logs(self, slug: str) -> tuple[KeptLog, ...]:
        """Every kept log of a quad, newest first.

        Raises:
            NotFoundError: no quad has that slug.
        """
        self.require(slug)
        return tuple(
            KeptLog(r.key, r.quad, r.file, r.sha256, r.report, r.created) for r in self.store.logs(slug)
        )

    def log(self, slug: str, key: str) -> KeptLog:
        """One kept log.

        Raises:
            NotFoundError: there is none of that key for that quad.
        """
        r = self.store.load_log(key)
        if r.quad != slug:
            raise NotFoundError(Problem("this quad has no such flight log", "see its list of flights"))
        return KeptLog(r.key, r.quad, r.file, r.sha256, r.report, r.created)

    def flights_beside(self, log: KeptLog) -> tuple[KeptLog, ...]:
        """Every kept flight of the same file, in its order; empty when the file holds one."""
        digest = log.sha256.partition("#")[0]
        same = [k for k in self.logs(log.slug) if k.sha256.partition("#")[0] == digest]
        if len(same) < 2:
            return ()
        return tuple(sorted(same, key=lambda k: int(k.sha256.partition("#")[2] or 1)))

    def log_columns(self, slug: str, key: str) -> GuessTable | None:
        """What the columns of a kept log are taken for; None when it has no columns to name.

        Raises:
            NotFoundError: no such log.
        """
        from crashworthy.vibration.readers.csv import guess

        log = self.log(slug, key)
        try:
            return guess(self._raw(log))
        except CrashworthyError:
            return None

    def _raw(self, log: KeptLog) -> Path:
        for path in (self.folder.root / "logs").glob(f"{log.sha256[:16]}-*"):
            return path
        raise NotFoundError(
            Problem(f"the file of {log.file} is not in the data folder any more", "drop the log again")
        )
