"""Seeing a crash test: worst crashes, replays, strike maps, and sheets of paper to share or to take along."""

from __future__ import annotations

import json
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from crashworthy.workshop.lives import LifeBench

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.impact.hardest import WorstCrash
    from crashworthy.impact.replays import Replay
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.strikes import StrikeMap
    from crashworthy.upkeep.due import Due

__all__ = ["ShowBench", "crash_report"]

LOOKED_AT: Final = 600
"""Crashes that a strike map looks at."""

TRIED: Final = 100
"""Crashes for each setting of the assumptions that a report tries."""


def crash_report(
    quad: Quad,
    summary: Mapping[str, Any],
    strikes: StrikeMap | None,
    seed: int,
    scenario: Scenario | None = None,
    **more: Any,
) -> str:
    """The one-page report as HTML, with the assumptions tried at both ends of their ranges.

    Args:
        quad: the build.
        summary: ``CrashSummary.to_json()``.
        strikes: for the picture of the build.
        seed: of the crashes with which assumptions are tried.
        scenario: of the campaign.
        **more: handed on to ``pictures.report.crash_report``.
    """
    from crashworthy.impact.cases import Crasher, case_of
    from crashworthy.impact.sensitivity import tornado
    from crashworthy.pictures import report

    crasher = Crasher(seed, None)
    moved = tornado(case_of(quad, scenario), min(TRIED, int(summary["n"])), crasher=crasher)
    return report.crash_report(quad, summary, strikes, moved, **more)


class ShowBench(LifeBench):
    """What the newest campaign of a build shows."""

    def worst_crashes(self, slug: str, part: str = "", count: int = 12) -> tuple[WorstCrash, ...]:
        """The worst crashes of the newest campaign of this very build.

        Args:
            slug: of the quad.
            part: name of a part; "" ranks by damage, ``*boards`` by what the boards feel.
            count: how many.

        Raises:
            NotFoundError: no such quad, or this build has not been crashed yet.
            ScenarioError: no such part.
        """
        from crashworthy.impact.hardest import worst_crashes

        return worst_crashes(self.batch(slug), part, count)

    def replay(self, slug: str, crash: int, seed: int | None = None) -> Replay:
        """One crash again, from seed and number, under the scenario of the newest campaign of this build.

        Args:
            slug: of the quad.
            crash: its number; with another seed than the campaign's any number will do.
            seed: the campaign's by default.

        Raises:
            NotFoundError: no such quad, or this build has not been crashed yet.
            ScenarioError: no such crash.
        """
        from crashworthy.impact.replays import bring_back, replay, scenario_of

        batch = self.batch(slug)
        quad = self.quad(slug)
        if seed is not None and seed != batch.seed:
            return bring_back(quad, crash, seed, scenario_of(batch))
        return replay(quad, batch, crash)

    def strikes(self, slug: str) -> StrikeMap:
        """Which points of the skin the newest campaign of this build hits.

        Looked at once for each campaign, and kept beside the chunks of crashes.

        Raises:
            NotFoundError: no such quad, or this build has not been crashed yet.
        """
        from crashworthy.impact.strikes import StrikeMap, map_name, strike_map
        from crashworthy.store.chunks import ChunkStore

        batch = self.batch(slug)

        def make() -> StrikeMap:
            quad, kept = self.quad(slug), ChunkStore(self.folder.root / "chunks")
            name = map_name(quad, batch, LOOKED_AT)
            known = kept.read(name)
            if known is not None:
                with suppress(ValueError):  # damaged: it is counted again
                    return StrikeMap.from_arrays(batch, known)
            found = strike_map(quad, batch, LOOKED_AT)
            kept.write(name, found.to_arrays())
            return found

        return self.memo.get(("strikes", slug), batch.digest, make)

    def crash_report(self, slug: str) -> str:
        """The one-page report of the newest campaign of this build as self-contained HTML.

        Raises:
            NotFoundError: no such quad, or this build has not been crashed yet.
        """
        from crashworthy.impact.replays import scenario_of

        batch = self.batch(slug)
        summary = self.corrected_summary(self.campaign(batch.digest))
        card = next((c for c in self.fleet() if c.slug == slug), None)

        def make() -> str:
            return crash_report(
                self.quad(slug), summary, self.strikes(slug), batch.seed, scenario_of(batch),
                sheet=slug, invented=bool(card and card.invented),
            )  # fmt: skip

        told = hash(json.dumps(summary, sort_keys=True))
        return self.memo.get(("report", slug), (self.quad(slug).digest, batch.digest, told), make)

    def torque_sheet(self, sheet_or_slug: str, depths: Mapping[str, float] | None = None) -> str:
        """The torque card for paper as self-contained HTML.

        Raises:
            NotFoundError: neither such a file nor such a quad, or no such joint group.
            SheetError: the sheet has a problem.
        """
        from crashworthy.pictures import paper
        from crashworthy.quantities import DEG

        day = self.store.now() if sheet_or_slug in self.names() else None
        card = self.torque_card(sheet_or_slug, depths)
        return paper.sheet("torque.html", card=card, degree=DEG, day=day)

    def inspection_sheet(self, slug: str) -> str:
        """The sheet for a check at the bench, with boxes to fill in, as self-contained HTML.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.pictures import paper
        from crashworthy.quantities import DEG

        card = self.torque_card(slug)
        wear = [p for p in self.wear(slug).parts if p.verdict != "keep" or p.kind in ("arm", "motor")]
        return paper.sheet(
            "inspection.html",
            name=self.quad(slug).name,
            card=card,
            due={d.group: _due_words(d) for d in self.due(slug)},
            wear=wear,
            degree=DEG,
            now=self.store.now(),
        )


def _due_words(due: Due) -> str:
    if due.forced:
        return f"now: {due.forced}"
    if due.state in ("now", "due"):
        return "now"
    return f"in {due.whole_packs_left} packs"
