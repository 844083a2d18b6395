"""The bench: torque card, flight budget, lives of parts, what a crew knows together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.workshop.given import GivenBench
from crashworthy.workshop.learning import LearnBench

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from crashworthy.build.quad import Quad
    from crashworthy.strength.flight import Budget
    from crashworthy.strength.torque import TorqueCard
    from crashworthy.upkeep.accumulate import Accumulated
    from crashworthy.upkeep.breakage import BreakRate
    from crashworthy.upkeep.counts import QuadCounts
    from crashworthy.upkeep.crash_loads import Look, ScrewLook
    from crashworthy.upkeep.crew import CrewReport
    from crashworthy.upkeep.growth import Growth
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.lives import Lives
    from crashworthy.upkeep.retire import WearReport
    from crashworthy.upkeep.tougher import Tougher
    from crashworthy.upkeep.wear_priors import WearPriors

__all__ = ["LifeBench"]


class LifeBench(LearnBench, GivenBench):
    """What follows for the bench from build, crash tests and journal."""

    def torque_card(self, sheet_or_slug: str, depths: Mapping[str, float] | None = None) -> TorqueCard:
        """How tight each screw may be.

        Args:
            sheet_or_slug: a sheet file, or a quad of the fleet.
            depths: depth of thread by joint group, m, where it was measured.

        Raises:
            NotFoundError: neither such a file nor such a quad, or no such joint group.
            SheetError: the sheet has a problem.
        """
        from crashworthy.strength.torque import torque_card

        return torque_card(self.find(sheet_or_slug), depths)

    def slip_shares(
        self, slug: str, card: TorqueCard, severity: str = "", obstacle: str = ""
    ) -> dict[str, float]:
        """Share of crashes of the newest crash test of this very build in which each joint slips.

        Args:
            slug: of the quad.
            card: its torque card.
            severity: only scuffs, hits or slams; all when "".
            obstacle: only crashes into this one of the crash test; all when "".

        Returns:
            By joint group; empty when there is no such crash test.

        Raises:
            NotFoundError: the crash test has no such severity, obstacle or crash.
        """
        known = self.latest_campaign(slug) if slug in self.names() else None
        if known is None or known.stale:
            return {}
        from crashworthy.strength.slip import slip_shares

        quad: Quad = self.quad(slug)
        arrays = self.even_arrays(known.key)
        peak, shear = arrays["part_peak"], arrays.get("arm_shear")
        loads = self.crash_loads(slug) if severity or obstacle else None
        if loads is not None:
            such = loads.such(severity, obstacle)
            peak, shear = peak[:, such], None if shear is None else shear[..., such]
        return slip_shares(quad, card, peak, shear)

    def flight_budget(self, sheet_or_slug: str, **known: float | None) -> Budget:
        """Hover power, endurance and what each gram costs; ``known`` as ``strength.flight.flight_budget``.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            CrashworthyError: a number cannot be.
        """
        from crashworthy.strength.flight import flight_budget

        given = {name: value for name, value in known.items() if value is not None}
        return flight_budget(self.find(sheet_or_slug), **given)

    def tougher(self, new: str, old: str | None = None, since: datetime | None = None) -> tuple[Tougher, ...]:
        """Whether one quad breaks less than another, or than itself before a change of build.

        Args:
            new: quad.
            old: quad to compare with; None compares ``new`` with itself before ``since``.
            since: the change; None takes the last change of build in the journal.

        Returns:
            All parts together first, then each item that broke on either side.

        Raises:
            NotFoundError: no quad has that slug.
            JournalError: a side has no crash, or the journal knows no change of build.
        """
        import numpy as np

        from crashworthy.upkeep.spares import spare_items
        from crashworthy.upkeep.tougher import before_after, compare_builds, severity_weights, side_of

        after, names = self.history(new).crashes, self.names()
        if old is not None:
            self.require(old)
            sides = ((names[old], self.history(old).crashes), (names[new], after))
        else:
            moment = since or self._last_build(new)
            before, after = before_after(self.history(new), moment)
            sides = ((f"the build before {moment:%Y-%m-%d}", before), ("the build since then", after))
        items = {s.item: s.parts for s in spare_items(self.quad(new).parts)}
        groups = {"parts": tuple(p for parts in items.values() for p in parts), **items}
        # One set of hazards for both sides: those of the old build where there is a campaign of it.
        known = self.latest_campaign(old or new) or self.latest_campaign(new)
        hazards = {} if known is None else known.summary["hazards"]
        counts = np.array(
            [sum(c.severity == s for _, rows in sides for c in rows) for s in ("scuff", "hit", "slam")]
        )
        mix = counts / max(int(counts.sum()), 1)
        answers = []
        for item, parts in groups.items():
            weights = severity_weights(hazards, parts, mix)
            before_side, after_side = (side_of(name, rows, parts, weights) for name, rows in sides)
            if item == "parts" or before_side.breaks + after_side.breaks:
                words = item if item == "parts" else f"{item.replace('_', ' ')}s"
                answers.append(compare_builds(words, before_side, after_side, weighed=weights is not None))
        return tuple(answers)

    def _last_build(self, slug: str) -> datetime:
        from crashworthy.errors import JournalError, Problem

        builds = self.history(slug).builds
        if not builds:
            raise JournalError(
                Problem(
                    f"the journal of {slug} knows no change of build",
                    "name a second quad, or a day with --since",
                )
            )
        return builds[-1].occurred

    def growth(self, slug: str) -> Growth:
        """Whether breaks grow rarer on a quad, crash by crash.

        Raises:
            NotFoundError: no quad has that slug.
        """
        from crashworthy.upkeep.growth import growth

        history = self.history(slug)
        breaks = [i for i, c in enumerate(history.crashes, start=1) for _ in c.broke]
        builds = [float(sum(b.at.crashes)) for b in history.builds]
        return growth(breaks, float(len(history.crashes)), builds)

    def counts(self, slug: str) -> QuadCounts:
        """What a quad gives to its crew: counts alone.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        return self._counts(slug, self.history(slug), None)

    def nameless_counts(self) -> tuple[QuadCounts, ...]:
        """What every quad gives to others; each pilot goes by one number in all of them ("pilot 1").

        Raises:
            SheetError: a sheet has a problem.
        """
        histories = self.histories()
        every = dict.fromkeys(c.device for h in histories.values() for c in h.crashes)
        called = {device: f"pilot {n}" for n, device in enumerate(every, start=1)}
        return tuple(self._counts(slug, history, called) for slug, history in histories.items())

    def _counts(self, slug: str, history: QuadHistory, called: Mapping[str, str] | None) -> QuadCounts:
        from crashworthy.upkeep.breakage import break_rates
        from crashworthy.upkeep.counts import counts_of
        from crashworthy.upkeep.spares import spare_items

        quad, priors = self.quad(slug), self.priors()
        known = self.latest_campaign(slug)
        rates: tuple[BreakRate, ...] = ()
        if known is not None:
            items = {s.item: s.parts for s in spare_items(quad.parts)}
            rates = break_rates(history, known.summary["hazards"], priors, items)
        return counts_of(quad.name, history, rates, quad.joints, priors, called)

    def crew(self, others: Iterable[QuadCounts] = ()) -> CrewReport:
        """What this fleet knows together with the counts that others gave.

        Quads that were never crash-tested give their screws alone.

        Args:
            others: counts besides those that were kept (``take_counts``).

        Raises:
            JournalError: there is no quad at all.
        """
        from crashworthy.upkeep.crew import crew

        kept, others = self.given(), tuple(others)

        def make() -> CrewReport:
            return crew([*self.own_counts(), *(given.named() for given in kept), *others])

        return make() if others else self._once(f"crew {hash(repr(kept))}", "", make)

    def look_first(self, slug: str, severity: str = "", obstacle: str = "") -> tuple[Look, ...]:
        """Where to look after such a crash, from the newest crash test of this very build; empty without one.

        Raises:
            NotFoundError: no such quad, severity or obstacle.
            SheetError: its sheet has a problem.
        """
        from crashworthy.upkeep.crash_loads import look_first

        loads = self.crash_loads(slug)
        return () if loads is None else look_first(loads, severity, obstacle)

    def screws_first(self, slug: str, severity: str = "", obstacle: str = "") -> tuple[ScrewLook, ...]:
        """Screw groups by how often they slip in such crashes, tight as the torque card says; worst first.

        Raises:
            NotFoundError, SheetError: as ``look_first``.
        """
        from crashworthy.upkeep.crash_loads import ScrewLook

        card = self.torque_card(slug)
        shares = self.slip_shares(slug, card, severity, obstacle)
        titles = {r.group: r.title for r in card.rows}
        found = [ScrewLook(g, titles[g], s) for g, s in shares.items() if s > 0.0]
        return tuple(sorted(found, key=lambda r: (-r.slips, r.group)))

    def wear_priors(self) -> WearPriors:
        """Beliefs about wear: the packaged ones, with those in DATA/wear.toml in their place.

        Raises:
            CrashworthyError: the file has a problem.
        """
        from crashworthy.upkeep.wear_priors import load_wear

        own = self.folder.root / "wear.toml"
        return load_wear(own if own.is_file() else None)

    def histories(self) -> dict[str, QuadHistory]:
        """What the journal says about each quad, by slug: read once, for answers that join several."""
        return {slug: self.history(slug) for slug in self.names()}

    def lives(self, histories: Mapping[str, QuadHistory] | None = None) -> Lives:
        """The life of every part of the fleet; quads whose sheet cannot be read are left out.

        Args:
            histories: of every quad, when they were read already; phones may enter something meanwhile.
        """
        from crashworthy.errors import CrashworthyError
        from crashworthy.upkeep.lives import part_lives

        histories = self.histories() if histories is None else histories
        parts = {}
        for slug in histories:
            try:
                quad = self.quad(slug)
            except CrashworthyError:
                continue
            parts[slug] = tuple(p.name for p in quad.pieces)
        return part_lives(histories, parts)

    def worn(self, slug: str) -> Mapping[str, Accumulated]:
        """What the crashes and taps of each arm, plate, motor and standoff have added up to, by name.

        Returns:
            Empty when this very build was never crash-tested.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.impact.scenario_file import from_plain
        from crashworthy.upkeep.alike import Matcher
        from crashworthy.upkeep.worn import worn_parts

        quad, known = self.quad(slug), self.reference_campaign(slug)
        if known is None:
            return {}

        def make() -> Mapping[str, Accumulated]:
            loads, histories = self._campaign_loads(slug, known, None), self.histories()
            return worn_parts(
                loads,
                [p.kind for p in quad.parts],
                histories[slug],
                {name: life for (s, name), life in self.lives(histories).now.items() if s == slug},
                Matcher(loads, from_plain(known.scenario)),
                self.shifts(slug),
                self.wear_priors(),
            )

        return self._once(f"worn {hash(repr(self.wear_priors()))}", slug, make)

    def wear(self, slug: str) -> WearReport:
        """Keep, watch or retire: every part of a quad that wears.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.upkeep.breakage import break_rates
        from crashworthy.upkeep.crash_loads import damage_by_part
        from crashworthy.upkeep.retire import wear_report
        from crashworthy.upkeep.spares import spare_items

        self.require(slug)
        quad, histories, priors, wear = self.quad(slug), self.histories(), self.priors(), self.wear_priors()
        history = histories[slug]
        loads, known = self.crash_loads(slug), self.latest_campaign(slug)
        per_crash: dict[str, dict[str, tuple[float, float, float]]] = {"value": {}, "low": {}, "high": {}}
        if loads is not None:
            slope = wear.rows["damage.slope"]
            per_crash = {end: damage_by_part(loads, getattr(slope, end)) for end in per_crash}
        rates: tuple[BreakRate, ...] = ()
        if known is not None:
            items = {s.item: s.parts for s in spare_items(quad.parts)}
            rates = break_rates(history, self.hazards(slug), priors, items)
        lives = self.lives(histories)
        worn = self.worn(slug)
        kinds = {(s, p.name): p.kind for s in {q for q, _ in lives.now} for p in self.quad(s).parts}
        return wear_report(
            quad.name, slug, quad.parts, history, lives, kinds, rates, per_crash, priors, wear, worn
        )
