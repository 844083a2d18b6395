"""Is the new build tougher? Two builds side by side, in words first.

Both sides' crashes are weighed with the *same* simulated hazards, so that many scuffs do not look like
toughness; with each side's own hazards one would compare how well they are simulated, not how they break.
Without a crash test every crash counts the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.compare import RateRatio, p_fewer, rate_ratio
from crashworthy.upkeep.history import SEVERITIES

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from crashworthy.upkeep.history import CrashRow, QuadHistory

    Floats = NDArray[np.float64]

__all__ = ["SURE", "Side", "Tougher", "before_after", "compare_builds", "crashes_needed", "side_of"]

SURE: Final = 0.9
"""Probability from which an answer is called one (assumption)."""

POWER: Final = 0.8
"""Chance with which the crashes asked for shall give that answer (assumption)."""

_MOST: Final = 20_000


@dataclass(frozen=True, slots=True)
class Side:
    """One build's record.

    Attributes:
        name: in words.
        crashes: how many.
        breaks: of the parts in question.
        exposure: crashes weighed by severity; as many as the crashes when they are of the usual mix.
    """

    name: str
    crashes: int
    breaks: int
    exposure: float


@dataclass(frozen=True, slots=True)
class Tougher:
    """Answer for one set of parts.

    Attributes:
        item: which parts, in words.
        old, new: the two records.
        probability: that the new build breaks less often (Jeffreys priors).
        ratio: of the rates, new over old: (median, low, high), 90 %.
        exact: the ratio without a prior, 95 %, with its exact central p.
        needed: crashes on each build that would show a halving, or None beyond 20 000.
        weighed: whether severities were weighed by a crash test.
    """

    item: str
    old: Side
    new: Side
    probability: float
    ratio: tuple[float, float, float]
    exact: RateRatio
    needed: int | None
    weighed: bool

    @property
    def verdict(self) -> str:
        """tougher, weaker or cannot tell yet."""
        if self.probability >= SURE:
            return "tougher"
        return "weaker" if self.probability <= 1.0 - SURE else "cannot tell yet"

    def summary(self) -> str:
        """One sentence in words and counts."""
        middle, low, high = self.ratio
        counts = (
            f"{self.new.breaks} broke in {self.new.crashes} crashes of {self.new.name}, "
            f"{self.old.breaks} in {self.old.crashes} of {self.old.name}"
        )
        odds = _odds(self.probability)
        span = f"{middle:.2g} times as often ({low:.2g}-{min(high, 1e3):.2g})"
        if self.verdict == "tougher":
            return f"{odds} in 100 that {self.new.name} breaks fewer {self.item}: {span}; {counts}."
        if self.verdict == "weaker":
            return (
                f"{_odds(1 - self.probability)} in 100 that {self.new.name} breaks more {self.item}: {span}; "
                f"{counts}."
            )
        return (
            f"Cannot tell yet about {self.item}: {odds} in 100 that {self.new.name} breaks fewer; {counts}."
        )

    def change(self) -> str:
        """What would settle it."""
        if self.needed is None:
            return (
                f"Even {_MOST} crashes on each would hardly show a halving: pool with your crew, "
                "or compare in simulation."
            )
        more = max(self.needed - min(self.old.crashes, self.new.crashes), 0)
        tail = f"about {more} more" if more else "you have them"
        return f"A halving would show after some {self.needed} crashes on each build: {tail}."

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {
            "item": self.item,
            "summary": self.summary(),
            "change": self.change(),
            "verdict": self.verdict,
            "probability": self.probability,
            "ratio": list(self.ratio),
            "exact": {
                "ratio": _plain(self.exact.ratio),
                "low": self.exact.low,
                "high": _plain(self.exact.high),
                "p_value": self.exact.p_value,
            },
            "needed": self.needed,
            "weighed": self.weighed,
            **{
                which: {name: getattr(side, name) for name in side.__slots__}
                for which, side in (("old", self.old), ("new", self.new))
            },
        }


def _plain(x: float) -> float | None:
    return x if math.isfinite(x) else None


def _odds(probability: float) -> str:
    return f"{min(max(round(100 * probability), 1), 99)}"


@lru_cache(maxsize=64)
def crashes_needed(rate: float, ratio: float = 0.5, step: int = 50) -> int | None:
    """Crashes on each build after which the answer is most likely clear.

    The chance, over Poisson counts of both builds, that ``p_fewer`` reaches ``SURE`` is at least ``POWER``.

    Args:
        rate: breaks a crash of the old build.
        ratio: how many times as often the new one really breaks, below 1.
        step: answers are whole numbers of it.

    Returns:
        The least such number, or None beyond 20 000.

    Raises:
        JournalError: ``rate`` is not above 0, or ``ratio`` not between 0 and 1.
    """
    if not (rate > 0.0 and 0.0 < ratio < 1.0):
        raise JournalError(Problem("a rate above 0 and a ratio below 1 are needed", "give them"))
    low, high = 0, 1
    while _power(high * step, rate, ratio) < POWER:
        low, high = high, high * 2
        if high * step > 2 * _MOST:
            return None
    # The power saws up and down by a per cent or two, so the last steps are tried one by one.
    while high - low > 8:
        middle = (low + high) // 2
        low, high = (low, middle) if _power(middle * step, rate, ratio) >= POWER else (middle, high)
    for n in range(max(low - 8, 1), high + 1):
        if _power(n * step, rate, ratio) >= POWER:
            return n * step if n * step <= _MOST else None
    return None


def _power(crashes: float, rate: float, ratio: float) -> float:
    from scipy.special import betaincinv, pdtr, pdtrc

    mean_new, mean_old = crashes * rate * ratio, crashes * rate
    new = np.arange(int(mean_new + 8.0 * math.sqrt(mean_new) + 12.0))
    old = np.arange(int(mean_old + 8.0 * math.sqrt(mean_old) + 12.0))
    # With equal exposures the answer is clear when the Beta(new + 1/2, old + 1/2) has SURE below one half.
    clear = betaincinv(new[:, None] + 0.5, old[None, :] + 0.5, SURE) <= 0.5
    first = np.where(clear.any(axis=1), clear.argmax(axis=1), len(old))
    pmf = np.diff(np.concatenate([[0.0], pdtr(new, mean_new)]))
    tail = np.where(first > 0, pdtrc(first - 1.0, mean_old), 1.0)
    return float(pmf @ np.where(first < len(old), tail, 0.0))


def side_of(
    name: str,
    crashes: Sequence[CrashRow],
    parts: Sequence[str],
    weights: Floats | None = None,
) -> Side:
    """The record of some parts over some crashes.

    Args:
        name: of the build, in words.
        crashes: rows of the journal.
        parts: names of the parts in question.
        weights: (3,) weight of a scuff, a hit and a slam; all 1 when None.
    """
    chosen = set(parts)
    counts = np.array([sum(c.severity == s for c in crashes) for s in SEVERITIES], dtype=np.float64)
    broke = sum(len(chosen.intersection(c.broke)) for c in crashes)
    exposure = float(counts.sum() if weights is None else counts @ weights)
    return Side(name, len(crashes), broke, exposure)


def compare_builds(item: str, old: Side, new: Side, *, weighed: bool = False) -> Tougher:
    """Compare two records.

    Args:
        item: which parts, in words and plural.
        old: record of the old build.
        new: record of the new one, weighed in the same way.
        weighed: whether severities were weighed.

    Raises:
        JournalError: a side has no crash.
    """
    from scipy.special import betaincinv

    for side in (old, new):
        if side.crashes == 0 or side.exposure <= 0.0:
            raise JournalError(
                Problem(
                    f"{side.name} has no crash in the journal", "compare when both have flown and crashed"
                )
            )
    scale = old.exposure / new.exposure
    at = betaincinv(new.breaks + 0.5, old.breaks + 0.5, np.array([0.5, 0.05, 0.95]))
    ratio = tuple(float(x / (1.0 - x) * scale) for x in at)
    rate = (old.breaks + new.breaks + 0.5) / (old.crashes + new.crashes)
    return Tougher(
        item=item,
        old=old,
        new=new,
        probability=p_fewer(new.breaks, new.exposure, old.breaks, old.exposure),
        ratio=(ratio[0], ratio[1], ratio[2]),
        exact=rate_ratio(new.breaks, new.exposure, old.breaks, old.exposure),
        needed=crashes_needed(float(f"{rate:.2g}")),
        weighed=weighed,
    )


def severity_weights(
    hazards: Mapping[str, Sequence[float]], parts: Sequence[str], mix: Floats
) -> Floats | None:
    """Weight of a scuff, a hit and a slam for some parts, 1 on average over the mix; None when unknown.

    Args:
        hazards: simulated break hazards by part: scuff, hit, slam.
        parts: the parts.
        mix: (3,) share of each severity.
    """
    rows = [hazards[p] for p in parts if p in hazards]
    if not rows:
        return None
    total = np.asarray(rows, dtype=np.float64).sum(axis=0)
    middle = float(total @ mix)
    # A severity that never broke it in simulation still counts a little.
    return np.maximum(total / middle, 0.01) if middle > 0.0 else None


def before_after(history: QuadHistory, moment: datetime) -> tuple[tuple[CrashRow, ...], tuple[CrashRow, ...]]:
    """Crashes before a change of build and from then on."""
    before = tuple(c for c in history.crashes if c.occurred < moment)
    return before, history.crashes[len(before) :]
