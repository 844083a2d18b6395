"""What is worth hiding first: what being touched costs in 100 crashes, and the verdict "exposed".

Where a crash test of the build is at hand, a part's loss is the breaks that touches cause times what one
break costs. Without one, exposure x consequence stands in for it (``docs/decisions/0111``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from crashworthy.strength.capacity import capacities

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.placement.hits import HitShares
    from crashworthy.placement.reach import Reach

__all__ = [
    "EXPOSED_REACH",
    "EXPOSED_SHARE",
    "FRAGILE",
    "REFERENCE",
    "TOUCHING",
    "Exposure",
    "fragilities",
    "rank",
]

FRAGILE: Final = ("lens", "camera", "antenna", "battery", "lead", "plug", "board", "box")
"""Kinds that are hidden rather than strengthened."""

EXPOSED_REACH: Final = 20e-3
"""A part that a ball of this radius, m, can touch is exposed (assumption: a 40 mm branch stub or stone)."""

EXPOSED_SHARE: Final = 1e-3
"""And one that is touched first in at least this share of hits (assumption)."""

REFERENCE: Final = 100.0
"""Force of a touch, N: a part that breaks at less is taken to break whenever it is touched (assumption)."""

TOUCHING: Final = ("force", "limb", "bending")
"""Loads that a touch brings on (see ``strength.capacity.LOADS``). What shakes the boards or pulls on the
strap reaches a part wherever it sits, so that hiding it saves nothing of it."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """One fragile part.

    Attributes:
        part, label, kind: which.
        spinning, stopped: share of first touches by obstacle name, props spinning or stopped.
        share: mean of them over the obstacles but the flat, props spinning and stopped alike.
        reach: how deep it is hidden.
        fragility: ``REFERENCE`` over the force that breaks half of such parts, at most 1.
        price: coins.
        minutes: bench time to put it right.
        cost: of one break in coins, bench time included at what a minute is worth.
        breaks: chance per crash that touches break it, or None without a crash test.
        score: loss, or exposure x consequence without a crash test, as a part of the greatest.
    """

    part: str
    label: str
    kind: str
    spinning: Mapping[str, float]
    stopped: Mapping[str, float]
    share: float
    reach: Reach
    fragility: float
    price: float
    minutes: float
    cost: float
    breaks: float | None
    score: float

    @property
    def loss(self) -> float | None:
        """Coins in 100 crashes, bench time included; None without a crash test."""
        return None if self.breaks is None else 100.0 * self.breaks * self.cost

    @property
    def exposed(self) -> bool:
        """Whether a branch stub reaches it and it is touched first often enough to matter."""
        return self.reach.ball >= EXPOSED_REACH and self.share >= EXPOSED_SHARE

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "label": self.label,
            "kind": self.kind,
            "exposed": self.exposed,
            "share": round(self.share, 6),
            "spinning": {k: round(v, 6) for k, v in self.spinning.items()},
            "stopped": {k: round(v, 6) for k, v in self.stopped.items()},
            "fragility": round(self.fragility, 4),
            "price_coins": self.price,
            "minutes": self.minutes,
            "cost_coins": round(self.cost, 3),
            "breaks_per_100_crashes": None if self.breaks is None else round(100.0 * self.breaks, 4),
            "loss_coins_per_100_crashes": None if self.loss is None else round(self.loss, 3),
            "score": round(self.score, 5),
            **self.reach.to_json(),
        }


def fragilities(quad: Quad) -> dict[str, float]:
    """``REFERENCE`` over the least median breaking force of each part, at most 1.

    A part that breaks as a limb (its root, its mount) counts as 1: its lever makes a touch enough. A part of
    which nothing is known counts as 1 too.
    """
    weakest: dict[str, float] = {}
    limbs: set[str] = set()
    for capacity in capacities(quad):
        name = quad.parts[capacity.part].name
        if capacity.load == "limb":
            limbs.add(name)
        elif capacity.unit == "N" and capacity.load in TOUCHING:
            weakest[name] = min(weakest.get(name, float("inf")), capacity.median)
    return {
        p.name: 1.0 if p.name in limbs or p.name not in weakest else min(1.0, REFERENCE / weakest[p.name])
        for p in quad.parts
    }


def rank(
    quad: Quad,
    spinning: tuple[HitShares, ...],
    stopped: tuple[HitShares, ...],
    reaches: tuple[Reach, ...],
    prices: Mapping[str, float],
    minutes: Mapping[str, float],
    *,
    worth: float = 1.0,
    breaks: Mapping[str, float] | None = None,
) -> tuple[Exposure, ...]:
    """Order the fragile parts of a quad, the most worth hiding first.

    Args:
        quad: the build.
        spinning: shares with props as discs.
        stopped: shares with props as blades.
        reaches: of every part to rank.
        prices: coins by kind; 1 for a kind without.
        minutes: bench minutes by kind; 1 for a kind without.
        worth: of a bench minute, coins.
        breaks: chance per crash that touches break a part, by name, 0 for one that is absent; None when this
            build has no crash test.
    """
    weak = fragilities(quad)
    bounded = [h for h in (*spinning, *stopped) if h.obstacle.kind != "flat"]
    rows: list[tuple[float, float, Exposure]] = []
    for found in reaches:
        part = quad.part(found.part)
        share = sum(h[part.name] for h in bounded) / max(1, len(bounded))
        price, time = prices.get(part.kind, 1.0), minutes.get(part.kind, 1.0)
        cost = price + worth * time
        broken = None if breaks is None else breaks.get(part.name, 0.0)
        stand_in = share * weak[part.name] * cost
        row = Exposure(
            part.name,
            part.label,
            part.kind,
            {h.obstacle.name: h[part.name] for h in spinning},
            {h.obstacle.name: h[part.name] for h in stopped},
            share,
            found,
            weak[part.name],
            price,
            time,
            cost,
            broken,
            0.0,
        )
        rows.append((stand_in if broken is None else broken * cost, stand_in, row))
    top = max((r[0] for r in rows), default=0.0) or 1.0
    # Parts that no simulated crash broke keep the order of exposure x consequence among themselves.
    rows.sort(key=lambda r: (-r[0], -r[1], r[2].part))
    return tuple(replace(row, score=value / top) for value, _, row in rows)
