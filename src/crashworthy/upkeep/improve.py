"""Which single change of a build is worth doing first: bench time and money saved, ranked, with its odds.

Every change is crashed against the build as it is, with common random numbers (``impact.compare``). A break
of a kind of part costs bench minutes and coins (``priors.toml`` [repair], [price]), so 100 crashes cost

    C = sum over kinds of (breaks of the kind) x (minutes of one)

and a change saves C(as it is) - C(changed). What is not sure about a saving:

* sampling: the covariance of the paired savings of all changes over the crashes, divided by their number;
* strengths: one of seven equally likely opinions for each kind of part, the same for every change;
* contact points of the parts that a change alters: the build as it is, crashed again with fewer and more of
  them (``compare.REMESH``); all other parts are touched at the same places (``matching``).

``draws.DRAWS`` joint draws of the three give intervals, the chance that a change saves anything, and the
chance that it is the best. Prices and minutes are assumptions and are not drawn; ``flips`` says what they
decide. With a journal the same draws are joined with how often this quad crashes and breaks (``joined``).
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.assemble import assemble
from crashworthy.errors import CrashworthyError, Problem, ScenarioError
from crashworthy.impact.cases import Case, Crasher, Runner, case_of
from crashworthy.impact.compare import REMESH, remeshed
from crashworthy.impact.matching import matched
from crashworthy.impact.sensitivity import tornado
from crashworthy.impact.tally import Tally, tally
from crashworthy.upkeep.changes import candidates
from crashworthy.upkeep.draws import Draws, Trial
from crashworthy.upkeep.edits import Change
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.ranking import BY, PACKS, LeftOut, Ranking
from crashworthy.upkeep.rides import ride

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.build.sheet import Sheet
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.sensitivity import Tornado
    from crashworthy.strength.correction import Corrections
    from crashworthy.upkeep.joined import Lived
    from crashworthy.upkeep.priors import BenchPrior, Priors
    from crashworthy.upkeep.rides import Ride

    Floats = NDArray[np.float64]

__all__ = ["improve"]

LARGEST: Final = 20_000
"""Most crashes of each change: about 100 kB of memory for each."""

CLASH: Final = 10.0
"""Overlap of two parts, mm³, above which a change has no room; less is rounding of boxes (assumption)."""

SETTINGS: Final = 32
"""Ends of uncertain parameters that are crashed, about; only for the progress that is expected."""

RIVALS: Final = 3
"""Changes whose order the sensitivity analysis looks at."""


def improve(
    sheet: Sheet,
    folder: Path | None = None,
    n: int = 1000,
    seed: int = 1,
    *,
    top: int = 10,
    by: str = "minutes",
    own: Sequence[Change] = (),
    changes: Sequence[Change] | None = None,
    scenario: Scenario | None = None,
    priors: Priors | None = None,
    strengths: Corrections | None = None,
    lived: Lived | None = None,
    sensitivity: bool = True,
    dt: float = 1e-5,
    map_chunks: Runner | None = None,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Ranking:
    """Rank single changes of a build by what they save.

    All changes are crashed n/4 times, those that may still be among the ``top`` n/2 and then n times; who is
    dropped early stays in the list with fewer crashes.

    Args:
        sheet: the build as it is.
        folder: where its drawings lie.
        n: crashes of the build and of each change that stays in the race.
        seed: 0 <= seed < 2**64.
        top: how many to rank with full care.
        by: what to rank by, one of ``ranking.BY``.
        own: changes of one's own, tried beside the others.
        changes: what to try; ``changes.candidates(sheet)`` by default.
        scenario: what is hit; the assumed everyday mix by default.
        priors: bench minutes and prices; the packaged assumptions by default.
        strengths: factors on the tabled strengths by kind of part, the same for every change.
        lived: what the journal says of this quad, for savings in packs; without, in crashes alone.
        sensitivity: move the uncertain parameters too, to say when the order flips; about doubles the work.
        dt: time step, s.
        map_chunks: where the work is run; one after the other by default.
        progress: called with (crashes done, crashes expected).
        cancelled: asked before each result is taken.

    Raises:
        ScenarioError: a number is out of range, or the build cannot be crashed.
        SheetError, DrawingError: the build itself cannot be made.
        CampaignCancelled: ``cancelled`` said so.
    """
    if n < 64:
        raise ScenarioError(Problem(f"{n} crashes cannot rank anything", "ask for 64 or more", field="n"))
    if n > LARGEST:
        raise ScenarioError(
            Problem(f"{n} crashes of each are too many", f"ask for up to {LARGEST}", field="n")
        )
    if by not in BY:
        raise ScenarioError(Problem(f"cannot rank by {by!r}", f"use one of {', '.join(BY)}", field="by"))
    if by in PACKS and lived is None:
        raise ScenarioError(
            Problem(f"{BY[by]} need a journal", "name a quad of the fleet with packs and crashes", field="by")
        )
    if top < 1:
        raise ScenarioError(Problem(f"a list of the first {top}", "ask for 1 or more", field="top"))
    priors = priors or load_priors()
    base = assemble(sheet, folder)
    start = case_of(base, scenario, dt=dt, strengths=strengths)
    trials, left = _trials(
        base,
        folder,
        start,
        [*own, *(candidates(sheet, priors) if changes is None else changes)],
    )
    crasher = Crasher(
        seed, map_chunks, progress, cancelled, _expected(len(trials), n, top, sensitivity=sensitivity)
    )
    tallies, alive = _race(start, trials, crasher, n, top, by, priors.bench, lived)
    alive, rides = _ridden(start, trials, alive, crasher, n, left)
    mesh = [tally(b) for b in crasher.crash([remeshed(start, change) for change in REMESH], max(2, n // 2))]
    racers = [trials[i] for i in alive]
    draw = Draws(
        tallies[0],
        [tallies[1 + i] for i in alive],
        start,
        [t.altered for t in racers],
        mesh,
        priors.bench,
        seed,
        lived,
    )
    rows = [
        replace(row, rides=rides.get(row.key, ()))
        for row in draw.ranked(racers, by, base, _seconds_a_gram(base))
    ]
    ranked = sorted(rows, key=lambda r: -r.score(by))
    winners = [next(t for t in racers if t.change.key == r.key) for r in ranked[:RIVALS]]
    swing: Tornado | None = None
    if sensitivity and winners:
        # Coins are only asked for when they rank; else bench minutes decide.
        cost = priors.bench.price if by == "coins" else priors.bench.repair
        swing = tornado(
            start,
            max(64, n // 4),
            crasher=crasher,
            others=[(t.change.label, t.case) for t in winners],
            cost=cost,
            unit="coins" if by == "coins" else "bench minutes",
        )
    return Ranking(
        quad=base.name,
        digest=base.digest,
        n=n,
        seed=seed,
        by=by,
        tried=len(trials),
        minutes=draw.base_cost("minutes"),
        coins=draw.base_cost("coins"),
        rows=tuple(ranked[:top]),
        left_out=tuple(left),
        dropped=tuple(
            t.change.label
            for i, t in enumerate(trials)
            if i not in alive and all(t.change.label != x.label for x in left)
        )
        + tuple(r.label for r in ranked[top:]),
        flips=draw.flips(racers, by),
        tornado=swing,
        scenario=start.scenario.to_json(),
        lived=None if lived is None else lived.summary(),
    )


def _seconds_a_gram(quad: Quad) -> float:
    """Seconds of hover that one more gram costs; 0 where the sheet does not say enough."""
    from crashworthy.strength.flight import flight_budget

    try:
        return flight_budget(quad).gram
    except CrashworthyError:
        return 0.0


def _expected(trials: int, n: int, top: int, *, sensitivity: bool) -> int:
    racing = n + trials * (n // 4) + min(trials, 2 * top) * (n // 4) + min(trials, top) * (n // 2)
    settings = SETTINGS * (1 + min(RIVALS, trials)) * max(64, n // 4) if sensitivity else 0
    return racing + 2 * (n // 2) + settings


def _overlaps(quad: Quad) -> dict[str, float]:
    """Overlaps that the assembly found, mm³, by the parts' names."""
    found = (re.fullmatch(r"(.*) overlap by (\d+) mm³.*", note) for note in quad.notes)
    return {m.group(1): float(m.group(2)) for m in found if m is not None}


def _trials(
    base: Quad, folder: Path | None, start: Case, changes: Sequence[Change]
) -> tuple[list[Trial], list[LeftOut]]:
    """Build every change; leave out what cannot be built, has no room or makes no difference."""
    trials, left = [], []
    before = _overlaps(base)
    for change in changes:
        try:
            quad, altered = matched(base, assemble(change.apply(base.sheet), folder))
            case = case_of(quad, start.scenario, dt=start.dt, strengths=start.strengths)
        except CrashworthyError as error:
            left.append(LeftOut(change.label, f"cannot be built: {error.problems[0].what}"))
            continue
        clashes = {k: v for k, v in _overlaps(quad).items() if v > before.get(k, 0.0) + CLASH}
        if clashes and change.sheet is None:
            worst = max(clashes, key=lambda k: clashes[k])
            left.append(LeftOut(change.label, f"no room: {worst} would overlap by {clashes[worst]:.0f} mm³"))
        elif case.digest == start.digest and _strengths(case) == _strengths(start):
            left.append(LeftOut(change.label, "the crash model sees no difference"))
        else:
            trials.append(Trial(change, quad, case, altered))
    return trials, left


def _ridden(
    start: Case, trials: list[Trial], alive: list[int], crasher: Crasher, n: int, left: list[LeftOut]
) -> tuple[list[int], dict[str, tuple[Ride, ...]]]:
    """Travel and shock on the mounts that changes alter, by key; what needs too much way is left out.

    The crashes are those of the race, kept.
    """
    stay, told = [], {}
    for i in alive:
        change, case = trials[i].change, trials[i].case
        if change.rides:
            batch, changed = crasher.crash([start, case], n)
            told[change.key] = tuple(ride(part, start, batch, case, changed) for part in change.rides)
            why = "; ".join(r.too_far for r in told[change.key] if r.too_far)
            if why:
                left.append(LeftOut(change.label, why))
                continue
        stay.append(i)
    return stay, told


def _strengths(case: Case) -> list[tuple[int, str, float, float]]:
    return [(c.part, c.mode, c.median, c.beta) for c in case.capacities]


def _race(
    start: Case,
    trials: list[Trial],
    crasher: Crasher,
    n: int,
    top: int,
    by: str,
    bench: BenchPrior,
    lived: Lived | None,
) -> tuple[list[Tally], list[int]]:
    """Crash in three rounds, dropping what is surely not among the first; tallies of all, and who is left."""
    alive = list(range(len(trials)))
    tallies: list[Tally] = []
    for size in (max(32, n // 4), max(48, n // 2), n):
        cases = [start, *(trials[i].case for i in alive)]
        found = [tally(batch) for batch in crasher.crash(cases, size)]
        tallies = tallies or [found[0]] * (1 + len(trials))
        for place, one in zip([0, *(1 + i for i in alive)], found, strict=True):
            tallies[place] = one
        if size == n or len(alive) <= top:
            continue
        draw = Draws(
            tallies[0],
            [tallies[1 + i] for i in alive],
            start,
            [trials[i].altered for i in alive],
            [],
            bench,
            crasher.seed,
            lived,
        )
        scores = draw.scores([trials[i] for i in alive], by)
        low, high = np.quantile(scores, (0.01, 0.99), axis=0)
        bar = np.sort(low)[-top]
        alive = [i for place, i in enumerate(alive) if high[place] >= bar]
    return tallies, alive
