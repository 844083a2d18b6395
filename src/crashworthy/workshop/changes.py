"""What to change: two builds compared, single changes ranked, and a change tried on a copy of the sheet."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from crashworthy.errors import NotFoundError, Problem
from crashworthy.workshop.learning import MINE, LearnBench

if TYPE_CHECKING:
    from collections.abc import Callable

    from crashworthy.impact.differences import Comparison
    from crashworthy.impact.scenario import Scenario
    from crashworthy.jobs.durable import Work
    from crashworthy.jobs.runner import JobStatus
    from crashworthy.strength.correction import Corrections
    from crashworthy.upkeep.edits import Change
    from crashworthy.upkeep.joined import Lived
    from crashworthy.upkeep.ranking import Ranking

__all__ = ["ChangeBench"]


class ChangeBench(LearnBench):
    """Comparisons and rankings; their crashes are kept like those of campaigns."""

    def compare_quads(
        self,
        a: str,
        b: str,
        n: int,
        seed: int,
        scenario: Scenario | None = None,
        *,
        width: float | None = None,
        strengths: str = MINE,
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> Comparison:
        """Crash two builds with the same crashes; each a sheet file or a quad of the fleet.

        ``strengths`` is one of ``learning.STRENGTHS``: what the journal of ``a``, or else of ``b``, taught is
        taken for both.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: a sheet has a problem.
            ScenarioError: a number is out of range.
            CampaignCancelled: ``cancelled`` said so.
        """
        from dataclasses import replace

        from crashworthy.impact.compare import compare

        corrections, words = self._believed(a if a in self.names() else b, strengths)
        found = compare(
            self.find(a),
            self.find(b),
            n,
            seed,
            scenario,
            width=width,
            strengths=corrections,
            map_chunks=self.runner(workers),
            progress=progress,
            cancelled=cancelled,
        )
        return replace(found, strengths=words)

    def _believed(self, quad: str, strengths: str) -> tuple[Corrections, str]:
        """Corrections of a quad, and in words whose strengths they are; none for a sheet file."""
        if quad not in self.names():
            return {}, "strengths: as tabled"
        corrections = self.corrections(quad, strengths)
        return corrections, self.learned(quad).head if corrections else "strengths: as tabled"

    def improvements(
        self,
        quad: str,
        n: int,
        seed: int,
        scenario: Scenario | None = None,
        *,
        top: int = 10,
        by: str = "minutes",
        own: str | None = None,
        strengths: str = MINE,
        sensitivity: bool = True,
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> Ranking:
        """Rank single changes of a build, a sheet file or a quad of the fleet.

        Args:
            quad: the build.
            n: crashes of each change that stays in the race.
            seed: of the crashes.
            scenario: what is hit; the everyday mix by default.
            top: how many to rank with full care.
            by: what to rank by, one of ``ranking.BY``.
            own: a second sheet or quad, ranked beside the single changes.
            strengths: one of ``learning.STRENGTHS``.
            sensitivity: move the uncertain parameters too.
            workers: threads; one for each core by default.
            progress: called with (done, total).
            cancelled: asked before each result is taken.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: a sheet has a problem.
            ScenarioError: a number is out of range.
            CampaignCancelled: ``cancelled`` said so.
        """
        from dataclasses import replace

        from crashworthy.upkeep.edits import own_change
        from crashworthy.upkeep.improve import improve

        corrections, words = self._believed(quad, strengths)
        base = self.find(quad)
        mine = () if own is None else (own_change(f"{self.find(own).name} as a whole", self.find(own).sheet),)
        found = improve(
            base.sheet,
            self._drawings_of(quad),
            n,
            seed,
            top=top,
            by=by,
            own=mine,
            scenario=scenario,
            priors=self.priors(),
            strengths=corrections,
            lived=self.lived(quad) if quad in self.names() else None,
            sensitivity=sensitivity,
            map_chunks=self.runner(workers),
            progress=progress,
            cancelled=cancelled,
        )
        return replace(found, strengths=words)

    def lived(self, slug: str) -> Lived:
        """What the journal says of a quad: crashes a pack, how hard, and what breaks, as posteriors.

        Break rates need a crash test of the quad; without one they are what is assumed beforehand.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.upkeep.breakage import break_rates
        from crashworthy.upkeep.joined import lived_of
        from crashworthy.upkeep.spares import spare_items

        spares, history, priors = spare_items(self.quad(slug).parts), self.history(slug), self.priors()
        known = self.reference_campaign(slug) or self.latest_campaign(slug)
        items = {s.item: s.parts for s in spares}
        rates = () if known is None else break_rates(history, known.summary["hazards"], priors, items)
        return lived_of(history, rates, {s.item: s.kind for s in spares}, priors)

    def _drawings_of(self, quad: str) -> Path:
        return Path(quad).parent if quad.endswith(".toml") else self.folder.root / "sheets"

    def start_improvements(
        self, slug: str, n: int, seed: int, by: str = "minutes", *, sensitivity: bool = True
    ) -> JobStatus:
        """Rank changes of a quad in the background; the job's result is the ``Ranking``.

        Raises:
            NotFoundError: no quad has that slug.
        """
        params = {"slug": slug, "n": n, "seed": seed, "by": by, "sensitivity": sensitivity}
        return self.jobs.start("improve", f"Changes of {self.quad(slug).name}, {n} crashes each", params)

    def _kinds(self) -> dict[str, Callable[..., Work]]:
        return {**super()._kinds(), "improve": self._improve_work, "compare": self._compare_work}

    def _improve_work(self, slug: str, n: int, seed: int, by: str, sensitivity: bool) -> Work:
        run = partial(self.improvements, slug, n, seed, by=by, sensitivity=sensitivity)
        return self._kept_work(run, "building and crashing every change", self._rankings, lambda: slug)

    def latest_ranking(self, slug: str) -> Ranking | None:
        """The newest ranking of this very build, or None."""
        if slug not in self._rankings():
            self._recall("improve", slug=slug)
        with self._lock:
            known = self._rankings().get(slug)
        return known if known is not None and known.digest == self.quad(slug).digest else None

    def _rankings(self) -> dict[str, Ranking]:
        kept: dict[str, Ranking] = self.__dict__.setdefault("_kept_rankings", {})
        return kept

    def start_comparison(self, slug: str, other: str, n: int, seed: int) -> JobStatus:
        """Crash a quad and another with the same crashes in the background; the result is the ``Comparison``.

        Raises:
            NotFoundError: no quad has one of the slugs.
        """
        title = f"{self.quad(slug).name} against {self.quad(other).name}, {n} crashes each"
        return self.jobs.start("compare", title, {"slug": slug, "other": other, "n": n, "seed": seed})

    def _compare_work(self, slug: str, other: str, n: int, seed: int) -> Work:
        run = partial(self.compare_quads, slug, other, n, seed)
        return self._kept_work(run, "crashing both", self._comparisons, lambda: slug)

    def latest_comparison(self, slug: str) -> Comparison | None:
        """The newest comparison of this very build with another, or None."""
        if slug not in self._comparisons():
            self._recall("compare", slug=slug)
        with self._lock:
            known = self._comparisons().get(slug)
        return known if known is not None and known.digest_a == self.quad(slug).digest else None

    def _comparisons(self) -> dict[str, Comparison]:
        kept: dict[str, Comparison] = self.__dict__.setdefault("_kept_comparisons", {})
        return kept

    def changes(self, slug: str) -> tuple[Change, ...]:
        """The single changes that suit a quad.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.upkeep.changes import candidates

        return candidates(self.quad(slug).sheet, self.priors())

    def change_of(self, slug: str, key: str) -> Change:
        """The change called ``key`` among those that suit a quad.

        Raises:
            NotFoundError: no such quad, or no such change of it.
        """
        for change in self.changes(slug):
            if change.key == key:
                return change
        raise NotFoundError(Problem(f"{slug} has no change {key!r}", "see its list of changes"))

    def try_on_a_copy(self, slug: str, key: str) -> str:
        """Take a copy of a quad with one change into the fleet; returns the copy's slug.

        Raises:
            NotFoundError: no such quad or change.
            SheetError: the sheet's rules refuse the result.
        """
        from crashworthy.build.sheet import slug_of
        from crashworthy.build.writing import to_toml

        changed = self.change_of(slug, key).apply(self.quad(slug).sheet)
        names = set(self.names()) | set(self.folder.slugs())
        stem = changed.name[:50].rstrip()
        name = next(n for n in (f"{stem} {i}" for i in range(2, 1000)) if slug_of(n) not in names)
        return self.add_quad(to_toml(changed.model_copy(update={"name": name, "weighed": None})))
