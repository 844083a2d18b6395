"""Where to put things: placement, moves made on a copy, printed parts, agreement with the crashes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.errors import NotFoundError, Problem, ScenarioError
from crashworthy.workshop.changes import ChangeBench

if TYPE_CHECKING:
    from crashworthy.impact.scenario import Scenario
    from crashworthy.placement.advice import Placement
    from crashworthy.placement.moves import Move
    from crashworthy.placement.printed import Printed
    from crashworthy.workshop.agreement import Agreement

__all__ = ["PlacementBench"]


class PlacementBench(ChangeBench):
    """Placement of the fleet's builds; each build is looked at once."""

    def placement(self, quad: str, limit: float = 0.01, *, towards: str = "even") -> Placement:
        """Look at where everything sits; a sheet file or a quad of the fleet.

        Args:
            quad: the build.
            limit: share of the picture the cage may cover.
            towards: where obstacles come from, see ``mix``.

        Raises:
            NotFoundError: neither such a file nor such a quad, or no campaign to take directions from.
            SheetError: the sheet has a problem.
            ScenarioError: the scenario file has a problem.
        """
        from crashworthy.placement.advice import PLACE_DIRECTIONS, place
        from crashworthy.workshop.agreement import approaches_of

        found, mix = self.find(quad), self.mix(quad, towards)
        bench, breaks = self.priors().bench, self.touch_breaks(quad)
        known = None if breaks is None else tuple(sorted(breaks.items()))
        key = (found.digest, limit, mix and mix.digest, hash(repr(bench)), known)

        def make() -> Placement:
            ways = None if mix is None else approaches_of(found, mix, PLACE_DIRECTIONS)
            return place(
                found,
                bench.price,
                bench.repair,
                limit=limit,
                approaches=ways,
                worth=bench.minute,
                breaks=breaks,
            )

        return self.memo.get(("placement", *key), None, make)

    def touch_breaks(self, quad: str) -> dict[str, float] | None:
        """Chance per crash that touches break each part, from the newest crash test of this very build.

        Strengths are those the journal taught. What shakes the boards or pulls on the strap is left out: it
        reaches a part wherever it sits. None for a sheet file, or without such a crash test.

        Raises:
            NotFoundError: no such quad.
            SheetError: the sheet has a problem.
        """
        from crashworthy.placement.ranking import TOUCHING
        from crashworthy.strength.capacity import capacities

        known = None if quad.endswith(".toml") else self.latest_campaign(quad)
        if known is None or known.stale:
            return None
        found = self.quad(quad)
        touch = {(found.parts[c.part].name, c.mode) for c in capacities(found) if c.load in TOUCHING}
        broken: dict[str, float] = {}
        for part in self.corrected_summary(known, wait=False)["parts"]:
            spared = 1.0
            for mode in part["modes"]:
                if (part["name"], mode["mode"]) in touch:
                    spared *= 1.0 - mode["chance"]
            # Modes break in the same hard crashes, so the product of means is too many: all ways bound it.
            broken[part["name"]] = min(1.0 - spared, part["breaks"])
        return broken

    def mix(self, quad: str, towards: str) -> Scenario | None:
        """The scenario whose crashes weigh the directions, or None for evenly from everywhere.

        Args:
            quad: the build.
            towards: "even", "everyday" (the assumed mix), "campaign" (that of the newest crash test of a
                quad in the fleet) or the path of a scenario file.

        Raises:
            NotFoundError: the quad has no crash test.
            ScenarioError: the scenario file has a problem, or the word is unknown.
        """
        from crashworthy.impact.scenario import Scenario as Mix
        from crashworthy.workshop.agreement import scenario_of

        if towards == "even":
            return None
        if towards == "everyday":
            return Mix.default()
        if towards == "campaign":
            known = None if quad.endswith(".toml") else self.latest_campaign(quad)
            if known is None:
                raise NotFoundError(
                    Problem(f"{quad} has no crash test to take directions from", "run a crash test first")
                )
            return scenario_of(known.scenario)
        if towards.endswith(".toml"):
            return Mix.load(towards)
        raise ScenarioError(
            Problem(
                f"no directions are called {towards!r}", "use even, everyday, campaign or a scenario file"
            )
        )

    def agreement(self, slug: str, n: int = 2000, seed: int = 1, *, towards: str = "everyday") -> Agreement:
        """First touches by geometry, weighed by a scenario, against those of the crash engine.

        Args:
            slug: a sheet file or a quad of the fleet.
            n: crashes.
            seed: of the crashes.
            towards: the scenario, see ``mix``; evenly is not one and means the everyday mix.

        Raises:
            NotFoundError: neither such a file nor such a quad, or no campaign to take the scenario from.
            SheetError: the sheet has a problem.
        """
        from crashworthy.impact.scenario import Scenario as Mix
        from crashworthy.placement.strap import strap_demand
        from crashworthy.workshop.agreement import agree

        quad, mix = self.find(slug), self.mix(slug, towards) or Mix.default()
        batch = self.crash(quad, n, seed, mix)
        strength = next((c for c in batch.capacities if c.load == "strap"), None)
        demand = None if strength is None else strap_demand(quad, batch.strap, strength)
        return agree(quad, mix, batch.first_part, demand)

    def known_agreement(self, slug: str) -> Agreement | None:
        """The agreement with the newest crash test of this very build; None when there is none.

        Raises:
            NotFoundError: no such quad.
            SheetError: the sheet has a problem.
        """
        from crashworthy.placement.strap import strap_demand
        from crashworthy.strength.capacity import capacities
        from crashworthy.workshop.agreement import agree, scenario_of

        quad, known = self.quad(slug), self.latest_campaign(slug)
        if known is None or known.stale:
            return None
        with self._lock:
            kept: dict[str, Agreement] = self.__dict__.setdefault("_agreements", {})
            if known.key in kept:
                return kept[known.key]
        arrays = self.even_arrays(known.key)
        strength = next((c for c in capacities(quad) if c.load == "strap"), None)
        asked = arrays.get("strap")
        demand = None if strength is None or asked is None else strap_demand(quad, asked, strength)
        made = agree(quad, scenario_of(known.scenario), arrays["first_part"], demand)
        with self._lock:
            kept[known.key] = made
        return made

    def move_of(self, quad: str, key: str, *, towards: str = "even") -> Move:
        """The move called ``key`` among those advised with obstacles from ``towards`` (see ``mix``).

        Raises:
            NotFoundError: no such quad, or no such move of it.
            SheetError: the sheet has a problem.
        """
        moves = self.placement(quad, towards=towards).moves
        for move in moves:
            if move.key == key:
                return move
        known = ", ".join(m.key for m in moves) or "none"
        raise NotFoundError(Problem(f"no move is called {key!r}", f"moves: {known}"))

    def try_move(self, quad: str, key: str, *, towards: str = "even") -> str:
        """Make a move on a copy of the sheet; returns the copy as TOML.

        Raises:
            NotFoundError: no such quad or move.
            SheetError: the sheet has a problem.
        """
        from crashworthy.build.writing import to_toml
        from crashworthy.placement.moves import apply_move

        found = self.find(quad)
        changed = apply_move(found.sheet, self.move_of(quad, key, towards=towards))
        name = f"{found.name[:50]} {key.replace('.', ' ').replace('_', ' ')}"
        return to_toml(changed.model_copy(update={"name": name[:60], "weighed": None}))

    def try_move_on_a_copy(self, slug: str, key: str, *, towards: str = "even") -> str:
        """Take a copy of a quad with one move into the fleet; returns the copy's slug.

        Raises:
            NotFoundError: no such quad or move.
            SheetError: the sheet's rules refuse the result.
        """
        return self.add_copy(self.try_move(slug, key, towards=towards))

    def add_copy(self, text: str) -> str:
        """Take a changed copy of a sheet into the fleet under a name that is free; returns its slug.

        Raises:
            SheetError: the sheet's rules refuse it.
        """
        from crashworthy.build.sheet import slug_of
        from crashworthy.build.writing import to_toml

        sheet = self._parsed(text, "copy")
        taken = set(self.names()) | set(self.folder.slugs())
        stem = sheet.name[:52].rstrip()
        name = next(n for n in (stem, *(f"{stem} {i}" for i in range(2, 1000))) if slug_of(n) not in taken)
        return self.add_quad(to_toml(sheet.model_copy(update={"name": name})))

    def printed(
        self,
        quad: str,
        kind: str,
        *,
        name: str | None = None,
        recess: float | None = None,
        tilt: float | None = None,
    ) -> Printed:
        """A printed part for a build.

        Args:
            quad: a sheet file or a quad of the fleet.
            kind: one of ``placement.printed.KINDS``.
            name: antenna or lead it is for.
            recess: mm, of a camera cradle.
            tilt: deg, of a camera cradle.

        Raises:
            NotFoundError: no such quad or kind.
            SheetError: the part cannot be printed; the reason.
        """
        from crashworthy.placement.cradle import camera_cradle
        from crashworthy.placement.mounts import antenna_mount, lead_guard
        from crashworthy.placement.printed import KINDS

        found = self.find(quad)
        if kind == "camera-cradle":
            return camera_cradle(found, recess, tilt)
        if kind == "antenna-mount":
            return antenna_mount(found, name)
        if kind == "lead-guard":
            return lead_guard(found, name)
        raise NotFoundError(Problem(f"no part is called {kind!r}", f"use {', '.join(KINDS)}"))

    def printed_on_a_copy(self, slug: str, kind: str, *, name: str | None = None) -> str:
        """Take a copy of a quad with a printed part in it into the fleet; returns the copy's slug.

        The part becomes an imported model of the copy, and what it holds moves to where the part holds it.

        Args:
            slug: a quad of the fleet.
            kind: one of ``placement.printed.KINDS``.
            name: antenna or lead it is for.

        Raises:
            NotFoundError: no such quad or kind.
            SheetError: the part cannot be printed, or the sheet's rules refuse the copy; the reason.
            StoreError: the model cannot be kept.
        """
        from crashworthy.build.sheet import slug_of
        from crashworthy.build.writing import to_toml
        from crashworthy.placement.printed import in_place, sheet_with

        part = self.printed(slug, kind, name=name)
        taken = set(self.names()) | set(self.folder.slugs())
        stem = f"{self.quad(slug).name[:30].rstrip()} {kind.replace('-', ' ')}"
        free = next(n for n in (stem, *(f"{stem} {i}" for i in range(2, 1000))) if slug_of(n) not in taken)
        file = self.folder.write_drawing(slug_of(free), f"{kind}.stl", in_place(part))
        changed = sheet_with(self.quad(slug).sheet, part, file)
        return self.add_quad(to_toml(changed.model_copy(update={"name": free, "weighed": None})))
