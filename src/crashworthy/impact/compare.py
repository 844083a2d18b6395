"""Two builds, the same crashes: what breaks more, what breaks less, and is that sure.

Crash 17 of both builds meets the same obstacle at the same speed in the same attitude (common random numbers),
so what the crashes have in common drops out of the difference: for n paired differences d of the chances to
break, the error of the mean is sd(d)/sqrt(n), far less than that of two separate campaigns.

The interval of a difference holds three things: that sampling error; how well the strengths are known
(``tally.OPINIONS``, one opinion at a time for both builds); and the choice of contact points, measured by
crashing both builds again with more and with fewer points (``mesh``).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import contact_points
from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.cases import Case, Crasher, Runner, case_of
from crashworthy.impact.damage import Z90
from crashworthy.impact.summary import plain_numbers, plural_of
from crashworthy.impact.tally import Tally, belief, tally

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.tally import Belief

    Floats = NDArray[np.float64]

__all__ = ["FIRST", "INTERVAL", "MOST", "ArmChange", "Comparison", "Difference", "compare", "remeshed"]

FIRST: Final = 256
"""Crashes before the first look at an interval's width; they double from look to look."""

MOST: Final = 1_000_000
"""Further crashes that are worth speaking of."""

SURE: Final = 0.95
"""Chance of the sign at which a change is called known: the 90 % interval then leaves out zero."""

REMESH: Final = (-12, 12)
"""Contact points fewer and more, with which both builds are crashed again (assumption)."""

ARM_LOAD: Final = 0.01
"""Root load over strength below which an arm counts as not loaded."""

INTERVAL: Final = (
    "90 % interval of the difference; holds the sampling error of the paired crashes, how well the median "
    "strengths are known (the same for both builds) and the choice of contact points; holds neither the "
    "scenario's assumptions nor the contact model's"
)
"""What the intervals contain."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One part or one kind of part, of both builds.

    Attributes:
        name: of the part or kind.
        words: for a sentence ("arms", "front left arm").
        count_a, count_b: parts that can break; 0 when a build has none.
        a, b: breaks in 100 crashes.
        change, low, high: b minus a, with 90 % interval (``INTERVAL``).
        fewer: chance that b breaks less.
        more: further crashes that would settle the sign; 0 when it is settled, -1 when more crashes cannot.
        hit_a, hit_b: touches of the part, or of all parts of the kind, in 100 crashes.
        hit_change, hit_low, hit_high: of the touches, 90 % interval of the paired difference.
    """

    name: str
    words: str
    count_a: int
    count_b: int
    a: float
    b: float
    change: float
    low: float
    high: float
    fewer: float
    more: int
    hit_a: float
    hit_b: float
    hit_change: float
    hit_low: float
    hit_high: float

    @property
    def known(self) -> bool:
        """Whether the sign of the change is settled."""
        return self.more == 0

    def sentence(self, b: str) -> str:
        """In words, with numbers; ``b`` is the name of the second build."""
        if not self.count_a or not self.count_b:
            who = f"Only {b} has" if self.count_b else f"{b} has no"
            return f"{who} {self.words}: {self.b if self.count_b else self.a:.1f} break in 100 crashes."
        if self.a < 0.005 and self.b < 0.005:
            return f"{self.words[:1].upper()}{self.words[1:]} do not break."
        if self.change == self.low == self.high == 0.0:
            return f"{self.words[:1].upper()}{self.words[1:]}: no change, {self.a:.1f} break in 100 crashes."
        if not self.known:
            more = (
                f"about {_round(self.more)} more crashes"
                if self.more > 0
                else "more simulated crashes will not settle it, strengths and contact points leave more open"
            )
            return (
                f"{self.words[:1].upper()}{self.words[1:]}: cannot tell yet "
                f"({self.low:+.2g} to {self.high:+.2g} in 100): {more}."
            )
        size, low, high = abs(self.change), *sorted((abs(self.low), abs(self.high)))
        way = "fewer" if self.change < 0 else "more"
        return f"{b} breaks {_short(size)} ({_short(low)}-{_short(high)}) {way} {self.words} per 100 crashes."


@dataclass(frozen=True, slots=True)
class ArmChange:
    """How much harder or easier the arms of the second build work.

    Attributes:
        factor: root load over strength of the second build, over that of the first: exp of the mean difference
            of logarithms over crashes that load an arm of both builds.
        low, high: 90 % interval of the paired mean (sampling alone).
        crashes: that loaded an arm of both.
    """

    factor: float
    low: float
    high: float
    crashes: int

    def sentence(self, b: str) -> str:
        """In words, with numbers."""
        percent = [100.0 * (x - 1.0) for x in (self.factor, self.low, self.high)]
        if percent[1] <= 0.0 <= percent[2] or abs(percent[0]) < 0.5:
            return f"Arms of {b} work as close to their strength as before ({percent[1]:+.0f} to {percent[2]:+.0f} %)."
        way = "further from" if percent[0] < 0 else "closer to"
        low, high = sorted(abs(x) for x in percent[1:])
        return f"Arms of {b} work {abs(percent[0]):.0f} % ({low:.0f}-{high:.0f}) {way} their strength."


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two builds over the same crashes.

    Attributes:
        a, b: names of the builds.
        digest_a, digest_b: of the builds.
        n: crashes of each, common to both.
        asked: crashes allowed; more than ``n`` when the interval was narrow enough before.
        seed: of the crashes.
        kinds: every kind of part of either, the surest and largest change first.
        parts: every part of either by name, in the order of the builds.
        arms: how hard the arms work; None when a build has none or no crash loads them.
        mass_a, mass_b: kg.
        scenario: as plain data.
    """

    a: str
    b: str
    digest_a: str
    digest_b: str
    n: int
    asked: int
    seed: int
    kinds: tuple[Difference, ...]
    parts: tuple[Difference, ...]
    arms: ArmChange | None
    mass_a: float
    mass_b: float
    scenario: dict[str, Any]

    def kind(self, name: str) -> Difference:
        """The difference of one kind of part.

        Raises:
            KeyError: no part of either build is of that kind.
        """
        for row in self.kinds:
            if row.name == name:
                return row
        raise KeyError(name)

    def summary(self) -> str:
        """One sentence: the surest large changes, or that none can be told yet."""
        both = [d for d in self.kinds if d.count_a and d.count_b]
        known = [d for d in both if d.known and abs(d.change) >= 0.05]
        if not known:
            hopeful = [d.more for d in both if d.more > 0]
            more = f": about {_round(min(hopeful))} more crashes" if hopeful else ""
            return f"Cannot tell yet whether {self.b} breaks less than {self.a}{more}."
        words = [
            f"{_short(abs(d.change))} ({_short(min(abs(d.low), abs(d.high)))}-"
            f"{_short(max(abs(d.low), abs(d.high)))}) {'fewer' if d.change < 0 else 'more'} {d.words}"
            for d in known[:3]
        ]
        return f"In 100 crashes {self.b} breaks {', '.join(words)} than {self.a}."

    def sentences(self) -> tuple[str, ...]:
        """Every kind that breaks in either build, in words."""
        rows = [d.sentence(self.b) for d in self.kinds if max(d.a, d.b) >= 0.005]
        return tuple(rows + ([self.arms.sentence(self.b)] if self.arms is not None else []))

    def to_json(self) -> dict[str, Any]:
        """Plain data, numbers to nine significant digits."""
        data: dict[str, Any] = plain_numbers(
            {"summary": self.summary(), "sentences": self.sentences(), **asdict(self), "interval": INTERVAL}
        )
        return data


def _short(x: float) -> str:
    return f"{x:.0f}" if x >= 9.95 else f"{x:.1f}" if x >= 0.095 else f"{x:.2f}"


def _round(n: int) -> str:
    digits = max(0, len(str(n)) - 2)
    return str(round(n / 10**digits) * 10**digits)


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
        width: stop as soon as the sampling interval of every kind's difference is no wider than this, breaks per
            100 crashes; looked at after ``FIRST``, twice ``FIRST``, ... crashes.
        mesh: crash both builds again, half as often, with other contact points, so that the interval knows how
            much these matter; doubles the work.
        map_chunks: where the work is run; one after the other by default.
        progress: called with (crashes done, crashes expected).
        cancelled: asked before each result is taken.

    Raises:
        ScenarioError: a number is out of range, or a build cannot be crashed.
        CampaignCancelled: ``cancelled`` said so.
    """
    if n < 16:
        raise ScenarioError(Problem(f"{n} crashes tell nothing about a difference", "ask for 16 or more", field="n"))
    if width is not None and not width > 0.0:
        raise ScenarioError(Problem(f"an interval cannot be {width:g} wide", "give breaks per 100 crashes", field="width"))
    pair = [case_of(a, scenario, dt=dt), case_of(b, scenario, dt=dt)]
    total = 2 * n + (4 * max(1, n // 2) if mesh else 0)
    crasher = Crasher(seed, map_chunks, progress, cancelled, total)
    size = n if width is None else min(n, FIRST)
    while True:
        tallies = [tally(batch) for batch in crasher.crash(pair, size)]
        if size == n or (width is not None and _widest(*tallies) <= width):
            break
        size = min(n, 2 * size)
    noise = _mesh_noise(pair, tallies, crasher, max(2, size // 2)) if mesh else {}
    return _comparison(pair, tallies, noise, n, seed)


def _valid(a: Tally, b: Tally) -> NDArray[np.bool_]:
    good: NDArray[np.bool_] = a.valid & b.valid
    if good.sum() < 2:
        raise ScenarioError(
            Problem("every crash left the real numbers", "check the sizes and masses in the sheets", field="quad")
        )
    return good


def _widest(a: Tally, b: Tally) -> float:
    """Widest 90 % sampling interval among the kinds, breaks per 100 crashes."""
    good = _valid(a, b)
    widths = [0.0]
    for kind in a.kinds.keys() & b.kinds.keys():
        change = (b.kinds[kind] - a.kinds[kind])[:, good]
        widths.append(100.0 * 2.0 * Z90 * float(change.std(axis=1, ddof=1).max()) / float(np.sqrt(good.sum())))
    return max(widths)


def _mesh_noise(pair: list[Case], tallies: list[Tally], crasher: Crasher, n: int) -> dict[str, float]:
    """Standard deviation of the difference of each kind that the choice of contact points brings.

    Each mesh of a build carries a noise of its own, so the difference of two meshes of one build has twice
    its variance, and the difference of two builds the sum of theirs.
    """
    others = [remeshed(case, change) for case in pair for change in REMESH]
    found = [tally(batch) for batch in crasher.crash(others, n)]
    variance: dict[str, float] = {}
    for index, other in enumerate(found):
        own = tallies[index // len(REMESH)]
        good = own.valid[:n] & other.valid
        for kind, chances in own.kinds.items():
            change = (other.kinds[kind] - chances[:, :n])[:, good]
            # The square of a mean of few crashes holds their sampling variance, which is counted elsewhere.
            square = change.mean(axis=1) ** 2 - change.var(axis=1, ddof=1) / good.sum()
            each = max(0.0, float(np.mean(square))) / 2.0 / len(REMESH)
            variance[kind] = variance.get(kind, 0.0) + each
    return {kind: float(np.sqrt(v)) for kind, v in variance.items()}


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
