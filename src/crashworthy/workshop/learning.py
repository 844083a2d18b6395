"""What the journal teaches the crash test: strengths, the mix of crashes, damage added up."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, TypeVar

from crashworthy.workshop.crashes import FIRST_LOOK, CrashBench
from crashworthy.workshop.journal import JournalBench

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.scenario import Scenario
    from crashworthy.strength.correction import Corrections
    from crashworthy.upkeep.crash_loads import CrashLoads
    from crashworthy.upkeep.history import CrashRow
    from crashworthy.upkeep.learned import Learned
    from crashworthy.upkeep.mine import Mine
    from crashworthy.upkeep.strengths import Curve, Shift
    from crashworthy.workshop.crashes import Campaign

    T = TypeVar("T")

__all__ = ["MINE", "STRENGTHS", "LearnBench"]

MINE: Final = "mine"
"""Scenario and strengths that follow the journal."""

STRENGTHS: Final = (MINE, "tabled")
"""How strengths may be chosen; the first is taken unless another is asked for."""


class LearnBench(CrashBench, JournalBench):
    """Predictions corrected by facts. Nothing is stored: it follows from campaign and journal each time."""

    def reference_campaign(self, slug: str) -> Campaign | None:
        """The newest campaign of this very build whose scenario was not fitted to the journal.

        Facts are held against it: a mix fitted to the journal would count them twice.
        """
        from crashworthy.upkeep.mix import JOURNAL

        for campaign in self.campaigns(slug):
            if not campaign.stale and campaign.scenario.get("name") != JOURNAL:
                return campaign
        return None

    def severity_edges(self, slug: str, scenario: Scenario) -> tuple[float, float] | None:
        """Under a mix fitted to the journal, the edges of the campaign that it was fitted against."""
        from crashworthy.upkeep.mix import JOURNAL

        known = self.reference_campaign(slug) if scenario.name == JOURNAL else None
        if known is None:
            return None
        low, high = known.summary["severity_edges"]
        return float(low), float(high)

    def believed_batch(self, campaign: Campaign) -> CrashBatch:
        """With the strengths that the journal taught."""
        from crashworthy.strength.correction import corrected_capacities

        batch = self.kept_batch(campaign)
        corrections = {} if campaign.stale else self.corrections(campaign.slug)
        return replace(batch, capacities=corrected_capacities(self.quad(campaign.slug), corrections))

    def _campaign_loads(self, slug: str, known: Campaign, corrections: Corrections | None) -> CrashLoads:
        from crashworthy.impact.limbs import limb_parts
        from crashworthy.quantities import G_N
        from crashworthy.strength.correction import corrected_capacities
        from crashworthy.upkeep.crash_loads import CrashLoads, pairs

        quad = self.quad(slug)
        edges = known.summary["severity_edges"]
        return CrashLoads(
            names=tuple(p.name for p in quad.parts),
            labels=tuple(p.label for p in quad.parts),
            arm_parts=tuple(a.part for a in quad.arms),
            capacities=corrected_capacities(quad, corrections),
            arrays=self.even_arrays(known.key),
            obstacles=pairs(known.scenario["obstacles"]),
            edges=(edges[0] * G_N, edges[1] * G_N),
            limb_parts=limb_parts(quad),
        )

    def crash_loads(self, slug: str, strengths: str = MINE) -> CrashLoads | None:
        """Loads of the newest crash test of this very build, or None when there is none.

        Args:
            slug: of the quad.
            strengths: one of ``STRENGTHS``.

        Raises:
            NotFoundError: no quad has that slug, or no such choice of strengths.
            SheetError: its sheet has a problem.
        """
        self.quad(slug)
        known = self.latest_campaign(slug)
        if known is None or known.stale:
            return None
        return self._campaign_loads(slug, known, self.corrections(slug, strengths))

    def stamp(self) -> object:
        """Changes whenever the journal, a build, a campaign or a prior does."""
        from crashworthy.store.connect import reading
        from crashworthy.store.results import newest_campaign

        builds = self.folder.stamp_of_all()  # as they lie on the disk, edited by hand too
        with reading(self.store.engine, self.store.address) as connection:
            newest = newest_campaign(connection)
        return (self.store.last_seq(), builds, newest, hash(repr(self.priors())))

    def _once(self, name: str, slug: str, make: Callable[[], T]) -> T:
        """What ``make`` gives, kept until the journal, a build or a campaign changes."""
        return self.memo.get((name, slug), self.stamp(), make)

    def learning_crashes(self, slug: str) -> tuple[CrashRow, ...]:
        """The crashes of this very build: those since the last change of its sheet."""
        history = self.history(slug)
        since = history.builds[-1].occurred if history.builds else None
        return tuple(c for c in history.crashes if since is None or c.occurred >= since)

    def _curves(self, slug: str) -> Mapping[str, Curve]:
        from crashworthy.errors import CrashworthyError
        from crashworthy.impact.scenario_file import from_plain
        from crashworthy.upkeep.alike import Matcher
        from crashworthy.upkeep.strengths import curves

        try:
            quad, known = self.quad(slug), self.reference_campaign(slug)
        except CrashworthyError:
            return {}  # a sheet that cannot be read teaches nothing; the fleet page says why
        crashes = self.learning_crashes(slug)
        if known is None or not crashes:
            return {}
        loads = self._campaign_loads(slug, known, None)
        matcher = Matcher(loads, from_plain(known.scenario))
        kinds = [p.kind for p in quad.parts]
        return curves(loads, kinds, crashes, matcher, self.priors().breakage.hazard_floor)

    def curves(self, slug: str) -> Mapping[str, Curve]:
        """What one quad's own crashes say of each kind's strength; empty without campaign or crash."""
        return self._once("curves", slug, lambda: self._curves(slug))

    def shifts(self, slug: str, *, own: bool = True) -> Mapping[str, Shift]:
        """What is believed of each kind's strength on a quad, informed by the rest of the fleet.

        Args:
            slug: of the quad.
            own: with its own crashes; without, what the others alone say.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.strength.capacity import capacities
        from crashworthy.upkeep.strengths import pooled_shift, spreads

        quad = self.quad(slug)
        mine = self.curves(slug) if own else {}
        others = [self.curves(other) for other in self.names() if other != slug]
        found = {}
        for kind, spread in spreads(capacities(quad), [p.kind for p in quad.parts]).items():
            theirs = [c[kind] for c in others if kind in c]
            if kind in mine or theirs:
                found[kind] = pooled_shift(kind, spread, mine.get(kind), theirs)
        return found

    def corrections(self, slug: str, strengths: str = MINE, *, own: bool = True) -> Corrections:
        """Factors on the tabled strengths of a quad, by kind.

        Args:
            slug: of the quad.
            strengths: one of ``STRENGTHS``; "tabled" gives none.
            own: with its own crashes; without, what the others alone say.

        Raises:
            NotFoundError: no quad has that slug, or no such choice of strengths.
            SheetError: its sheet has a problem.
        """
        from crashworthy.errors import NotFoundError, Problem

        if strengths not in STRENGTHS:
            raise NotFoundError(
                Problem(f"there are no strengths {strengths!r}", f"use {' or '.join(STRENGTHS)}")
            )
        if strengths != MINE:
            return {}
        shifts = self.shifts(slug, own=own)
        mine = self.curves(slug) if own else {}
        others = [self.curves(other) for other in self.names() if other != slug]
        count = {
            kind: (mine[kind].crashes if kind in mine else 0)
            + sum(c[kind].crashes for c in others if kind in c)
            for kind in shifts
        }
        return {kind: shift.correction(count[kind]) for kind, shift in shifts.items()}

    def hazards(self, slug: str) -> Mapping[str, Sequence[float]]:
        """Simulated break hazards, with the strengths that the other quads' crashes taught.

        This quad's own crashes are left to its break rates (theta), so that none is counted twice.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        tabled = super().hazards(slug)
        corrections = self.corrections(slug, own=False)
        known = self.latest_campaign(slug)
        if not corrections or known is None:
            return tabled
        hazards: dict[str, list[float]] = self._summary(known, corrections, "hazards")["hazards"]
        return hazards

    def hazards_words(self, slug: str) -> str:
        """What the break chances of kits and break rates rest on, in one sentence.

        Raises:
            NotFoundError: no quad has that slug.
        """
        names = self.names()
        told = [
            (names[s], max(c.crashes for c in self.curves(s).values()))
            for s in names
            if s != slug and self.curves(s)
        ]
        who = (
            ""
            if not told
            else "; their strengths as " + " and ".join(f"{n} crashes of {name}" for name, n in told) + " say"
        )
        own = len(self.history(slug).crashes)
        then = f"{own} crashes of its own then correct" if own else "its own crashes, none yet, will correct"
        return f"Break chances are simulated{who}; {then} them item by item."

    def _summary(self, campaign: Campaign, corrections: Corrections, name: str) -> dict[str, Any]:
        from crashworthy.strength.correction import corrected_capacities

        def make() -> dict[str, Any]:
            modes = corrected_capacities(self.quad(campaign.slug), corrections)
            batch = replace(self.kept_batch(campaign), capacities=modes)
            edges = campaign.summary["severity_edges"]
            return batch.summarise((edges[0], edges[1])).to_json()

        return self._once(f"{name} {campaign.key}", campaign.slug, make)

    def learned(self, slug: str) -> Learned:
        """Tabled strengths against what the crashes say, kind by kind.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.upkeep.learned import learned

        quad, known = self.quad(slug), self.reference_campaign(slug)
        loads = None if known is None else self._campaign_loads(slug, known, None)
        others = {self.names()[s]: self.curves(s) for s in self.names() if s != slug}
        return learned(
            quad, loads, self.curves(slug), others, self.shifts(slug), self.shifts(slug, own=False)
        )

    def mine(self, slug: str) -> Mine:
        """The scenario that follows the journal: what is hit, and how fast.

        When this very build has no crash test, one of the everyday mix is run and kept first.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.impact.scenario_file import from_plain
        from crashworthy.upkeep.mine import fitted_scenario

        self.quad(slug)
        known = self.reference_campaign(slug) or self.crash_test(slug, FIRST_LOOK, seed=1)

        def make() -> Mine:
            arrays = self.even_arrays(known.key)
            return fitted_scenario(self.history(slug), from_plain(known.scenario), arrays)

        return self._once("mine", slug, make)

    def scenario_named(self, slug: str, name: str) -> Scenario:
        """A scenario by name: "mine", or a file.

        Raises:
            NotFoundError, SheetError: as ``mine``.
            ScenarioError: the file cannot be used.
        """
        from crashworthy.impact.scenario import Scenario

        return self.mine(slug).scenario if name == MINE else Scenario.load(name)

    def corrected_summary(
        self,
        campaign: Campaign,
        strengths: str = MINE,
        *,
        wait: bool = True,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> dict[str, Any]:
        """The answers of a kept campaign with the strengths that are believed now.

        Nothing is crashed again but the crashes with fracture, when arms or props are believed stronger or
        weaker than they were run; ``fracture["strengths"]`` says at which they are. A campaign of a build
        that has changed since, or strengths of which nothing was learned, give the summary as it was kept.

        Args:
            campaign: of a quad of the fleet.
            strengths: one of ``STRENGTHS``.
            wait: run the crashes with fracture that are not kept; without, what was kept with the campaign
                is shown until somebody has run them.
            progress: called with (done, total) of the crashes with fracture.
            cancelled: asked before each of their results is taken.

        Raises:
            NotFoundError: no such choice of strengths.
            CampaignCancelled: ``cancelled`` said so.
        """
        corrections = {} if campaign.stale else self.corrections(campaign.slug, strengths)
        head: dict[str, Any] = {
            "strengths": MINE if corrections else "tabled",
            "hazards_tabled": campaign.summary["hazards"],
            "assumed": self.assumed(campaign),
        }
        known = campaign.summary.get("fracture")
        fracture = None if not known else {**known, "strengths": "tabled"}
        if not corrections:
            return campaign.summary | head | {"fracture": fracture}
        if fracture:
            run = self._fracture if wait else self._kept_fracture
            fracture = run(campaign, corrections, progress, cancelled) or fracture
        # What was watched does not depend on strengths.
        watched = ("watched", "drawn", "asked", "until", "until_words")
        kept = {name: campaign.summary[name] for name in watched if name in campaign.summary}
        return self._summary(campaign, corrections, "summary") | kept | head | {"fracture": fracture}

    def _fracture(
        self,
        campaign: Campaign,
        corrections: Corrections,
        progress: Callable[[int, int], None] | None,
        cancelled: Callable[[], bool] | None,
    ) -> dict[str, Any] | None:
        """With fracture at these strengths; None where crashes cannot be run just now."""
        from crashworthy.errors import CrashworthyError
        from crashworthy.impact.campaign import CampaignCancelled
        from crashworthy.workshop.fractures import fracture_at

        def make() -> dict[str, Any]:
            return fracture_at(self, campaign, corrections, progress, cancelled) | {"strengths": MINE}

        try:
            # Whoever only reads must not wait for whoever runs them.
            reads = getattr(self._only, "kept", False)
            return self._once(f"fracture {campaign.key}{' kept' if reads else ''}", campaign.slug, make)
        except CampaignCancelled:
            raise
        except CrashworthyError:  # such as a cluster that cannot be reached: what was kept is shown as such
            return None

    def _kept_fracture(
        self,
        campaign: Campaign,
        corrections: Corrections,
        progress: Callable[[int, int], None] | None,
        cancelled: Callable[[], bool] | None,
    ) -> dict[str, Any] | None:
        """The same from crashes that are kept; None where one would have to be run."""
        self._only.kept = True
        try:
            return self._fracture(campaign, corrections, progress, cancelled)
        except LookupError:
            return None
        finally:
            self._only.kept = False
