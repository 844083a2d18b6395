"""What a crew knows together: break rates and screw lives of several quads, pooled; counts alone leave home.

Break rates are pooled as counts over simulated breaks (``pooling``), once each pilot's way of naming
severities is taken out (``grading``); screw lives as estimates of ln eta with their prior taken out
(``effects``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.effects import pool_effects
from crashworthy.upkeep.grading import Grading, PilotCount, fit_grading
from crashworthy.upkeep.pooling import pool_counts
from crashworthy.upkeep.priors import CLASSES

if TYPE_CHECKING:
    from crashworthy.upkeep.counts import QuadCounts

__all__ = ["CrewReport", "ItemPool", "ScrewPool", "crew"]


@dataclass(frozen=True, slots=True)
class ItemPool:
    """One item over the crew.

    Attributes:
        item: its name.
        labels: of the quads.
        breaks, expected: of each; ``expected`` with the pilots' grading taken out.
        raw: breaks over expected; None without exposure.
        pooled, low, high: the same informed by the crew, 90 %.
        newcomer: (mean, low, high) for a quad that has not crashed yet.
        as_named: breaks expected at the severities as the pilots named them.
        ungraded: pooled rates if the grading were left in.
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
    as_named: tuple[float, ...]
    ungraded: tuple[float, ...]

    def summary(self) -> str:
        """One sentence with numbers."""
        mean, low, high = self.newcomer
        return (
            f"{self.item.replace('_', ' ')}: {sum(self.breaks)} broke where {sum(self.expected):.1f} were "
            f"expected; on a new quad of this crew it breaks {mean:.2g} times as often as simulated "
            f"({low:.2g}-{high:.2g})."
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
        grading: how the pilots name severities.
    """

    quads: int
    packs: int
    crashes: int
    items: tuple[ItemPool, ...]
    screws: tuple[ScrewPool, ...]
    grading: Grading

    def summary(self) -> str:
        """One sentence with numbers."""
        head = ", ".join(
            f"{n} {one}{'' if n == 1 else more}"
            for n, one, more in (
                (self.quads, "quad", "s"),
                (self.packs, "pack", "s"),
                (self.crashes, "crash", "es"),
            )
        )
        broken = [p for p in self.items if sum(p.breaks)]
        if not broken:
            return f"{head}: nothing has broken yet."
        far = max(broken, key=lambda p: abs(math.log(p.newcomer[0])))
        mean, low, high = far.newcomer
        name = far.item.replace("_", " ")
        return (
            f"{head}: farthest from the simulation is the {name}, broken {mean:.2g} times as often "
            f"({low:.2g}-{high:.2g})."
        )

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
            "grading": self.grading.to_json(),
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
    grading = _grading(quads)
    names: Mapping[str, None] = dict.fromkeys(item for q in quads for item in q.items)
    items = []
    moved = 1.0
    for item in names:
        having = [q for q in quads if item in q.items]
        breaks, named = (tuple(q.items[item][i] for q in having) for i in (0, 1))
        expected = tuple(_graded(q, item, grading) for q in having)
        moved = max([moved, *(max(a / b, b / a) for a, b in zip(expected, named, strict=True) if a > 0 < b)])
        pool, plain = (
            pool_counts(breaks, [max(e, 1e-9 if n else 0.0) for n, e in zip(breaks, exposure, strict=True)])
            for exposure in (expected, named)
        )
        items.append(
            ItemPool(
                item,
                tuple(q.label for q in having),
                tuple(int(n) for n in breaks),
                expected,
                tuple(None if math.isnan(r) else float(r) for r in pool.raw),
                tuple(pool.mean.tolist()),
                tuple(pool.low.tolist()),
                tuple(pool.high.tolist()),
                pool.newcomer,
                tuple(float(e) for e in named),
                tuple(plain.mean.tolist()),
            )
        )
    items.sort(key=lambda p: (-sum(p.breaks), p.item))
    return CrewReport(
        len(quads),
        sum(q.packs for q in quads),
        sum(sum(q.crashes) for q in quads),
        tuple(items),
        tuple(found for u in CLASSES if (found := _screws(u, quads)) is not None),
        replace(grading, moved=moved),
    )


def _grading(quads: Sequence[QuadCounts]) -> Grading:
    counts: list[PilotCount] = []
    crashes: dict[str, tuple[int, int, int]] = {}
    for q in quads:
        for name, pilot in q.pilots.items():
            a, b, c = crashes.get(name, (0, 0, 0))
            crashes[name] = (a + pilot.crashes[0], b + pilot.crashes[1], c + pilot.crashes[2])
            counts += [PilotCount(name, q.label, item, n, e) for item, (n, e) in pilot.items.items()]
    return fit_grading(counts, crashes)


def _graded(quad: QuadCounts, item: str, grading: Grading) -> float:
    """Expected breaks with every pilot's grading taken out; what no pilot is known for stays."""
    total = quad.items[item][1]
    for name, pilot in quad.pilots.items():
        total += (grading.factor(name) - 1.0) * pilot.items.get(item, (0, 0.0))[1]
    return float(max(total, 0.0))


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
