"""From what was believed to what was learned: an arrow a row, on a logarithmic axis of factors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from crashworthy.pictures import axes, svg
from crashworthy.pictures.plots import RIGHT, WIDTH

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Arrow", "arrows"]


@dataclass(frozen=True, slots=True)
class Arrow:
    """One thing learned.

    Attributes:
        label: what.
        before: what was believed, or what one source alone says; above 0.
        after: what is believed now.
        low, high: its interval.
        words: the same in words, printed at the end of the row.
        zone: (low, high) of what was believed, drawn pale; None leaves it out.
    """

    label: str
    before: float
    after: float
    low: float
    high: float
    words: str
    zone: tuple[float, float] | None = None


def arrows(
    rows: Sequence[Arrow], *, title: str, x_label: str, one: str = "", describe: str = "", alone: bool = False
) -> str:
    """Arrows from before to after with the interval of after as a whisker.

    Args:
        rows: from the top down.
        title: of the picture.
        x_label: what runs across.
        one: words at the upright line through 1; no line when empty.
        describe: for those who do not see it; made from the rows when empty.
        alone: embed the style sheet.

    Raises:
        ValueError: there are no rows, or a number is not above 0 and finite.
    """
    if not rows:
        raise ValueError("no arrows to draw")
    numbers = [v for r in rows for v in (r.before, r.after, r.low, r.high, *(r.zone or ()))]
    if any(not 0.0 < v < math.inf for v in numbers):
        raise ValueError("an arrow's numbers must be above 0 and finite")
    key, pitch, top = svg.uid(title, x_label, *(r.label for r in rows)), 36.0, 22.0
    bottom = top + 8 + pitch * len(rows)
    low, high = min(*numbers, 1.0) / 1.1, max(*numbers, 1.0) * 1.1
    x_axis = axes.Axis(low, high, 8.0, RIGHT, log=True)
    body = []
    for value in x_axis.ticks():
        x = x_axis(value)
        body.append(svg.el("path", d=svg.path([(x, bottom), (x, top)]), class_="grid"))
        body.append(svg.text(axes.label(value), min(x, RIGHT - 6), bottom + 13, text_anchor="middle"))
    if one:
        x = x_axis(1.0)
        body.append(svg.el("path", d=svg.path([(x, bottom), (x, top)]), class_="rule thin"))
        body.append(svg.text(one, x, top - 8, "t mark", text_anchor="end" if x > 0.6 * RIGHT else "middle"))
    for i, row in enumerate(rows):
        body.append(_row(row, x_axis, top + 8 + pitch * i))
    body.append(svg.el("path", d=svg.path([(8, bottom), (RIGHT, bottom)]), class_="axis"))
    body.append(svg.text(x_label, RIGHT, bottom + 27, "t quiet", text_anchor="end"))
    words = "; ".join(f"{r.label}: {r.before:.2g} before, {r.words} now" for r in rows)
    return svg.figure(
        "".join(body),
        width=WIDTH,
        height=bottom + 32,
        title=title,
        describe=describe or f"{x_label}. {words}.",
        key=key,
        alone=alone,
    )


def _row(row: Arrow, x_axis: axes.Axis, y: float) -> str:
    a, b, middle = x_axis(row.before), x_axis(row.after), y + 21
    out = []
    if row.zone is not None:
        left, right = x_axis(row.zone[0]), x_axis(row.zone[1])
        out.append(svg.el("rect", x=left, y=middle - 5, width=right - left, height=10, class_="zone"))
    low, high = x_axis(row.low), x_axis(row.high)
    ends = [svg.path([(x, middle - 4), (x, middle + 4)]) for x in (low, high)]
    whisker = " ".join([svg.path([(low, middle), (high, middle)]), *ends])
    out.append(svg.el("path", d=whisker, class_="whisker"))
    out.append(svg.el("path", d=svg.path([(a, middle - 5), (a, middle + 5)]), class_="axis"))
    if abs(b - a) > 7.0:
        # The arrow runs beside the whisker, so that neither hides the other.
        way, tip = math.copysign(1.0, b - a), middle - 7
        out.append(svg.el("path", d=svg.path([(a, tip), (b, tip)]), class_="curve mark"))
        head = svg.path([(b - 5 * way, tip - 3), (b, tip), (b - 5 * way, tip + 3)])
        out.append(svg.el("path", d=head, class_="curve mark"))
    out.append(svg.el("circle", cx=b, cy=middle, r=3.2, class_="dot"))
    out.append(svg.text(row.label, 12, y + 4, "t halo"))
    out.append(svg.text(row.words, RIGHT, y + 4, "t strong halo", text_anchor="end"))
    return "".join(out)
