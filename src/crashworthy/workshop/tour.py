"""The guided tour: the loop from crash test to kit as steps that tick themselves off from the facts.

Nothing is kept about the tour itself. Whether a step is done, and what it changed, follows each time from
the fleet's sheets, campaigns, logs and journal, so that it can be left and taken up again anywhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from crashworthy.workshop.flights import FlightBench
from crashworthy.workshop.kits import KitBench
from crashworthy.workshop.lives import LifeBench
from crashworthy.workshop.tour_steps import CRASHES, INVENTED, PACKS, Step, Tour, spare_log

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from crashworthy.build.quad import Quad
    from crashworthy.upkeep.due import Due
    from crashworthy.upkeep.events import Event
    from crashworthy.workshop.crashes import Campaign

__all__ = ["TourBench"]


class TourBench(KitBench, FlightBench, LifeBench):
    """The loop, step by step."""

    def tour(self) -> Tour | None:
        """The tour as it stands; None when the fleet is not the demo.

        Raises:
            SheetError: the sheet of its quad has a problem.
        """
        slug = self.tour_quad()
        return self._tour(slug) if slug else None

    def tour_quad(self) -> str:
        """The invented quad with logs and an antenna that the tour is about; "" outside of the demo."""
        from crashworthy.errors import CrashworthyError

        for slug in self.names():
            first = self.store.page(slug, limit=1).events
            try:
                rows = self.quad(slug).sheet.antennas
            except CrashworthyError:
                continue
            if rows and any(e.device.startswith(INVENTED) for e in first) and self.store.logs(slug):
                return slug
        return ""

    def spare_log(self) -> Path | None:
        """A simulated flight log that was not read yet, to be dropped on the tour; only a demo has one."""
        path = spare_log(self.folder.root)
        return path if path.is_file() else None

    def _tour(self, slug: str) -> Tour:
        known, antenna = self.latest_campaign(slug), self._antenna(slug)
        copy = self._moved(slug, antenna)
        after = self.latest_campaign(copy) if copy else None
        known = None if known is None or known.stale else known
        after = None if after is None or after.stale else after
        counted = self._counted(slug)
        mine = [e for e in counted if not e.device.startswith(INVENTED)]
        steps = (
            self._crash(slug, antenna, known),
            self._move(slug, antenna, copy),
            self._fewer(slug, antenna, copy, known, after),
            self._rates(slug, antenna, copy, known, after),
            self._packs(slug, mine, counted),
            self._log(slug),
            self._dose(slug),
            self._check(slug, mine),
            self._compare(slug),
            self._kit(slug),
        )
        return Tour(self.names()[slug], slug, steps)

    def _counted(self, slug: str) -> list[Event]:
        from crashworthy.upkeep.state import active_events

        return active_events(self.store.events(slug), slug)

    def _antenna(self, slug: str) -> str:
        """The antenna with the longest reach above the frame: a stem with a head; else the first."""
        rows = self.quad(slug).sheet.antennas
        return next((n for n, row in rows.items() if row.head_d), next(iter(rows)))

    def _moved(self, slug: str, antenna: str) -> str:
        """The newest other quad with the same frame and motors whose antenna stands elsewhere, or ""."""
        from crashworthy.errors import CrashworthyError

        base, found = self.quad(slug).sheet, ""
        for record in sorted(self.store.quads(), key=lambda r: r.added):
            try:
                sheet = self.quad(record.slug).sheet
            except CrashworthyError:
                continue
            same = sheet.arms == base.arms and sheet.plates == base.plates and sheet.motors == base.motors
            if same and antenna in sheet.antennas and sheet.antennas[antenna].at != base.antennas[antenna].at:
                found = record.slug
        return found

    def _crash(self, slug: str, antenna: str, known: Campaign | None) -> Step:
        said = ""
        if known is not None:
            row = _part(known, antenna)
            fragile = _fragile(self.quad(slug), known)
            said = (
                f"In {known.n} crashes the {row['label']} is touched first in {100 * row['first']:.1f} of "
                f"100 and breaks {100 * row['breaks']:.1f} times in 100 ({100 * row['breaks_low']:.1f}-"
                f"{100 * row['breaks_high']:.1f}): number {1 + fragile.index(antenna)} of {len(fragile)} "
                "antennas, leads, plugs, boards and lenses."
            )
        return Step(
            "crash",
            f"Crash {self.names()[slug]}",
            f"Which fragile part stands out? Run {CRASHES} crashes if the build was changed.",
            (("Crash test", f"/quads/{slug}/crash"), ("Placement", f"/quads/{slug}/placement")),
            known is not None,
            said,
        )

    def _move(self, slug: str, antenna: str, copy: str) -> Step:
        said = ""
        links = [("Parts to print", f"/quads/{slug}/placement#v-print")]
        label = self.quad(slug).part(antenna).label
        if copy:
            one, two = (self.quad(s).sheet.antennas[antenna].at for s in (slug, copy))
            said = (
                f"Foot of the {label}: {_place(one)} to {_place(two)} mm on {self.names()[copy]}, "
                f"{self.quad(copy).mass * 1e3:.0f} g against {self.quad(slug).mass * 1e3:.0f} g."
            )
            links += [("Before and after", f"/quads/{slug}/placement/trial/{copy}")]
        links += [("The mount as 3MF", f"/quads/{slug}/placement/print/antenna-mount.3mf")]
        return Step(
            "move",
            f"Move the {label} to a side mount",
            "Under Parts to print, try the antenna mount on a copy, and read what it gains and what it costs "
            "in range; the mount itself is a file to print.",
            tuple(links),
            bool(copy),
            said,
        )

    def _fewer(
        self, slug: str, antenna: str, copy: str, known: Campaign | None, after: Campaign | None
    ) -> Step:
        said = ""
        if known is not None and after is not None:
            one, two = _part(known, antenna), _part(after, antenna)
            said = (
                f"{one['label'][:1].upper()}{one['label'][1:]}: hit in {100 * one['hit']:.1f} of 100 crashes "
                f"before, {100 * two['hit']:.1f} after; breaks {100 * one['breaks']:.1f} before, "
                f"{100 * two['breaks']:.1f} after."
            )
        links = [("Crash the copy", f"/quads/{copy}/crash")] if copy else []
        return Step(
            "fewer",
            "Crash the copy",
            f"Take {CRASHES} crashes and seed {known.seed if known else 1}, as before; then let Improve hold "
            "both against each other and see what breaks less, what breaks more, and how sure that is.",
            (*links, ("Improve", f"/quads/{slug}/improve")),
            after is not None,
            said,
        )

    def _rates(
        self, slug: str, antenna: str, copy: str, known: Campaign | None, after: Campaign | None
    ) -> Step:
        said, done = "", known is not None and after is not None
        if done:
            one, two = self._prior(slug, antenna), self._prior(copy, antenna)
            said = (
                f"Before its own journal says otherwise {self.names()[slug]} breaks {one:.2f} of them in "
                f"100 crashes of the everyday mix, {self.names()[copy]} {two:.2f}; break rates and kit start "
                "from there."
            )
        links = [("Kit before", f"/quads/{slug}/kit")]
        if copy:
            links.append(("Kit after", f"/quads/{copy}/kit"))
        return Step(
            "rates",
            "See the expectations follow",
            "Compare what the two kits expect to use and why.",
            tuple(links),
            done,
            said,
        )

    def _prior(self, slug: str, part: str) -> float:
        """Simulated breaks of a part in 100 crashes of the mix that is assumed before any journal."""
        rule = self.priors().breakage
        hazard = self.hazards(slug).get(part, (0.0, 0.0, 0.0))
        shares = (rule.mix_scuff, rule.mix_hit, rule.mix_slam)
        return 100 * sum(w * h for w, h in zip(shares, hazard, strict=True)) / sum(shares)

    def _packs(self, slug: str, mine: Sequence[Event], counted: Sequence[Event]) -> Step:
        from crashworthy.upkeep.payloads import Pack

        packs = [e.payload for e in mine if isinstance(e.payload, Pack)]
        entered, total = sum(not p.log for p in packs), sum(isinstance(e.payload, Pack) for e in counted)
        return Step(
            "packs",
            f"Journal {PACKS} packs",
            "On the phone or here: Pack, then No crash, two taps each; the bars grow as you tap.",
            (("Field", f"/quads/{slug}/field"),),
            entered >= PACKS,
            f"{entered} of {PACKS} entered by you; {total - len(packs)} packs before, {total} now."
            if entered
            else "",
        )

    def _bent(self, slug: str) -> Any:
        """The newest kept log that was not there with the demo: the second one and those after it."""
        kept = self.logs(slug)
        return kept[0] if len(kept) > 1 else None

    def _log(self, slug: str) -> Step:
        log, links = self._bent(slug), [("Flights", f"/quads/{slug}/flights")]
        if self.spare_log() is not None:
            links.append(("A simulated log to drop", "/tour/bent-prop.csv"))
        if log is not None:
            links.append(("What it says", f"/quads/{slug}/flights/{log.key}"))
        return Step(
            "log",
            "Drop a flight log",
            "Download the simulated log with a bent prop, drop it on Flights, and see which motor is named.",
            tuple(links),
            log is not None,
            str(log.report["summary"]) if log is not None else "",
        )

    def _dose(self, slug: str) -> Step:
        log = self._bent(slug)
        event = None if log is None else self.pack_of(slug, log.key)
        said = ""
        if event is not None:
            before, after = self._around(slug, event)
            one, two = _arm(before[1]), _arm(after[1])
            dose = after[0].dose - before[0].dose
            said = (
                f"That pack counted as {dose:.1f} ordinary packs. {one.title}: {one.age:.1f} of "
                f"{one.tau:.1f} packs used up before it, {two.age:.1f} after."
            )
        page = f"/quads/{slug}/flights/{log.key}#v-pack" if log is not None else f"/quads/{slug}/flights"
        return Step(
            "dose",
            "Enter that flight as a pack",
            "Write the minutes flown; vibration wears on the screws, so they come due sooner.",
            (("The flight", page), ("Field", f"/quads/{slug}/field")),
            event is not None,
            said,
        )

    def _check(self, slug: str, mine: Sequence[Event]) -> Step:
        from crashworthy.upkeep.payloads import Check

        found = [(e, e.payload) for e in mine if isinstance(e.payload, Check) and e.payload.loose]
        said = ""
        if found:
            event, check = found[-1]
            before, after = self._around(slug, event)
            one, two = (next(d for d in dues if d.group == check.group) for _, dues in (before, after))
            said = (
                f"{one.title}: check every {one.tau:.1f} packs ({one.zone[0]:.1f}-{one.zone[1]:.1f}) before, "
                f"every {two.tau:.1f} ({two.zone[0]:.1f}-{two.zone[1]:.1f}) after {check.loose} loose."
            )
        return Step(
            "check",
            "Find a loose screw",
            "On Field tap Found, then 1 loose beside the arm screws; the interval learns from it.",
            (("Field", f"/quads/{slug}/field"), ("Bench", f"/quads/{slug}/bench")),
            bool(found),
            said,
        )

    def _around(self, slug: str, event: Event) -> tuple[tuple[Any, tuple[Due, ...]], ...]:
        """History and due list just before and just after an event."""
        from crashworthy.upkeep.due import due
        from crashworthy.upkeep.state import fold, screws_of

        joints, priors, events = self.quad(slug).joints, self.priors(), self._counted(slug)
        at = next(i for i, e in enumerate(events) if e.id == event.id)
        told = []
        for upto in (at, at + 1):
            history = fold(slug, events[:upto], screws_of(joints), priors=priors)
            told.append((history, due(history, joints, priors)))
        return tuple(told)

    def _compare(self, slug: str) -> Step:
        other = next((s for s in self.names() if s != slug and self.history(s).crashes), "")
        said = self.tougher(slug, other)[0].summary() if other and self.history(slug).crashes else ""
        return Step(
            "compare",
            "Compare two builds",
            "Under Is it tougher, see what both journals say; as long as it cannot tell, it says so.",
            (("Lives", f"/quads/{slug}/lives"),),
            bool(said),
            said,
        )

    def _kit(self, slug: str) -> Step:
        stock = {item: n for item, n in self.stock().items() if n}
        said = ""
        if stock:
            said = f"{sum(stock.values())} spares of {len(stock)} kinds at hand; the kit buys the rest."
        return Step(
            "kit",
            "Pack for the trip and print the list",
            "Write down under At hand what you own, pack, and print the page or save it as PDF.",
            (("Kit", f"/quads/{slug}/kit"),),
            bool(stock),
            said,
        )


def _part(campaign: Campaign, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(p for p in campaign.summary["parts"] if p["name"] == name)
    return found


_HIDDEN: Final = ("antenna", "lead", "plug", "board", "lens", "camera")
"""Kinds of parts that are hidden rather than strengthened, without the pack and boxes."""


def _fragile(quad: Quad, campaign: Campaign) -> list[str]:
    """Names of the parts that are better hidden, the one most often touched first on top."""
    kinds = {p.name for p in quad.parts if p.kind in _HIDDEN}
    rows = [p for p in campaign.summary["parts"] if p["name"] in kinds]
    return [p["name"] for p in sorted(rows, key=lambda p: (-p["first"], p["name"]))]


def _place(at: Sequence[float]) -> str:
    return "(" + ", ".join(f"{v:g}" for v in at) + ")"


def _arm(dues: Sequence[Due]) -> Due:
    """The arm screws, or the most urgent group where there are none."""
    return next((d for d in dues if d.upkeep == "arm"), dues[0])
