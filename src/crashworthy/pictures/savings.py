"""Bars to both sides of nothing: what a change saves, with its interval; left of the rule it costs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from crashworthy.pictures import axes, svg
from crashworthy.pictures.plots import RIGHT, WIDTH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.pictures.plots import Bar

__all__ = ["saving_bars"]

PITCH = 34.0
"""Height of a row."""


def saving_bars(
    rows: Sequence[Bar], *, title: str, x_label: str, describe: str = "", alone: bool = False
) -> str:
    """Bars from a rule at zero to either side, with intervals as whiskers and the number printed beside each.

    Args:
        rows: from the top down; numbers may be negative.
        title: of the picture.
        x_label: what and unit.
        describe: for those who do not see it; made from the rows when empty.
        alone: embed the style sheet.

    Raises:
        ValueError: there are no rows, or a number is not finite.
    """
    if not rows:
        raise ValueError("no bars to draw")
    if any(not math.isfinite(v) for r in rows for v in (r.value, r.low, r.high)):
        raise ValueError("a bar's numbers must be finite")
    key = svg.uid(title, x_label, *(r.label for r in rows))
    low, high = min(0.0, *(r.low for r in rows)), max(0.0, *(r.high for r in rows))
    spare = 0.04 * ((high - low) or 1.0)
    x_axis = axes.Axis(low - (spare if low < 0 else 0.0), high + spare, 8.0, RIGHT)
    bottom = 12 + PITCH * len(rows)
    body = [svg.hatch_defs(key)]
    for value in x_axis.ticks(5):
        x = x_axis(value)
        body.append(svg.el("path", d=svg.path([(x, bottom), (x, 10)]), class_="grid"))
        body.append(svg.text(axes.label(value), x, bottom + 13, text_anchor="middle"))
    zero = x_axis(0.0)
    body.append(svg.el("path", d=svg.path([(zero, 10), (zero, bottom)]), class_="axis"))
    for i, row in enumerate(rows):
        y = 12 + PITCH * i
        body.append(svg.text(row.label, 12, y + 11, "t halo"))
        body.append(svg.text(row.words, RIGHT, y + 11, "t strong halo", text_anchor="end"))
        end = x_axis(row.value)
        body.append(
            svg.el(
                "rect",
                x=min(zero, end),
                y=y + 16,
                width=max(abs(end - zero), 0.5),
                height=11,
                fill=svg.hatch_fill(key, row.state),
                class_="box",
            )
        )
        if row.high > row.low:
            a, b, mid = x_axis(row.low), x_axis(row.high), y + 21.5
            whisker = f"{svg.path([(a, mid), (b, mid)])} {svg.path([(a, mid - 4), (a, mid + 4)])}"
            whisker += f" {svg.path([(b, mid - 4), (b, mid + 4)])}"
            body.append(svg.el("path", d=whisker, class_="whisker"))
            body.append(svg.el("circle", cx=end, cy=mid, r=3, class_="dot"))
    body.append(svg.el("path", d=svg.path([(8, bottom), (RIGHT, bottom)]), class_="axis"))
    body.append(svg.text(x_label, RIGHT, bottom + 27, "t quiet", text_anchor="end"))
    return svg.figure(
        "".join(body),
        width=WIDTH,
        height=bottom + 34,
        title=title,
        describe=describe or "; ".join(f"{r.label} {r.words}" for r in rows) + f" ({x_label}).",
        key=key,
        alone=alone,
    )
