"""Where to put things: placement, moves tried on a copy, printed parts, agreement with the crashes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from crashworthy.errors import NotFoundError, Problem
from crashworthy.workshop.changes import ChangeBench

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.impact.scenario import Scenario
    from crashworthy.placement.advice import Placement
    from crashworthy.placement.hits import Approaches
    from crashworthy.placement.leads import StrapHold
    from crashworthy.placement.moves import Move
    from crashworthy.placement.printed import Printed

__all__ = ["Agreement", "PlacementBench"]


@dataclass(frozen=True, slots=True)
class Agreement:
    """First touches by geometry against first touches of the crash engine.

    Attributes:
        n: crashes.
        rank: Spearman's rank correlation over the parts that either of them touches.
        rows: (label, share by geometry, share of crashes), the largest difference first.
        strap: the strap's friction against the median peak deceleration of the core in those crashes (which
            depends on the engine's mesh, so a rough guide), or None without a strap.
    """

    n: int
    rank: float
    rows: tuple[tuple[str, float, float], ...]
    strap: StrapHold | None

    def summary(self) -> str:
        """One sentence."""
        label, geometry, crashes = self.rows[0]
        return (
            f"Rank correlation with the first touches of {self.n} simulated crashes: "
            f"{self.rank:.2f}; they differ "
            f"most over the {label} ({100 * geometry:.1f} % by geometry, {100 * crashes:.1f} % of crashes)."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "n": self.n,
            "rank_correlation": round(self.rank, 4),
            "rows": [{"part": a, "geometry": round(b, 5), "crashes": round(c, 5)} for a, b, c in self.rows],
            "strap": None if self.strap is None else self.strap.summary(),
            "summary": self.summary(),
        }


class PlacementBench(ChangeBench):
    """Placement of the fleet's builds; each build is looked at once."""

    def placement(self, quad: str, limit: float = 0.01, *, scenario: bool = False) -> Placement:
        """Look at where everything sits; a sheet file or a quad of the fleet.

        Args:
            quad: the build.
            limit: share of the picture the cage may cover.
            scenario: weigh directions by the everyday crashes instead of evenly.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem.
        """
        from crashworthy.placement.advice import place

        found = self.find(quad)
        key = (found.digest, limit, scenario)
        with self._lock:
            known: dict[Any, Placement] = self.__dict__.setdefault("_placements", {})
            if key in known:
                return known[key]
        bench = self.priors().bench
        ways = self.approaches(found) if scenario else None
        made = place(found, bench.price, bench.repair, limit=limit, approaches=ways)
        with self._lock:
            known[key] = made
        return made

    def approaches(
        self, quad: Quad, scenario: Scenario | None = None, n: int = 240, seed: int = 1
    ) -> dict[str, Approaches]:
        """Directions from which a scenario's obstacles come, in the frame of the quad, by kind of obstacle.

        Args:
            quad: the build.
            scenario: the everyday mix by default.
            n: directions for balls and for poles; twenty times as many for flats.
            seed: of the draws.
        """
        import numpy as np

        from crashworthy.impact.cases import case_of
        from crashworthy.impact.scenario import Scenario as Mix
        from crashworthy.impact.start import sample
        from crashworthy.placement.hits import Approaches

        mix = scenario or Mix.default()
        model = case_of(quad, mix).model
        starts = sample(mix, model.craft, seed, np.arange(60 * n, dtype=np.int64))
        w, x, y, z = starts.state[6:10]
        turn = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
            ]
        )
        path = np.einsum("ijn,in->nj", turn, starts.state[3:6] / np.linalg.norm(starts.state[3:6], axis=0))
        axis = np.einsum("ijn,in->nj", turn, starts.rows[3:6])
        bars, planes = np.flatnonzero(starts.kinds != 0), np.flatnonzero(starts.kinds == 0)
        found = {"ball": Approaches(path[:n], np.ones(n))}
        if len(bars):
            some = bars[:n]
            found["pole"] = Approaches(path[some], np.ones(len(some)), axis[some])
        if len(planes):
            found["flat"] = Approaches(-axis[planes[: 20 * n]], np.ones(len(planes[: 20 * n])))
        return found

    def agreement(self, slug: str, n: int = 2000, seed: int = 1) -> Agreement:
        """First touches by geometry, weighed by the everyday scenario, against those of the crash engine.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem.
        """
        import numpy as np
        from scipy.stats import spearmanr

        from crashworthy.impact.scenario import Scenario as Mix
        from crashworthy.placement.hits import Obstacle, hit_shares
        from crashworthy.placement.leads import strap_hold
        from crashworthy.placement.skin import skin_of

        quad = self.find(slug)
        mix = Mix.default()
        batch = self.crash(quad, n, seed, mix)
        ways, skin = self.approaches(quad, mix), skin_of(quad, "blades")
        share = np.zeros(len(quad.parts))
        for obstacle, weight in zip(mix.obstacles, mix.shares, strict=True):
            bar = obstacle.kind in ("pole", "branch")
            radius = sum(obstacle.radius) / 2 if bar else 0.0
            kind = "pole" if bar else "flat"
            hits = hit_shares(skin, Obstacle(obstacle.name, kind, radius, 1e-3), ways[kind])
            share += weight * np.array([hits[p.name] for p in quad.parts])
        crashes = np.bincount(batch.first_part, minlength=len(quad.parts)) / batch.n
        touched = (share > 0) | (crashes > 0)
        rank = float(spearmanr(share[touched], crashes[touched]).statistic)
        order = np.argsort(-np.abs(share - crashes))[: int(touched.sum())]
        rows = tuple((quad.parts[i].label, float(share[i]), float(crashes[i])) for i in order)
        return Agreement(batch.n, rank, rows, strap_hold(quad, float(np.median(batch.core_peak))))

    def move_of(self, quad: str, key: str) -> Move:
        """The move called ``key`` among those advised.

        Raises:
            NotFoundError: no such quad, or no such move of it.
            SheetError: the sheet has a problem.
        """
        moves = self.placement(quad).moves
        for move in moves:
            if move.key == key:
                return move
        known = ", ".join(m.key for m in moves) or "none"
        raise NotFoundError(Problem(f"no move is called {key!r}", f"moves: {known}"))

    def try_move(self, quad: str, key: str) -> str:
        """Make a move on a copy of the sheet; returns the copy as TOML.

        Raises:
            NotFoundError: no such quad or move.
            SheetError: the sheet has a problem.
        """
        from crashworthy.build.writing import to_toml
        from crashworthy.placement.moves import apply_move

        found = self.find(quad)
        changed = apply_move(found.sheet, self.move_of(quad, key))
        name = f"{found.name[:50]} {key.replace('.', ' ').replace('_', ' ')}"
        return to_toml(changed.model_copy(update={"name": name[:60], "weighed": None}))

    def try_move_on_a_copy(self, slug: str, key: str) -> str:
        """Take a copy of a quad with one move into the fleet; returns the copy's slug.

        Raises:
            NotFoundError: no such quad or move.
            SheetError: the copy is there already.
        """
        return self.add_quad(self.try_move(slug, key))

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
