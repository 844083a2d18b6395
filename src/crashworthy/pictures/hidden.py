"""Picture of a placement: how often each fragile part is the first to be touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.pictures import plots
from crashworthy.pictures.words import few, percent

if TYPE_CHECKING:
    from crashworthy.placement.advice import Placement

__all__ = ["loss_bars", "share_bars"]


def share_bars(found: Placement) -> str:
    """Share of first touches of each fragile part, props stopped, costliest first."""
    return plots.interval_bars(
        [
            plots.Bar(
                e.label,
                100 * e.share,
                100 * min(sum(h.values()) / len(h) for h in (e.spinning, e.stopped)),
                100 * max(sum(h.values()) / len(h) for h in (e.spinning, e.stopped)),
                percent(e.share),
                "dense" if e.exposed else "sparse",
            )
            for e in found.exposures[:12]
        ],
        title="Touched first in this share of hits",
        x_label="% of hits, from props spinning to props stopped",
    )


def loss_bars(found: Placement) -> str:
    """What breaks by touch cost in 100 crashes; "" without a crash test of this build."""
    rows = [e for e in found.exposures[:12] if e.loss]
    if not rows:
        return ""
    return plots.interval_bars(
        [
            plots.Bar(
                e.label,
                e.loss or 0.0,
                e.loss or 0.0,
                e.loss or 0.0,
                few(e.loss),
                "dense" if e.exposed else "sparse",
            )
            for e in rows
        ],
        title="Lost by touch in 100 crashes",
        x_label="coins in 100 crashes, bench minutes counted in",
    )
