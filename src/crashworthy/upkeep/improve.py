"""Which single change of a build is worth doing first: bench time and money saved, ranked, with its odds.

Every change is crashed against the build as it is, with common random numbers (``impact.compare``). A break
of a kind of part costs bench minutes and coins (``priors.toml`` [repair], [price]), so 100 crashes cost

    C = sum over kinds of (breaks of the kind) x (minutes of one)

and a change saves C(as it is) - C(changed). What is not sure about a saving:

* sampling: the covariance of the paired savings of all changes over the crashes, divided by their number;
* strengths: one of seven equally likely opinions for each kind of part, the same for every change;
* contact points of the parts that a change alters: the build as it is, crashed again with fewer and more of
  them (``compare.REMESH``); all other parts are touched at the same places (``matching``).

``DRAWS`` joint draws of the three give intervals, the chance that a change saves anything, and the chance
that it is the best. Prices and minutes are assumptions and are not drawn; ``flips`` says what they decide.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.assemble import assemble
from crashworthy.errors import CrashworthyError, Problem, ScenarioError
from crashworthy.impact.cases import Case, Crasher, Runner, case_of
from crashworthy.impact.compare import REMESH, mesh_changes, mesh_variance, remeshed
from crashworthy.impact.matching import matched
from crashworthy.impact.sensitivity import tornado
from crashworthy.impact.summary import plural_of
from crashworthy.impact.tally import OPINIONS, Tally, tally
from crashworthy.quantities import GRAM
from crashworthy.upkeep.changes import Change, candidates
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.ranking import BY, LeftOut, Ranked, Ranking, divisor

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.build.sheet import Sheet
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.sensitivity import Tornado
    from crashworthy.strength.correction import Corrections
    from crashworthy.upkeep.priors import BenchPrior, Priors

    Floats = NDArray[np.float64]

__all__ = ["improve"]

DRAWS: Final = 4000
"""Joint draws of what is not sure."""

LARGEST: Final = 20_000
"""Most crashes of each change: about 100 kB of memory for each."""

CLASH: Final = 10.0
"""Overlap of two parts, mm³, above which a change has no room; less is rounding of boxes (assumption)."""

RIVALS: Final = 3
"""Changes whose order the sensitivity analysis looks at."""

PRICE_FACTOR: Final = 2.0
"""Range of the bench minutes or coins of one kind in the flip analysis (assumption)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """One change, built."""

    change: Change
    quad: Quad
    case: Case
    altered: frozenset[str]


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
    tallies, alive = _race(start, trials, crasher, n, top, by, priors.bench)
    mesh = [tally(b) for b in crasher.crash([remeshed(start, change) for change in REMESH], max(2, n // 2))]
    racers = [trials[i] for i in alive]
    draw = _Draws(
        tallies[0],
        [tallies[1 + i] for i in alive],
        start,
        [t.altered for t in racers],
        mesh,
        priors.bench,
        seed,
    )
    ranked = sorted(draw.ranked(racers, by), key=lambda r: -r.score(by))
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
        dropped=tuple(trials[i].change.label for i in range(len(trials)) if i not in alive)
        + tuple(r.label for r in ranked[top:]),
        flips=draw.flips(racers, by),
        tornado=swing,
        scenario=start.scenario.to_json(),
    )


def _expected(trials: int, n: int, top: int, *, sensitivity: bool) -> int:
    racing = n + trials * (n // 4) + min(trials, 2 * top) * (n // 4) + min(trials, top) * (n // 2)
    settings = 24 * (1 + min(RIVALS, trials)) * max(64, n // 4) if sensitivity else 0
    return racing + 2 * (n // 2) + settings


def _overlaps(quad: Quad) -> dict[str, float]:
    """Overlaps that the assembly found, mm³, by the parts' names."""
    found = (re.fullmatch(r"(.*) overlap by (\d+) mm³.*", note) for note in quad.notes)
    return {m.group(1): float(m.group(2)) for m in found if m is not None}


def _trials(
    base: Quad, folder: Path | None, start: Case, changes: Sequence[Change]
) -> tuple[list[_Trial], list[LeftOut]]:
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
            trials.append(_Trial(change, quad, case, altered))
    return trials, left


def _strengths(case: Case) -> list[tuple[int, str, float, float]]:
    return [(c.part, c.mode, c.median, c.beta) for c in case.capacities]


def _race(
    start: Case, trials: list[_Trial], crasher: Crasher, n: int, top: int, by: str, bench: BenchPrior
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
        draw = _Draws(
            tallies[0],
            [tallies[1 + i] for i in alive],
            start,
            [trials[i].altered for i in alive],
            [],
            bench,
            crasher.seed,
        )
        scores = draw.scores([trials[i] for i in alive], by)
        low, high = np.quantile(scores, (0.01, 0.99), axis=0)
        bar = np.sort(low)[-top]
        alive = [i for place, i in enumerate(alive) if high[place] >= bar]
    return tallies, alive


class _Draws:
    """Joint draws of what every change saves in 100 crashes."""

    def __init__(
        self,
        base: Tally,
        changed: list[Tally],
        start: Case,
        altered: list[frozenset[str]],
        mesh: list[Tally],
        bench: BenchPrior,
        seed: int,
    ) -> None:
        """Take the tallies of the build and of its changes, all over the same crashes."""
        self._bench, self._mass = bench, start.quad.mass / GRAM
        self._kinds = tuple(dict.fromkeys(kind for t in (base, *changed) for kind in t.kinds))
        good = np.logical_and.reduce([base.valid, *(t.valid for t in changed)])
        if good.sum() < 2:
            raise ScenarioError(Problem("every crash left the real numbers", "check the sheet", field="quad"))
        none = np.zeros((len(OPINIONS), int(good.sum())))
        take: Callable[[Tally, str], Floats] = lambda t, k: t.kinds[k][:, good] if k in t.kinds else none  # noqa: E731
        self._base = np.array([take(base, k) for k in self._kinds])
        # (changes, kinds, opinions, n): breaks saved.
        self._saved = np.array([[take(base, k) - take(t, k) for k in self._kinds] for t in changed])
        # By change and mesh: breaks, (opinions, n) by kind, that other points on its altered parts bring.
        self._mesh = [mesh_changes(base, mesh, names) for names in altered]
        rng = np.random.default_rng([seed, 1])
        self._opinion = rng.integers(0, len(OPINIONS), (DRAWS, len(self._kinds)))
        self._normal = rng.standard_normal((DRAWS, len(changed)))
        self._normal_mesh = rng.standard_normal((DRAWS, len(changed) + 1))

    def _cost(self, what: str) -> Floats:
        table = self._bench.price if what == "coins" else self._bench.repair
        return np.array([table.get(kind, 0.0) for kind in self._kinds])

    def base_cost(self, what: str) -> float:
        """Bench minutes or coins that 100 crashes of the build as it is cost."""
        return 100.0 * float((self._cost(what)[:, None] * self._base.mean(axis=(1, 2))[:, None]).sum())

    def draws(self, what: str, cost: Floats | None = None) -> Floats:
        """(draws, changes) saved in 100 crashes."""
        weights = self._cost(what) if cost is None else cost
        if not len(self._saved):
            return np.zeros((DRAWS, 0))
        means = self._saved.mean(axis=3)
        total = np.zeros((DRAWS, len(means)))
        for k, weight in enumerate(weights):
            total += weight * means[:, k, :].T[self._opinion[:, k]]
        # Sampling: covariance of the changes' savings over the crashes, at the middle opinion.
        each = np.einsum("k,jkn->jn", weights, self._saved[:, :, len(OPINIONS) // 2, :])
        cov = np.atleast_2d(np.cov(each)) / each.shape[1]
        size, turn = np.linalg.eigh(cov)
        total += self._normal @ (turn * np.sqrt(np.maximum(size, 0.0))).T
        noise = np.array([self._mesh_sd(weights, changes) for changes in self._mesh])
        # The build as it is has one choice of points, each change another.
        total += noise * (self._normal_mesh[:, 1:] - self._normal_mesh[:, :1])
        return 100.0 * total

    def _mesh_sd(self, weights: Floats, meshes: list[dict[str, Floats]]) -> float:
        """Standard deviation that one choice of contact points on some parts gives the cost of a crash."""
        cost = dict(zip(self._kinds, weights, strict=True))
        squares = []
        for changes in meshes:
            moved = [cost.get(kind, 0.0) * change for kind, change in changes.items()]
            squares.append(mesh_variance(np.sum(moved, axis=0)) if moved else 0.0)
        return float(np.sqrt(np.mean(squares))) if squares else 0.0

    def scores(self, trials: Sequence[_Trial], by: str, cost: Floats | None = None) -> Floats:
        """(draws, changes) of what is ranked by."""
        saved = self.draws("coins" if by == "coins" else "minutes", cost)
        if by in ("minutes", "coins"):
            return saved
        spent = np.array([divisor(by, self._added(t), t.change.coins, t.change.minutes) for t in trials])
        shares: Floats = saved / spent
        return shares

    def _added(self, trial: _Trial) -> float:
        return trial.quad.mass / GRAM - self._mass

    def ranked(self, trials: Sequence[_Trial], by: str) -> list[Ranked]:
        """One row for each change."""
        if not trials:
            return []
        minutes, coins, scores = self.draws("minutes"), self.draws("coins"), self.scores(trials, by)
        best = np.bincount(scores.argmax(axis=1), minlength=len(trials)) / DRAWS
        rows = []
        for j, trial in enumerate(trials):
            low, high = np.quantile(minutes[:, j], (0.05, 0.95))
            coins_low, coins_high = np.quantile(coins[:, j], (0.05, 0.95))
            breaks = 100.0 * self._saved[j].mean(axis=(1, 2))
            notable = sorted(zip(self._kinds, breaks, strict=True), key=lambda kb: -abs(kb[1]))[:3]
            rows.append(
                Ranked(
                    key=trial.change.key,
                    label=trial.change.label,
                    edits=tuple(str(e) for e in trial.change.edits),
                    grams=self._added(trial),
                    coins=trial.change.coins,
                    fit_minutes=trial.change.minutes,
                    costs=trial.change.costs,
                    minutes=float(minutes[:, j].mean()),
                    low=float(low),
                    high=float(high),
                    coins_saved=float(coins[:, j].mean()),
                    coins_low=float(coins_low),
                    coins_high=float(coins_high),
                    helps=float((minutes[:, j] > 0.0).mean()),
                    best=float(best[j]),
                    fewer=tuple((plural_of(k), float(b)) for k, b in notable if abs(b) >= 0.05),
                )
            )
        return rows

    def flips(self, trials: Sequence[_Trial], by: str) -> tuple[str, ...]:
        """Bench minutes (or coins) of a kind at which another change becomes first."""
        if len(trials) < 2:
            return ()
        what = "coins" if by == "coins" else "minutes"
        usual = int(self.scores(trials, by).mean(axis=0).argmax())
        found = []
        for k, kind in enumerate(self._kinds):
            for factor in (1.0 / PRICE_FACTOR, PRICE_FACTOR):
                cost = self._cost(what)
                if cost[k] <= 0.0:
                    continue
                cost[k] *= factor
                scores = self.scores(trials, by, cost)
                first = int(scores.mean(axis=0).argmax())
                if first != usual:
                    unit = "coins" if by == "coins" else "bench minutes"
                    found.append(f"a broken {kind} cost {cost[k]:g} {unit} ({trials[first].change.label})")
        return tuple(found)
