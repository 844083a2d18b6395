"""What a crew knows together: break rates and screw lives of several quads, pooled; counts alone leave home.

A quad gives counts and two numbers a class of screws; no time, place, note or event. Break rates are pooled
as counts over simulated breaks (``pooling``), screw lives as estimates of ln eta with their prior taken out
(``effects``).
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.due import JointGroup, group_history, learned_interval
from crashworthy.upkeep.effects import pool_effects
from crashworthy.upkeep.loosening import prior_posterior
from crashworthy.upkeep.pooling import pool_counts
from crashworthy.upkeep.priors import CLASSES

if TYPE_CHECKING:
    from crashworthy.upkeep.breakage import BreakRate
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.priors import Priors

__all__ = ["CrewReport", "ItemPool", "QuadCounts", "ScrewPool", "counts_of", "crew", "read_counts"]

FORMAT: Final = "crashworthy-counts-1"


@dataclass(frozen=True, slots=True)
class QuadCounts:
    """What one quad gives to its crew.

    Attributes:
        label: how it is called there.
        packs: flown.
        crashes: (scuffs, hits, slams).
        items: (breaks, breaks the simulation expected) by item.
        screws: (ln eta less the prior's, its error, checks) by upkeep class, prior taken out.
    """

    label: str
    packs: int
    crashes: tuple[int, int, int]
    items: dict[str, tuple[int, float]]
    screws: dict[str, tuple[float, float, int]]

    def to_json(self) -> dict[str, Any]:
        """Plain dict: counts only."""
        return {
            "format": FORMAT,
            "label": self.label,
            "packs": self.packs,
            "crashes": list(self.crashes),
            "items": {k: list(v) for k, v in self.items.items()},
            "screws": {k: list(v) for k, v in self.screws.items()},
        }


def counts_of(
    label: str,
    history: QuadHistory,
    rates: Sequence[BreakRate],
    joints: Sequence[JointGroup],
    priors: Priors,
) -> QuadCounts:
    """Take the counts out of a journal.

    Args:
        label: how the quad shall be called.
        history: what its journal says.
        rates: its break rates.
        joints: its joint groups.
        priors: what was believed beforehand.
    """
    scuffs, hits, slams = history.clock.crashes
    screws: dict[str, tuple[float, float, int]] = {}
    for upkeep in CLASSES:
        prior = priors.group(upkeep)
        start = prior_posterior(prior)
        mean0, var0 = _moments(start.ln_eta, start.weights.sum(axis=1))
        precision, total, checks = 0.0, 0.0, 0
        for joint in joints:
            if joint.upkeep != upkeep or joint.count == 0:
                continue
            posterior, _ = learned_interval(
                prior, group_history(history, joint, priors), joint.count, priors.due
            )
            mean, var = _moments(posterior.ln_eta, posterior.weights.sum(axis=1))
            told = 1.0 / var - 1.0 / var0
            if posterior.checks and told > 1e-3 / var0:
                precision += told
                total += (mean / var - mean0 / var0) - mean0 * told
                checks += posterior.checks
        if checks:
            screws[upkeep] = (total / precision, 1.0 / math.sqrt(precision), checks)
    return QuadCounts(
        label,
        history.packs,
        (scuffs, hits, slams),
        {r.item: (r.breaks, round(r.expected, 6)) for r in rates if r.expected > 0.0},
        screws,
    )


def _moments(x: Any, w: Any) -> tuple[float, float]:
    mean = float(w @ x)
    return mean, float(w @ (x - mean) ** 2)


def read_counts(text: str, file: str = "") -> tuple[QuadCounts, ...]:
    """Read what another crew member exported: one quad's counts, or a list of them.

    Raises:
        JournalError: the text is not such counts, or a number cannot be.
    """
    try:
        value = json.loads(text)
        rows = value if isinstance(value, list) else [value]
        return tuple(_one(row) for row in rows)
    except (ValueError, KeyError, TypeError, RecursionError) as problem:
        raise JournalError(
            Problem(f"is no file of counts ({problem})", "make one with `crew --export`", file)
        ) from None


def _one(row: Any) -> QuadCounts:
    if row["format"] != FORMAT:
        raise ValueError(f"format {row['format']!r:.30}")
    label, packs = str(row["label"])[:64], _whole(row["packs"])
    scuffs, hits, slams = (_whole(n) for n in row["crashes"])
    items = {str(k)[:80]: (_whole(n), _real(e, 0.0)) for k, (n, e) in row["items"].items()}
    screws = {
        k: (_real(m, -20.0), _real(s, 1e-6), _whole(n))
        for k, (m, s, n) in row["screws"].items()
        if k in CLASSES
    }
    return QuadCounts(label, packs, (scuffs, hits, slams), items, screws)


def _whole(x: Any) -> int:
    if isinstance(x, bool) or not isinstance(x, int) or not 0 <= x < 10**9:
        raise ValueError(f"{x!r:.20} is no count")
    return x


def _real(x: Any, low: float) -> float:
    if isinstance(x, bool) or not isinstance(x, int | float) or not low <= x < 1e9:
        raise ValueError(f"{x!r:.20} is out of range")
    return float(x)


@dataclass(frozen=True, slots=True)
class ItemPool:
    """One item over the crew.

    Attributes:
        item: its name.
        labels: of the quads.
        breaks, expected: of each.
        raw: breaks over expected; None without exposure.
        pooled, low, high: the same informed by the crew, 90 %.
        newcomer: (mean, low, high) for a quad that has not crashed yet.
    """

    item: str
    labels: tuple[str, ...]
    breaks: tuple[int, ...]
    expected: tuple[float, ...]
    raw: tuple[float | None, ...]
    pooled: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    newcomer: tuple[float, float, float]

    def summary(self) -> str:
        """One sentence with numbers."""
        mean, low, high = self.newcomer
        return (
            f"{self.item.replace('_', ' ')}: {sum(self.breaks)} broke where {sum(self.expected):.1f} were "
            f"expected; a new quad of this crew breaks {mean:.2g} times as simulated ({low:.2g}-{high:.2g})."
        )


@dataclass(frozen=True, slots=True)
class ScrewPool:
    """One upkeep class over the crew: screw lives against what is believed beforehand.

    Attributes:
        upkeep: arm, motor or other.
        labels: of the quads with scheduled checks.
        raw: each quad's own factor.
        pooled: the same informed by the crew.
        newcomer: (median, low, high) factor for a new quad, 90 %.
        checks: scheduled checks behind it.
    """

    upkeep: str
    labels: tuple[str, ...]
    raw: tuple[float, ...]
    pooled: tuple[float, ...]
    newcomer: tuple[float, float, float]
    checks: int

    def summary(self) -> str:
        """One sentence with numbers."""
        mid, low, high = self.newcomer
        return (
            f"{self.upkeep} screws stay tight {mid:.2g} times as long as common practice supposes "
            f"({low:.2g}-{high:.2g}), from {self.checks} checks of {len(self.labels)} quads."
        )


@dataclass(frozen=True, slots=True)
class CrewReport:
    """What the crew knows.

    Attributes:
        quads: how many.
        packs, crashes: together.
        items: most broken first.
        screws: by class.
    """

    quads: int
    packs: int
    crashes: int
    items: tuple[ItemPool, ...]
    screws: tuple[ScrewPool, ...]

    def summary(self) -> str:
        """One sentence with numbers."""
        head = f"{self.quads} quads, {self.packs} packs, {self.crashes} crashes"
        broken = [p for p in self.items if sum(p.breaks)]
        if not broken:
            return f"{head}: nothing has broken yet."
        far = max(broken, key=lambda p: abs(math.log(p.newcomer[0])))
        mean, low, high = far.newcomer
        name = far.item.replace("_", " ")
        return f"{head}: {name} breaks {mean:.2g} times as often as simulated ({low:.2g}-{high:.2g})."

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "summary": self.summary(),
            "quads": self.quads,
            "packs": self.packs,
            "crashes": self.crashes,
            "items": [
                {**{n: _plain(getattr(p, n)) for n in p.__slots__}, "summary": p.summary()}
                for p in self.items
            ],
            "screws": [
                {**{n: _plain(getattr(p, n)) for n in p.__slots__}, "summary": p.summary()}
                for p in self.screws
            ],
        }


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def crew(quads: Sequence[QuadCounts]) -> CrewReport:
    """Pool the counts of several quads.

    Raises:
        JournalError: there is no quad, or counts that cannot be.
    """
    if not quads:
        raise JournalError(Problem("a crew needs at least one quad", "add a quad or a file of counts"))
    names: Mapping[str, None] = dict.fromkeys(item for q in quads for item in q.items)
    items = []
    for item in names:
        having = [q for q in quads if item in q.items]
        breaks, expected = (tuple(q.items[item][i] for q in having) for i in (0, 1))
        seen = [(n, e) for n, e in zip(breaks, expected, strict=True)]
        pool = pool_counts([n for n, _ in seen], [max(e, 1e-9 if n else 0.0) for n, e in seen])
        items.append(
            ItemPool(
                item,
                tuple(q.label for q in having),
                tuple(int(n) for n in breaks),
                tuple(float(e) for e in expected),
                tuple(None if math.isnan(r) else float(r) for r in pool.raw),
                tuple(pool.mean.tolist()),
                tuple(pool.low.tolist()),
                tuple(pool.high.tolist()),
                pool.newcomer,
            )
        )
    items.sort(key=lambda p: (-sum(p.breaks), p.item))
    return CrewReport(
        len(quads),
        sum(q.packs for q in quads),
        sum(sum(q.crashes) for q in quads),
        tuple(items),
        tuple(found for u in CLASSES if (found := _screws(u, quads)) is not None),
    )


def _screws(upkeep: str, quads: Sequence[QuadCounts]) -> ScrewPool | None:
    rows = [(q.label, *q.screws[upkeep]) for q in quads if upkeep in q.screws]
    if not rows:
        return None
    raw = np.array([r[1] for r in rows])
    pool = pool_effects(raw, [r[2] for r in rows])
    mean, sd = pool.newcomer
    return ScrewPool(
        upkeep,
        tuple(r[0] for r in rows),
        tuple(np.exp(raw).tolist()),
        tuple(np.exp(pool.mean).tolist()),
        (math.exp(mean), math.exp(mean - 1.6449 * sd), math.exp(mean + 1.6449 * sd)),
        sum(r[3] for r in rows),
    )
