"""Pictures of the camera's trade-off and of the link: curves, a map by direction, places on two axes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.pictures import axes, heat, plots, svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.placement.budget import Link, LinkMap
    from crashworthy.placement.spots import Spot
    from crashworthy.placement.tradeoff import TradeOff

__all__ = ["cage_plot", "margin_map", "protection_plot", "range_plot", "spot_chart"]


def _by_tilt(found: TradeOff) -> list[tuple[float, list[int]]]:
    """Up to four tilts with the numbers of their rows, the present one among them."""
    tilts = sorted({r.tilt for r in found.rows}, key=lambda t: (t != found.now.tilt, t))[:4]
    return [(t, [i for i, r in enumerate(found.rows) if r.tilt == t]) for t in sorted(tilts)]


def cage_plot(found: TradeOff) -> str:
    """Share of the picture behind the cage over the recess, one curve for each tilt."""
    return plots.line_plot(
        [
            plots.Series(
                f"{t:g} deg",
                [found.rows[i].recess for i in some],
                [100 * found.rows[i].cage for i in some],
                mark=t == found.now.tilt,
            )
            for t, some in _by_tilt(found)
        ],
        title="What the cage takes of the picture",
        x_label="recess, mm",
        y_label="% of the picture",
        describe=found.summary(),
        marks=[(found.now.recess, "now")],
    )


def protection_plot(found: TradeOff) -> str:
    """Thickest ball that touches the glass over the recess; a wall breaks a curve."""
    rows = found.rows
    thick = [2e3 * r.ball if math.isfinite(r.ball) else math.nan for r in rows]
    if not any(math.isfinite(v) for v in thick):
        return ""
    return plots.line_plot(
        [
            plots.Series(
                f"{t:g} deg",
                [rows[i].recess for i in some],
                [thick[i] for i in some],
                mark=t == found.now.tilt,
            )
            for t, some in _by_tilt(found)
        ],
        title="Thickest ball that can touch the glass",
        x_label="recess, mm",
        y_label="mm thick",
        describe="; ".join(r.summary() for r in rows if r.tilt == found.now.tilt),
        marks=[(found.now.recess, "now")],
    )


def margin_map(found: LinkMap, link: Link) -> str:
    """Margin by direction as seen from the quad, ahead in the middle, left of it to the left."""
    low, high = -10.0, max(10.0, 10 * math.ceil(float(found.margin.max()) / 10))
    return heat.heat_map(
        found.margin[::-1],
        (-180.0, 180.0),
        (-90.0, 90.0),
        title=f"Margin of {link.name} by direction",
        x_label="deg right of ahead",
        y_label="deg above level",
        value_label=f"dB at {link.settings.distance:g} m",
        low=low,
        high=high,
        describe=f"{link.summary()} Margins from {found.margin.min():.0f} to {found.margin.max():.0f} dB.",
    )


NOWHERE: Final = 0.005
"""A share of directions that no longer needs room in the picture."""


def range_plot(links: Sequence[tuple[str, Link]], both: Link | None = None) -> str:
    """Share of the directions where the pilot is in which a distance is reached.

    Args:
        links: (label, link) of one to three antennas.
        both: the better of two in every direction, drawn in the accent.
    """
    shown = [*links[:3], *((("the better of two", both),) if both is not None else ())]
    far = np.linspace(0.0, max(4.0 * link.median for _, link in shown), 400)
    some = np.max([link.reached(far) for _, link in shown], axis=0) > NOWHERE
    x = np.linspace(0.0, 1.1 * float(far[some].max(initial=far[1])), 200)
    return plots.line_plot(
        [plots.Series(label, x, 100 * link.reached(x), mark=link is both) for label, link in shown],
        title="How often a distance is reached",
        x_label="m",
        y_label="% of directions",
        describe="; ".join(link.summary() for _, link in shown),
    )


def spot_chart(found: Sequence[Spot]) -> str:
    """Places on both axes, numbered from 1: touched first (less is better) against range (more is better).

    Ringed: no other beats it on both. Dashed: no room there.
    """
    left, right, top, bottom = plots.LEFT, plots.RIGHT, 24.0, 216.0
    ranges = [s.link.tenth for s in found]
    x_axis = axes.Axis(0.0, 1.15 * max(100 * s.share for s in found) or 1.0, left, right)
    y_axis = axes.Axis(min(ranges) / 1.5, max(ranges) * 1.8, bottom, top, log=True)
    body = [plots.frame(x_axis, y_axis, "touched first, % of hits", "range in nine of ten directions, m")]
    for number, s in reversed(list(enumerate(found, 1))):
        x, y = x_axis(100 * s.share), y_axis(s.link.tenth)
        if s.best:
            body.append(svg.el("circle", cx=x, cy=y, r=12, class_="rule"))
        body.append(svg.el("circle", cx=x, cy=y, r=8.5, class_="balloon" if s.fits else "balloon ghost"))
        body.append(svg.text(str(number), x, y + 4, "t strong" if s.best else "t", text_anchor="middle"))
    title = "Survival against link"
    describe = "; ".join(f"{i} {s.summary()}" for i, s in enumerate(found, 1))
    key = svg.uid(title, describe)
    return svg.figure(
        "".join(body), width=plots.WIDTH, height=bottom + 34, title=title, describe=describe, key=key
    )
