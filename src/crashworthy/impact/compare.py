"""Two builds, the same crashes: what breaks more, what breaks less, and is that sure.

Crash 17 of both builds meets the same obstacle at the same speed in the same attitude (common random
numbers), so what the crashes have in common drops out of the difference: for n paired differences d of the
chances to break, the error of the mean is sd(d)/sqrt(n), far less than that of two separate campaigns.

The interval of a difference holds three things: that sampling error; how well the strengths are known
(``tally.OPINIONS``, one opinion at a time for both builds); and the choice of contact points, measured by
crashing both builds again with more and with fewer points (``mesh``).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import contact_points
from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.cases import Case, Crasher, Runner, case_of
from crashworthy.impact.damage import Z90
from crashworthy.impact.differences import ArmChange, Comparison, Difference
from crashworthy.impact.matching import matched
from crashworthy.impact.summary import plural_of
from crashworthy.impact.tally import Tally, belief, tally

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.tally import Belief
    from crashworthy.strength.correction import Corrections

    Floats = NDArray[np.float64]

__all__ = [
    "FIRST",
    "MOST",
    "REMESH",
    "Comparison",
    "compare",
    "mesh_changes",
    "mesh_variance",
    "remeshed",
]

FIRST: Final = 256
"""Crashes before the first look at an interval's width; they double from look to look."""

MOST: Final = 1_000_000
"""Further crashes that are worth speaking of."""

LARGEST: Final = 200_000
"""Most crashes of each build: about 5 kB of memory for each pair of crashes."""

SURE: Final = 0.95
"""Chance of the sign at which a change is called known: the 90 % interval then leaves out zero."""

REMESH: Final = (-12, 12)
"""Contact points fewer and more, with which both builds are crashed again (assumption)."""

ARM_LOAD: Final = 0.01
"""Root load over strength below which an arm counts as not loaded."""


def remeshed(case: Case, change: int) -> Case:
    """The same build with about ``change`` more contact points: equal physics, other places of touch."""
    quad = case.quad
    points = contact_points(quad.parts, quad.arms, max(1, len(quad.points) + change))
    other = case_of(replace(quad, points=points), case.scenario, dt=case.dt)
    return replace(case, model=other.model)


def compare(
    a: Quad,
    b: Quad,
    n: int,
    seed: int = 0,
    scenario: Scenario | None = None,
    *,
    dt: float = 1e-5,
    width: float | None = None,
    mesh: bool = True,
    strengths: Corrections | None = None,
    map_chunks: Runner | None = None,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Comparison:
    """Crash two builds with common random numbers.

    Args:
        a: first build, the one that is compared with.
        b: second build.
        n: most crashes of each.
        seed: 0 <= seed < 2**64.
        scenario: what both meet; the assumed everyday mix by default.
        dt: time step, s.
        width: stop as soon as the sampling interval of every kind's difference is no wider than this, breaks
            per 100 crashes; looked at after ``FIRST``, twice ``FIRST``, ... crashes.
        mesh: crash both builds again, half as often, with other contact points, so that the interval knows
            how much these matter; doubles the work, and is not needed where no part is altered.
        strengths: factors on the tabled strengths by kind of part, the same for both.
        map_chunks: where the work is run; one after the other by default.
        progress: called with (crashes done, crashes expected).
        cancelled: asked before each result is taken.

    Raises:
        ScenarioError: a number is out of range, or a build cannot be crashed.
        CampaignCancelled: ``cancelled`` said so.
    """
    if n < 16:
        raise ScenarioError(
            Problem(f"{n} crashes tell nothing about a difference", "ask for 16 or more", field="n")
        )
    if n > LARGEST:
        raise ScenarioError(
            Problem(f"{n} crashes of each are too many", f"ask for up to {LARGEST}", field="n")
        )
    if width is not None and not width > 0.0:
        raise ScenarioError(
            Problem(f"an interval cannot be {width:g} wide", "give breaks per 100 crashes", field="width")
        )
    twin, altered = matched(a, b)
    pair = [case_of(quad, scenario, dt=dt, strengths=strengths) for quad in (a, twin)]
    total = 2 * n + (4 * max(1, n // 2) if mesh else 0)
    crasher = Crasher(seed, map_chunks, progress, cancelled, total)
    size = n if width is None else min(n, FIRST)
    while True:
        tallies = [tally(batch) for batch in crasher.crash(pair, size)]
        if size == n or (width is not None and _widest(*tallies) <= width):
            break
        size = min(n, 2 * size)
    noise = _mesh_noise(pair, tallies, altered, crasher, max(2, size // 2)) if mesh and altered else {}
    return _comparison(pair, tallies, noise, n, seed)


def _valid(a: Tally, b: Tally) -> NDArray[np.bool_]:
    good: NDArray[np.bool_] = a.valid & b.valid
    if good.sum() < 2:
        raise ScenarioError(
            Problem(
                "every crash left the real numbers", "check the sizes and masses in the sheets", field="quad"
            )
        )
    return good


def _widest(a: Tally, b: Tally) -> float:
    """Widest 90 % sampling interval among the kinds, breaks per 100 crashes."""
    good = _valid(a, b)
    widths = [0.0]
    for kind in a.kinds.keys() & b.kinds.keys():
        change = (b.kinds[kind] - a.kinds[kind])[:, good]
        widths.append(
            100.0 * 2.0 * Z90 * float(change.std(axis=1, ddof=1).max()) / float(np.sqrt(good.sum()))
        )
    return max(widths)


def mesh_changes(base: Tally, others: Sequence[Tally], altered: Collection[str]) -> list[dict[str, Floats]]:
    """What other contact points on the ``altered`` parts do to the breaks of each kind.

    Returns:
        For each of ``others`` (the same build with other points), by kind: (opinions, n) change.
    """
    kinds = {name: kind for name, _, kind in base.batch.parts}
    found = []
    for other in others:
        n = other.batch.n
        good = base.valid[:n] & other.valid
        change: dict[str, Floats] = {}
        for name in altered:
            if name in base.parts and name in other.parts:
                moved = (other.parts[name] - base.parts[name][:, :n])[:, good]
                kind = kinds[name]
                change[kind] = change[kind] + moved if kind in change else moved
        found.append(change)
    return found


def mesh_variance(change: Floats) -> float:
    """Variance that one choice of contact points brings, from (opinions, n) changes between two choices.

    Each choice carries a noise of its own, so the difference of two has twice its variance; the square of a
    mean of few crashes also holds their sampling variance, which is counted elsewhere.
    """
    square = change.mean(axis=1) ** 2 - change.var(axis=1, ddof=1) / change.shape[1]
    return max(0.0, float(square.mean())) / 2.0


def _mesh_noise(
    pair: list[Case], tallies: list[Tally], altered: Collection[str], crasher: Crasher, n: int
) -> dict[str, float]:
    """Standard deviation of the difference of each kind that the choice of contact points brings."""
    others = [remeshed(case, change) for case in pair for change in REMESH]
    found = [tally(batch) for batch in crasher.crash(others, n)]
    variance: dict[str, float] = {}
    for build, own in enumerate(tallies):
        mine = found[build * len(REMESH) : (build + 1) * len(REMESH)]
        for changes in mesh_changes(own, mine, altered):
            for kind, change in changes.items():
                variance[kind] = variance.get(kind, 0.0) + mesh_variance(change) / len(REMESH)
    return {kind: math.sqrt(v) for kind, v in variance.items()}


def _comparison(
    pair: list[Case], tallies: list[Tally], noise: dict[str, float], asked: int, seed: int
) -> Comparison:
    a, b = tallies
    good = _valid(a, b)
    names = {kind: plural_of(kind) for kind in [*a.kinds, *b.kinds]}
    hits_a, hits_b = (_kind_hits(t) for t in tallies)
    counts_a, counts_b = a.counts, b.counts
    kinds = [
        _difference(
            kind,
            words,
            (a.kinds.get(kind), b.kinds.get(kind)),
            (hits_a.get(kind), hits_b.get(kind)),
            (counts_a.get(kind, 0), counts_b.get(kind, 0)),
            good,
            noise.get(kind, 0.0),
        )
        for kind, words in names.items()
    ]
    kinds.sort(key=lambda d: (not (d.known and d.count_a and d.count_b), -abs(d.change), d.name))
    labels = {name: (label, kind) for t in tallies for name, label, kind in t.batch.parts}
    part_hits = [
        {name: t.batch.part_peak[i] > 0.0 for i, (name, _, _) in enumerate(t.batch.parts)} for t in tallies
    ]
    parts = [
        _difference(
            name,
            label,
            (a.parts.get(name), b.parts.get(name)),
            (part_hits[0].get(name), part_hits[1].get(name)),
            (int(name in a.parts), int(name in b.parts)),
            good,
            # A part carries at most the noise of its kind.
            noise.get(kind, 0.0),
        )
        for name, (label, kind) in labels.items()
        if name in a.parts or name in b.parts
    ]
    quads = [case.quad for case in pair]
    same = quads[0].name == quads[1].name
    return Comparison(
        a=quads[0].name + (" as it is" if same else ""),
        b=quads[1].name + (" changed" if same else ""),
        digest_a=quads[0].digest,
        digest_b=quads[1].digest,
        n=a.batch.n,
        asked=asked,
        seed=seed,
        kinds=tuple(kinds),
        parts=tuple(parts),
        arms=_arms(a, b, good),
        mass_a=quads[0].mass,
        mass_b=quads[1].mass,
        scenario=a.batch.scenario,
    )


def _kind_hits(t: Tally) -> dict[str, Floats]:
    """(n,) touched parts of each kind."""
    hits: dict[str, Floats] = {}
    for index, (_, _, kind) in enumerate(t.batch.parts):
        touched = (t.batch.part_peak[index] > 0.0).astype(np.float64)
        hits[kind] = hits[kind] + touched if kind in hits else touched
    return hits


def _difference(
    name: str,
    words: str,
    chances: tuple[Floats | None, Floats | None],
    hits: tuple[Any, Any],
    counts: tuple[int, int],
    good: NDArray[np.bool_],
    noise: float,
) -> Difference:
    shape = next(x for x in chances if x is not None)
    a, b = ((np.zeros_like(shape) if x is None else x)[:, good] for x in chances)
    hit_a, hit_b = ((np.zeros(len(good)) if x is None else x.astype(np.float64))[good] for x in hits)
    change: Belief = belief(b - a, noise)
    settled = change.more(SURE, change.n + MOST)
    moved = hit_b - hit_a
    error = Z90 * float(moved.std(ddof=1)) / float(np.sqrt(len(moved)))
    still = not (b - a).any()
    low, high = (0.0, 0.0) if still else (change.quantile(0.05), change.quantile(0.95))
    return Difference(
        name=name,
        words=words,
        count_a=counts[0],
        count_b=counts[1],
        a=100.0 * float(a.mean()),
        b=100.0 * float(b.mean()),
        change=100.0 * change.mean,
        low=100.0 * low,
        high=100.0 * high,
        fewer=0.5 if still else change.below(0.0),
        more=-1 if settled is None or still else settled,
        hit_a=100.0 * float(hit_a.mean()),
        hit_b=100.0 * float(hit_b.mean()),
        hit_change=100.0 * float(moved.mean()),
        hit_low=100.0 * (float(moved.mean()) - error),
        hit_high=100.0 * (float(moved.mean()) + error),
    )


def _arms(a: Tally, b: Tally, good: NDArray[np.bool_]) -> ArmChange | None:
    """Mean over the crashes of the mean over the arms loaded in both of ln(use b / use a)."""
    shared = min(len(a.batch.arm_parts), len(b.batch.arm_parts))
    use_a, use_b = (t.batch.arm_moment[:shared, 2][:, good].astype(np.float64) for t in (a, b))
    both = (use_a > ARM_LOAD) & (use_b > ARM_LOAD)
    loaded = both.any(axis=0)
    if loaded.sum() < 2:
        return None
    log = np.where(both, np.log(np.where(both, use_b, 1.0) / np.where(both, use_a, 1.0)), 0.0)
    each = log.sum(axis=0)[loaded] / both.sum(axis=0)[loaded]
    mean, error = float(each.mean()), Z90 * float(each.std(ddof=1)) / float(np.sqrt(len(each)))
    low, middle, high = (float(np.exp(x)) for x in (mean - error, mean, mean + error))
    return ArmChange(middle, low, high, int(loaded.sum()))
