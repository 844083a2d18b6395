"""What is worth moving first: exposure x fragility x price x bench minutes, and the verdict "exposed"."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from crashworthy.strength.capacity import capacities

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.placement.hits import HitShares
    from crashworthy.placement.reach import Reach

__all__ = ["EXPOSED_REACH", "EXPOSED_SHARE", "FRAGILE", "REFERENCE", "Exposure", "fragilities", "rank"]

FRAGILE: Final = ("lens", "camera", "antenna", "battery", "lead", "plug", "board", "box")
"""Kinds that are hidden rather than strengthened."""

EXPOSED_REACH: Final = 20e-3
"""A part that a ball of this radius, m, can touch is exposed (assumption: a 40 mm branch stub or stone)."""

EXPOSED_SHARE: Final = 1e-3
"""And one that is touched first in at least this share of hits (assumption)."""

REFERENCE: Final = 100.0
"""Force, N, that a part of fragility 1 bears (a scale only; ratios count)."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """One fragile part.

    Attributes:
        part, label, kind: which.
        spinning, stopped: share of first touches by obstacle name, props spinning or stopped.
        share: mean of them over the obstacles but the flat, props spinning and stopped alike.
        reach: how deep it is hidden.
        fragility: ``REFERENCE`` over the force that breaks half of such parts.
        price: coins.
        minutes: bench time to put it right.
        score: product of share, fragility, price and minutes, as a part of the greatest.
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
    score: float

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
            "score": round(self.score, 5),
            **self.reach.to_json(),
        }


def fragilities(quad: Quad) -> dict[str, float]:
    """``REFERENCE`` over the least median breaking force of each part that has one; 1 for the others."""
    weakest: dict[str, float] = {}
    for capacity in capacities(quad):
        if capacity.unit == "N":
            name = quad.parts[capacity.part].name
            weakest[name] = min(weakest.get(name, float("inf")), capacity.median)
    return {p.name: REFERENCE / weakest[p.name] if p.name in weakest else 1.0 for p in quad.parts}


def rank(
    quad: Quad,
    spinning: tuple[HitShares, ...],
    stopped: tuple[HitShares, ...],
    reaches: tuple[Reach, ...],
    prices: Mapping[str, float],
    minutes: Mapping[str, float],
) -> tuple[Exposure, ...]:
    """Order the fragile parts of a quad, the most worth hiding first.

    Args:
        quad: the build.
        spinning: shares with props as discs.
        stopped: shares with props as blades.
        reaches: of every part to rank.
        prices: coins by kind; 1 for a kind without.
        minutes: bench minutes by kind; 1 for a kind without.
    """
    weak = fragilities(quad)
    bounded = [h for h in (*spinning, *stopped) if h.obstacle.kind != "flat"]
    rows = []
    for found in reaches:
        part = quad.part(found.part)
        share = sum(h[part.name] for h in bounded) / max(1, len(bounded))
        price, time = prices.get(part.kind, 1.0), minutes.get(part.kind, 1.0)
        rows.append((share * weak[part.name] * price * time, part, found, share, price, time))
    top = max((r[0] for r in rows), default=0.0) or 1.0
    rows.sort(key=lambda r: (-r[0], r[1].name))
    return tuple(
        Exposure(
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
            product / top,
        )
        for product, part, found, share, price, time in rows
    )
