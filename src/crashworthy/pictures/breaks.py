"""Pictures of one crash test: what is touched, what breaks, how far loads reach towards strength."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from crashworthy.pictures import loads, plots
from crashworthy.pictures.words import number, percent

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["break_bars", "hit_bars", "reach_picture"]

SHOWN: Final = 12
"""Parts in a picture; tables have all of them."""


def hit_bars(parts: Sequence[Mapping[str, Any]]) -> str:
    """Share of crashes that touch each part, the most exposed first."""
    rows = sorted((p for p in parts if p["kind"] != "screw"), key=lambda p: -p["hit"])[:SHOWN]
    return plots.interval_bars(
        [
            plots.Bar(
                p["label"],
                100 * p["hit"],
                100 * p["hit_low"],
                100 * p["hit_high"],
                f"{percent(p['hit'])} ({percent(p['hit_low'])}–{percent(p['hit_high'])})".replace(" %–", "–"),
                "sparse",
            )
            for p in rows
        ],
        title="Touched in this share of crashes",
        x_label="% of crashes, 95 % interval",
    )


def break_bars(groups: Sequence[Mapping[str, Any]]) -> str:
    """Expected breaks per 100 crashes by kind of part."""
    rows = [g for g in groups if g["high"] >= 0.05][:SHOWN]
    if not rows:
        return ""
    return plots.interval_bars(
        [
            plots.Bar(
                g["plural"],
                g["breaks"],
                g["low"],
                g["high"],
                f"{number(g['breaks'], 2)} ({number(g['low'], 2)}–{number(g['high'], 2)})",
                "dense",
            )
            for g in rows
        ],
        title="Broken in 100 crashes",
        x_label="per 100 crashes, 90 % interval",
    )


def reach_picture(parts: Sequence[Mapping[str, Any]]) -> str:
    """Load against strength for the parts whose loads reach furthest."""
    rows = [p for p in parts if p["modes"] and p["utilisation"]["p50"] > 0]
    rows = sorted(rows, key=lambda p: -p["utilisation"]["p90"])[:SHOWN]
    if not rows:
        return ""
    return loads.load_reach(
        [loads.Reach(p["label"], *(p["utilisation"][q] for q in ("p50", "p90", "p99"))) for p in rows],
        title="Load against strength",
    )
