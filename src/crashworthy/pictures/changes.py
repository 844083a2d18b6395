"""Pictures of changes to a build: what each saves, what the answer hangs on, how two builds differ."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crashworthy.pictures import plots
from crashworthy.pictures.savings import saving_bars
from crashworthy.pictures.words import number

if TYPE_CHECKING:
    from crashworthy.impact.differences import Comparison
    from crashworthy.impact.sensitivity import Tornado
    from crashworthy.upkeep.ranking import Ranking

__all__ = ["difference_bars", "pack_bars", "rank_bars", "tornado_bars"]

BARS: Final = 8
"""Uncertain parameters shown."""

LETTERS: Final = 32
"""Letters of a label in a picture."""

SURE: Final = 0.95
"""Chance of helping from which on a bar is drawn dense."""


def _short(label: str) -> str:
    """A label that leaves room for the numbers beside it; tables have the whole."""
    return label if len(label) <= LETTERS else label[: LETTERS - 1].rstrip() + "…"


def rank_bars(ranking: Ranking) -> str:
    """Bench minutes saved by each change."""
    return saving_bars(
        [
            plots.Bar(
                _short(r.label),
                r.minutes,
                r.low,
                r.high,
                f"{number(r.minutes, 2)} ({number(r.low, 2)} to {number(r.high, 2)})",
                "dense" if r.helps >= SURE else "sparse",
            )
            for r in ranking.rows
        ],
        title="Bench minutes saved in 100 crashes",
        x_label="minutes per 100 crashes, 90 % interval",
    )


def pack_bars(ranking: Ranking) -> str:
    """Bench minutes saved by each change in 100 packs, as the journal says."""
    rows = [(r.label, r.packs) for r in ranking.rows if r.packs is not None]
    if not rows:
        return ""
    return saving_bars(
        [
            plots.Bar(
                _short(label),
                p.minutes,
                p.low,
                p.high,
                f"{number(p.minutes, 2)} ({number(p.low, 2)} to {number(p.high, 2)})",
                "dense" if p.helps >= SURE else "sparse",
            )
            for label, p in rows
        ],
        title="Bench minutes saved in 100 packs",
        x_label="minutes per 100 packs, 90 % interval",
    )


def tornado_bars(tornado: Tornado) -> str:
    """How far each uncertain parameter moves the cost of 100 crashes."""
    return saving_bars(
        [
            plots.Bar(
                _short(b.words),
                0.0,
                min(b.low, b.high) - tornado.base,
                max(b.low, b.high) - tornado.base,
                f"{number(min(b.low, b.high), 3)} to {number(max(b.low, b.high), 3)}",
                "open",
            )
            for b in tornado.bars[:BARS]
        ],
        title="What the answer hangs on",
        x_label=f"change of {number(tornado.base, 3)} {tornado.unit} in 100 crashes",
    )


def difference_bars(found: Comparison) -> str:
    """Change of the breaks of each kind, second build minus first."""
    rows = [d for d in found.kinds if max(d.a, d.b) >= 0.05]
    if not rows:
        return ""
    return saving_bars(
        [
            plots.Bar(
                d.words,
                d.change,
                d.low,
                d.high,
                f"{number(d.change, 2)} ({number(d.low, 2)} to {number(d.high, 2)})",
                "dense" if d.known else "sparse",
            )
            for d in rows
        ],
        title=f"Breaks of {found.b} less those of {found.a}",
        x_label="per 100 crashes, 90 % interval",
    )
