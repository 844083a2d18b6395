"""A campaign: many crashes of one build, in chunks that may run anywhere and in any number at once."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import CrashworthyError, Problem, ScenarioError
from crashworthy.impact.batch import ARRAYS, CrashBatch
from crashworthy.impact.chunk import SETTLE, WINDOW, Chunk, Screen
from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.forecast import Forecast, Look, forecast_of, pooled
from crashworthy.impact.scenario import Scenario
from crashworthy.impact.until import Until, checked_until
from crashworthy.impact.watch import POOL, Watched, rare_ones, read_watch
from crashworthy.materials.table import rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.build.quad import Quad
    from crashworthy.impact.cases import Case
    from crashworthy.strength.correction import Corrections

__all__ = ["ENGINE", "SETTLE", "WINDOW", "CampaignCancelled", "Chunk", "MapChunks", "simulate"]

ENGINE: Final = 6
"""Raised whenever results of the same inputs change."""

LIMIT: Final = 10_000_000
"""Most crashes in one campaign."""

OPENING: Final = 512
"""Natural crashes from which the first forecasts are learnt; at most an eighth of a campaign."""

OPENING_WORTH: Final = 0.2
"""How much a crash of the opening counts beside a later one.

Fixed beforehand, so that nothing is biased; below 1, as the opening meets rare hits by luck only and would
bring most of their error (Owen and Zhou, JASA 95, 2000, on combining rounds)."""

SCREENED: Final = 512
"""Most crashes in a chunk of a screened campaign: smaller, as forecasts wait for whole rounds of chunks."""

Arrays = dict[str, Any]

MapChunks = Callable[[Callable[[Any], Arrays], Iterable[Any]], Iterator[Arrays]]
"""Runs a function over units of work (``cases.Work``) and yields the results in their order."""


class CampaignCancelled(CrashworthyError):  # noqa: N818 - it is what was asked for, not a fault
    """The campaign was asked to stop before it was done."""


@dataclass(slots=True)
class _Run:
    """A campaign under way: what it has, and whom it tells."""

    case: Case
    n: int
    seed: int
    chunk: int
    map_chunks: MapChunks
    progress: Callable[[int, int], None] | None
    cancelled: Callable[[], bool] | None
    until: Until | None
    done: list[Arrays] = field(default_factory=list)
    count: int = 0

    def rounds(
        self, first: int, n: int, chunk: int, screen: Screen | None = None, worth: float = 1.0
    ) -> bool:
        """Run the crashes ``first`` ... ``first + n - 1``; whether the answers are narrow enough to stop."""
        from crashworthy.impact.cases import run_work

        works = self.case.works(self.seed, first, n, chunk, screen)
        results = self.map_chunks(run_work, works)
        for work, result in zip(works, results, strict=True):
            if self.cancelled is not None and self.cancelled():
                _close(results)
                raise CampaignCancelled(
                    Problem(
                        f"cancelled after {self.count} of {self.n} crashes", "start it again when you like"
                    )
                )
            if worth != 1.0:
                result = {**result, "weight": worth * result["weight"]}  # noqa: PLW2901 - the same crashes
            self.done.append(result)
            self.count += work.chunk.count
            enough = False
            if self.until is not None:
                self.until.add(self.case.batch(self.seed, result))
                enough = self.until.reached()
            if self.progress is not None:
                self.progress(self.count, self.count if enough else self.n)
            if enough:
                _close(results)
                return True
        return False


def simulate(
    quad: Quad,
    n: int,
    seed: int = 0,
    scenario: Scenario | None = None,
    *,
    dt: float = 1e-5,
    fracture: bool = False,
    strengths: Corrections | None = None,
    watch: Sequence[str] = (),
    until: float = 0.0,
    chunk: int = 1024,
    map_chunks: MapChunks | None = None,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> CrashBatch:
    """Crash a build ``n`` times.

    A crash depends on build, scenario, seed, ``dt`` and its own number only: chunks, threads and order
    change no
    bit of it, and two builds with one seed meet the same obstacles (common random numbers).

    Args:
        quad: the build.
        n: number of crashes; with ``until`` the most.
        seed: 0 <= seed < 2**64.
        scenario: what is hit and how; the assumed everyday mix by default.
        dt: longest time step, s; a build whose limbs are too quick for it takes a finer one. Crashes that
            need a finer one still are run again at a quarter, and if need be at a sixteenth of it.
        fracture: let arms and props break in the run, at strengths drawn for each crash; loads after a break
            are those of the broken quad. Without it loads are what parts would feel if nothing broke.
        strengths: factors on the tabled strengths by kind of part, such as a journal teaches.
        watch: rare hits to be known well, such as "lens", "antennas", "lens by spike", or "rare" for the
            fragile
            parts that are seldom touched: many more crashes are drawn, and those that are likely to hit them
            are simulated more often and count less (``impact.watch``). Which crashes these are depends on
            the build and on ``chunk`` only.
        until: stop after the chunk at which half of the 90 % sampling interval of every answer is at most
            this share of it (``impact.until``); 0 runs all.
        chunk: crashes in a chunk; with ``watch`` at most ``SCREENED``.
        map_chunks: how chunks are run; one after the other by default. The kernel releases the interpreter's
            lock, so a thread pool's ordered map uses all cores.
        progress: called with (done, total) after each chunk.
        cancelled: asked before each chunk's result is taken.

    Raises:
        ScenarioError: a number is out of range, nothing is called what is to be watched, or the build cannot
            be crashed.
        CampaignCancelled: ``cancelled`` said so.
    """
    if not 1 <= n <= LIMIT:
        raise ScenarioError(Problem(f"cannot crash {n} times", f"ask for 1 to {LIMIT} crashes", field="n"))
    if not 0 <= seed < 2**64:
        raise ScenarioError(Problem(f"seed {seed} is out of range", "use 0 to 2**64 - 1", field="seed"))
    if not (math.isfinite(dt) and 1e-7 <= dt <= 2e-5):
        raise ScenarioError(Problem(f"time step {dt:g} s is out of range", "use 1e-7 to 2e-5 s", field="dt"))
    if chunk < 1:
        raise ScenarioError(Problem(f"chunk of {chunk} crashes", "use 1 or more", field="chunk"))
    from crashworthy.impact.cases import case_of, plain

    checked_until(until)
    scenario = scenario if scenario is not None else Scenario.default()
    names = tuple((p.name, p.label, p.kind) for p in quad.parts)
    watched, rare = read_watch(watch, names, scenario)
    case = case_of(quad, scenario, dt=dt, fracture=fracture, strengths=strengths)
    run = _Run(case, n, seed, chunk, map_chunks or plain, progress, cancelled, None)
    if watched or rare:
        watched = _screened(run, watched, rare=rare, until=until)
    else:
        run.until = Until(until, ()) if until else None
        run.rounds(0, n, chunk)
    arrays = {name: np.concatenate([d[name] for d in run.done], axis=-1) for name in ARRAYS}
    if watched:
        arrays["weight"] *= run.count / arrays["weight"].sum()
    if (arrays["flags"] & FLAG_INVALID).all():
        raise ScenarioError(
            Problem(
                "every crash left the real numbers", "check the sizes and masses in the sheet", field="quad"
            )
        )
    options = [fracture, list(watch), chunk if watched else 0, until, n]
    return case.batch(
        seed,
        arrays,
        digest=_digest(quad, scenario, run.count, seed, dt, options),
        watched=watched,
        drawn=run.count * (POOL if watched else 1),
        asked=n,
        until=until,
    )


def _screened(run: _Run, watched: tuple[Watched, ...], *, rare: bool, until: float) -> tuple[Watched, ...]:
    """Run a campaign in rounds, each with forecasts learnt from the rounds before.

    Returns:
        What was watched.
    """
    parts = tuple((p.name, p.label, p.kind) for p in run.case.quad.parts)
    touchable = run.case.model.parts
    bare = [w.name for w in watched if not set(w.parts) <= set(touchable.tolist())]
    if bare:
        raise ScenarioError(
            Problem(f"{', '.join(bare)}: no shape that could be touched", "watch another part", field="watch")
        )
    chunk = min(run.chunk, SCREENED)
    size = max(1, min(OPENING, run.n // 8))
    run.rounds(0, size, max(1, chunk // 2), Screen(), OPENING_WORTH)
    if rare:
        peak = np.concatenate([d["part_peak"] for d in run.done], axis=-1)
        watched = tuple(dict.fromkeys((*watched, *rare_ones((peak > 0.0).mean(axis=1), parts, touchable))))
    if until:
        run.until = Until(until, watched)
        for result in run.done:
            run.until.add(run.case.batch(run.seed, result))
    while run.count < run.n:
        forecasts = _learnt(run, watched)
        if run.rounds(run.count, min(run.count, run.n - run.count), chunk, Screen(watched, forecasts)):
            break
    return watched


def _learnt(run: _Run, watched: tuple[Watched, ...]) -> tuple[Forecast, ...]:
    """Forecasts from all crashes so far."""
    obstacles = len(run.case.scenario.obstacles)
    joined = {
        name: np.concatenate([d[name] for d in run.done], axis=-1)
        for name in ("obstacle", "look_speed", "look_side", "way", "part_peak", "weight")
    }
    look = Look(joined["obstacle"], joined["look_speed"], joined["look_side"])
    model = run.case.model
    # What all parts have in common is learnt from the natural crashes of the opening.
    n = min(OPENING, max(1, run.n // 8))
    common = pooled(
        Look(look.obstacle[:n], look.speed[:n], look.side[:, :n]),
        joined["way"][:, :n],
        joined["part_peak"][model.parts, :n] > 0.0,
        obstacles,
    )
    row = {int(part): i for i, part in enumerate(model.parts)}
    return tuple(
        forecast_of(
            look,
            joined["way"][[row[p] for p in w.parts]].min(axis=0),
            w.hit(joined["part_peak"], look.obstacle),
            w.possible(look.obstacle),
            joined["weight"],
            obstacles,
            common,
        )
        for w in watched
    )


def _close(results: Iterator[Arrays]) -> None:
    close = getattr(results, "close", None)
    if close is not None:
        close()


def _digest(quad: Quad, scenario: Scenario, n: int, seed: int, dt: float, options: list[Any]) -> str:
    tables = sorted((m, p, d.value) for (m, p), d in rows().items())
    what = [ENGINE, quad.digest, scenario.digest, n, seed, dt, WINDOW, options, tables]
    return hashlib.sha256(json.dumps(what).encode()).hexdigest()
