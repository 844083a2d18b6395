"""What the answer hangs on: each uncertain parameter at both ends of its range, the same crashes every time.

One parameter is moved at a time, all else at its best estimate. Seen are a build's score (breaks, or whatever
a break is said to cost) and, when other builds are given, how much each of them saves and which saves most.
The bars of one build, longest first, are called a tornado.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.cases import Case, Crasher
from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.damage import Z90, part_chances
from crashworthy.impact.summary import plain_numbers, plural_of
from crashworthy.impact.uncertain import Parameter, parameters

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

    Floats = NDArray[np.float64]

__all__ = ["Bar", "Flip", "Tornado", "tornado"]


@dataclass(frozen=True, slots=True)
class Bar:
    """One parameter at both ends.

    Attributes:
        key, words, low_words, high_words, source: of the parameter.
        low, high: score of the build in 100 crashes at the parameter's ends.
        saved_low, saved_high: what each other build saves of it, in their order.
    """

    key: str
    words: str
    low_words: str
    high_words: str
    source: str
    low: float
    high: float
    saved_low: tuple[float, ...]
    saved_high: tuple[float, ...]

    @property
    def span(self) -> float:
        """How far the score moves."""
        return abs(self.high - self.low)


@dataclass(frozen=True, slots=True)
class Flip:
    """An end of a parameter at which another build saves most.

    Attributes:
        key, side: of the parameter, "low" or "high".
        words: parameter and end.
        first: name of the build that saves most there.
        saved: what it saves in 100 crashes.
        instead: what the usual first one saves there.
    """

    key: str
    side: str
    words: str
    first: str
    saved: float
    instead: float


@dataclass(frozen=True, slots=True)
class Tornado:
    """Sensitivity of a build's score and of the order of some others.

    Attributes:
        quad: name of the build.
        unit: of the score ("breaks", "bench minutes").
        n, seed: crashes for each setting.
        base: score in 100 crashes at the best estimates.
        names: of the other builds.
        saved: what each saves at the best estimates.
        bars: longest first.
        flips: ends at which another build saves most, beyond the sampling error.
    """

    quad: str
    unit: str
    n: int
    seed: int
    base: float
    names: tuple[str, ...]
    saved: tuple[float, ...]
    bars: tuple[Bar, ...]
    flips: tuple[Flip, ...]

    def summary(self) -> str:
        """One sentence: what moves the score most, and whether the order holds."""
        longest = self.bars[0]
        text = (
            f"{self.base:.1f} {self.unit} in 100 crashes; {longest.words} moves that most, "
            f"{min(longest.low, longest.high):.1f} to {max(longest.low, longest.high):.1f}."
        )
        return f"{text} {self.order()}" if len(self.names) > 1 else text

    def order(self) -> str:
        """When another of the builds saves most, in words; "" with fewer than two of them."""
        if len(self.names) < 2:
            return ""
        first = self.names[int(np.argmax(self.saved))]
        ends = 2 * len(self.bars)
        if not self.flips:
            return (
                f"The order does not flip: {first} stays first at all {ends} ends of {len(self.bars)} "
                "uncertain ranges."
            )
        shown = [
            f"{f.words} ({f.first} then saves {f.saved:.1f}, not {f.instead:.1f})" for f in self.flips[:3]
        ]
        rest = f", and {len(self.flips) - 3} more" if len(self.flips) > 3 else ""
        return (
            f"The order flips at {len(self.flips)} of {ends} ends: {first} is first except with "
            f"{'; '.join(shown)}{rest}."
        )

    def flipped(self, bar: Bar) -> str:
        """Which other build saves most at an end of a bar, in words; "" where the order holds."""
        told = [f"{f.first} at the {f.side} end" for f in self.flips if f.key == bar.key]
        return " and ".join(told)

    def to_json(self) -> dict[str, Any]:
        """Plain data, numbers to nine significant digits."""
        data: dict[str, Any] = plain_numbers(
            {"summary": self.summary(), "order": self.order(), **asdict(self)}
        )
        return data


def _scores(batch: CrashBatch, case: Case, cost: Mapping[str, float]) -> Floats:
    """(n,) 100 times the cost of the breaks of each crash; NaN where it left the real numbers."""
    chances = part_chances(batch, case.capacities)
    total = sum((cost.get(batch.parts[i][2], 0.0) * x for i, x in chances.items()), np.zeros(batch.n))
    return np.where((batch.flags & FLAG_INVALID) == 0, 100.0 * total, np.nan)


def tornado(
    case: Case,
    n: int,
    *,
    crasher: Crasher,
    others: Sequence[tuple[str, Case]] = (),
    cost: Mapping[str, float] | None = None,
    unit: str = "breaks",
    only: Sequence[str] = (),
) -> Tornado:
    """Move every uncertain parameter to both ends.

    Args:
        case: the build.
        n: crashes for each setting; every setting meets the same ones.
        crasher: where they are run, and the seed.
        others: builds to hold against it, with their names.
        cost: of one break, by kind of part; 1 for every kind by default.
        unit: of that cost, in words.
        only: keys of the parameters to move; all by default.

    Raises:
        ScenarioError: ``only`` names no parameter, or ``n`` is out of range.
        CampaignCancelled: the caller asked to stop.
    """
    kinds = {case.quad.parts[c.part].kind: "" for c in case.capacities}
    costs = dict.fromkeys(kinds, 1.0) if cost is None else dict(cost)
    moved = parameters({k: plural_of(k) for k in kinds if costs.get(k, 0.0) > 0.0}, case)
    if only:
        moved = tuple(p for p in moved if p.key in only)
        if not moved:
            raise ScenarioError(
                Problem(f"no parameter is called {', '.join(only)}", "leave it out", field="only")
            )
    everyone = [case, *(c for _, c in others)]
    settings: list[tuple[Parameter | None, str, list[Case]]] = [(None, "", everyone)]
    settings += [(p, side, [p.at(c, side) for c in everyone]) for p in moved for side in ("low", "high")]
    flat = [c for _, _, cases in settings for c in cases]
    batches = crasher.crash(flat, n)
    each = np.array([_scores(b, c, costs) for b, c in zip(batches, flat, strict=True)])
    each = each.reshape(len(settings), len(everyone), n)
    each = each[..., np.isfinite(each).all(axis=(0, 1))]
    scores, saves = each.mean(axis=2), each[:, :1] - each[:, 1:]
    saved = saves.mean(axis=2)
    names = tuple(name for name, _ in others)
    bars = tuple(
        Bar(
            p.key, p.words, p.low, p.high, p.source,
            float(scores[1 + 2 * i, 0]), float(scores[2 + 2 * i, 0]),
            tuple(float(x) for x in saved[1 + 2 * i]), tuple(float(x) for x in saved[2 + 2 * i]),
        )
        for i, p in enumerate(moved)
    )  # fmt: skip
    return Tornado(
        quad=case.quad.name,
        unit=unit,
        n=n,
        seed=crasher.seed,
        base=float(scores[0, 0]),
        names=names,
        saved=tuple(float(x) for x in saved[0]),
        bars=tuple(sorted(bars, key=lambda b: -b.span)),
        flips=_flips(names, bars, saves) if len(names) > 1 else (),
    )


def _flips(names: tuple[str, ...], bars: tuple[Bar, ...], saves: Floats) -> tuple[Flip, ...]:
    """Ends at which another build saves more, by more than the paired crashes' sampling error."""
    saved = saves.mean(axis=2)
    usual = int(np.argmax(saved[0]))
    flips = []
    for row, (bar, side) in enumerate([(bar, side) for bar in bars for side in ("low", "high")], start=1):
        first = int(np.argmax(saved[row]))
        ahead = saves[row, first] - saves[row, usual]
        error = Z90 * float(ahead.std(ddof=1)) / math.sqrt(len(ahead)) if len(ahead) > 1 else math.inf
        if first != usual and float(ahead.mean()) > error:
            end = bar.low_words if side == "low" else bar.high_words
            flips.append(
                Flip(
                    bar.key,
                    side,
                    f"{bar.words} {end}",
                    names[first],
                    float(saved[row, first]),
                    float(saved[row, usual]),
                )
            )
    return tuple(sorted(flips, key=lambda f: f.instead - f.saved))
