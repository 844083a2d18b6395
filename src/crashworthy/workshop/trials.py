"""Changes tried out: a build before and after, and a printed part put back into its build and crashed."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from crashworthy.workshop.before_after import Minutes, PrintedTrial, Trial
from crashworthy.workshop.placement import PlacementBench

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from crashworthy.build.quad import Quad
    from crashworthy.build.sheet import Sheet
    from crashworthy.jobs.durable import Work
    from crashworthy.jobs.runner import JobStatus

__all__ = ["TrialBench"]


class TrialBench(PlacementBench):
    """Changes tried out."""

    def trial(
        self,
        a: str,
        b: str,
        n: int = 0,
        seed: int = 1,
        *,
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> Trial:
        """Hold two builds against each other; each a sheet file or a quad of the fleet.

        Args:
            a: before.
            b: after.
            n: crashes of each, 64 or more; 0 for geometry alone.
            seed: of the crashes.
            workers: threads; one for each core by default.
            progress: called with (done, total).
            cancelled: asked before each result is taken.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: a sheet has a problem.
            ScenarioError: a number is out of range.
            CampaignCancelled: ``cancelled`` said so.
        """
        one, two = self.find(a), self.find(b)

        def make() -> Trial:
            return self._trial(
                one, two, self._drawings_of(a), n, seed,
                workers=workers, progress=progress, cancelled=cancelled,
            )  # fmt: skip

        key = ("trial", one.digest, two.digest, hash(repr(self.priors())))
        return make() if n else self.memo.get(key, None, make)

    def move_trial(
        self,
        quad: str,
        key: str,
        n: int = 0,
        seed: int = 1,
        *,
        towards: str = "even",
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> Trial:
        """Hold a build against itself with one of the advised moves made; arguments as for ``trial``.

        Raises:
            NotFoundError: no such quad, or no such move of it.
            SheetError: the sheet has a problem.
            ScenarioError: a number is out of range.
        """
        from crashworthy.build.assemble import assemble
        from crashworthy.placement.moves import apply_move

        found, move = self.find(quad), self.move_of(quad, key, towards=towards)
        folder = self._drawings_of(quad)
        changed = apply_move(found.sheet, move)
        changed = changed.model_copy(update={"name": f"{found.name[:40]} moved"})
        return self._trial(
            found,
            assemble(changed, folder),
            folder,
            n,
            seed,
            parts=(move.part,),
            workers=workers,
            progress=progress,
        )

    def _trial(
        self,
        one: Quad,
        two: Quad,
        folder: Path,
        n: int,
        seed: int,
        *,
        parts: tuple[str, ...] = (),
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> Trial:
        from crashworthy.placement.look import lines, look

        rows = lines(look(one), look(two), parts)
        if n == 0:
            return Trial(one.name, two.name, rows, None, None)
        from crashworthy.impact.compare import compare

        found = compare(
            one, two, n, seed, map_chunks=self.runner(workers), progress=progress, cancelled=cancelled
        )
        minutes = self._minutes(one.sheet, two.sheet, folder, n, seed, workers)
        return Trial(one.name, two.name, rows, found, minutes)

    def _minutes(
        self, before: Sheet, after: Sheet, folder: Path, n: int, seed: int, workers: int | None
    ) -> Minutes | None:
        """Bench minutes from the crashes that were just run and kept."""
        from crashworthy.upkeep.edits import own_change
        from crashworthy.upkeep.improve import improve

        ranking = improve(
            before,
            folder,
            n,
            seed,
            own=(own_change("after", after),),
            changes=(),
            priors=self.priors(),
            sensitivity=False,
            map_chunks=self.runner(workers),
        )
        if not ranking.rows:
            return Minutes(ranking.minutes, 0.0, 0.0, 0.0) if ranking.left_out else None
        row = ranking.rows[0]
        return Minutes(ranking.minutes, row.minutes, row.low, row.high)

    def printed_trial(
        self,
        quad: str,
        kind: str,
        n: int,
        seed: int = 1,
        *,
        name: str | None = None,
        recess: float | None = None,
        tilt: float | None = None,
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> PrintedTrial:
        """Put a printed part into its build and crash both with the same crashes.

        Args:
            quad: a sheet file or a quad of the fleet.
            kind: one of ``placement.printed.KINDS``.
            n: crashes of each, 16 or more.
            seed: of the crashes.
            name: antenna or lead it is for.
            recess: mm, of a camera cradle.
            tilt: deg, of a camera cradle.
            workers: threads; one for each core by default.
            progress: called with (done, total).
            cancelled: asked before each result is taken.

        Raises:
            NotFoundError: no such quad or kind.
            SheetError: the part cannot be printed; the reason.
            ScenarioError: a number is out of range.
            CampaignCancelled: ``cancelled`` said so.
        """
        from crashworthy.impact.compare import compare
        from crashworthy.placement.printed import with_printed

        found = self.find(quad)
        part = self.printed(quad, kind, name=name, recess=recess, tilt=tilt)
        both = compare(
            found,
            with_printed(found, part),
            n,
            seed,
            map_chunks=self.runner(workers),
            progress=progress,
            cancelled=cancelled,
        )
        return PrintedTrial(part, both)

    def start_trial(self, a: str, b: str, n: int, seed: int) -> JobStatus:
        """``trial`` in the background; the job's result is the ``Trial``.

        Raises:
            NotFoundError: no quad has one of the slugs.
        """
        self.quad(a), self.quad(b)  # a refusal is told at once
        title = f"{self.names()[a]} before and after, {n} crashes each"
        return self.jobs.start("trial", title, {"a": a, "b": b, "n": n, "seed": seed})

    def _kinds(self) -> dict[str, Callable[..., Work]]:
        return {**super()._kinds(), "trial": self._trial_work, "printed": self._printed_work}

    def _trial_work(self, a: str, b: str, n: int, seed: int) -> Work:
        run = partial(self.trial, a, b, n, seed)
        return self._kept_work(
            run, "crashing both", self._trials, lambda: (self.quad(a).digest, self.quad(b).digest)
        )

    def latest_trial(self, a: str, b: str) -> Trial | None:
        """The newest trial of these very builds, or None."""
        key = (self.quad(a).digest, self.quad(b).digest)
        if key not in self._trials():
            self._recall("trial", a=a, b=b)
        with self._lock:
            found: Trial | None = self._trials().get(key)
        return found

    def start_printed_trial(self, slug: str, kind: str, n: int, seed: int) -> JobStatus:
        """``printed_trial`` in the background; the job's result is the ``PrintedTrial``.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: the part cannot be printed; the reason.
        """
        self.printed(slug, kind)  # a refusal is told at once
        title = f"{kind} in {self.names()[slug]}, {n} crashes each"
        return self.jobs.start("printed", title, {"slug": slug, "kind": kind, "n": n, "seed": seed})

    def _printed_work(self, slug: str, kind: str, n: int, seed: int) -> Work:
        run = partial(self.printed_trial, slug, kind, n, seed)
        return self._kept_work(run, "crashing both", self._trials, lambda: (self.quad(slug).digest, kind))

    def printed_trials(self, slug: str) -> dict[str, PrintedTrial]:
        """The newest trial of each printed part of this very build."""
        digest = self.quad(slug).digest
        if all(d != digest for d, _ in self._trials()):
            self._recall("printed", slug=slug)
        with self._lock:
            return {
                k: v for (d, k), v in self._trials().items() if d == digest and isinstance(v, PrintedTrial)
            }

    def _trials(self) -> dict[tuple[str, str], Any]:
        kept: dict[tuple[str, str], Any] = self.__dict__.setdefault("_kept_trials", {})
        return kept
