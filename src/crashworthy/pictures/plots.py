"""Curves and bars with intervals: SVG 340 units wide, for a phone and for paper."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.pictures import axes, svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "Bar",
    "Series",
    "frame",
    "interval_bars",
    "line_plot",
    "thin",
]

WIDTH = 340.0
LEFT, RIGHT = 44.0, 332.0


@dataclass(frozen=True, slots=True)
class Series:
    """One curve.

    Attributes:
        label: its name.
        x, y: equally long, in the units of the axes; values that are not finite break the curve.
        mark: drawn in the accent.
    """

    label: str
    x: ArrayLike
    y: ArrayLike
    mark: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar with its interval.

    Attributes:
        label: what it is.
        value: its length.
        low, high: ends of the interval; equal to ``value`` when there is none.
        words: the same in words, printed at the end of the bar.
        state: hatch, one of ``svg.HATCHES``.
    """

    label: str
    value: float
    low: float
    high: float
    words: str
    state: str = "sparse"


def thin(x: Floats, y: Floats, most: int = 600) -> tuple[Floats, Floats]:
    """Fewer points with every extreme kept: the least and greatest of each slice."""
    if len(x) <= most:
        return x, y
    edges = np.linspace(0, len(x), most // 2 + 1).astype(int)
    keep: list[int] = []
    for a, b in itertools.pairwise(edges):
        piece = y[a:b]
        if np.isfinite(piece).any():
            keep += sorted({a + int(np.nanargmin(piece)), a + int(np.nanargmax(piece))})
    return x[keep], y[keep]


def frame(
    x_axis: axes.Axis, y_axis: axes.Axis, x_label: str, y_label: str, *, about: int = 5, y_marks: bool = True
) -> str:
    """Grid, ticks and labels of a pair of axes; ``y_axis`` runs from its start (bottom) to its end (top)."""
    out: list[str] = []
    bottom, top = y_axis.start, y_axis.end
    for value in x_axis.ticks(about):
        x = x_axis(value)
        out.append(svg.el("path", d=svg.path([(x, bottom), (x, top)]), class_="grid"))
        out.append(svg.text(axes.label(value), min(x, RIGHT - 6), bottom + 13, text_anchor="middle"))
    if y_marks:
        for value in y_axis.ticks(4):
            y = y_axis(value)
            out.append(svg.el("path", d=svg.path([(x_axis.start, y), (x_axis.end, y)]), class_="grid"))
            out.append(svg.text(axes.label(value), x_axis.start - 5, y + 4, text_anchor="end"))
    corner = [(x_axis.start, top), (x_axis.start, bottom), (x_axis.end, bottom)]
    out.append(svg.el("path", d=svg.path(corner), class_="axis"))
    out.append(svg.text(x_label, x_axis.end, bottom + 27, "t quiet", text_anchor="end"))
    out.append(svg.text(y_label, 2, top - 8, "t quiet"))
    return "".join(out)


def _span(values: Floats, *, log: bool) -> tuple[float, float]:
    good = values[np.isfinite(values)]
    if log:
        good = good[good > 0]
    if not len(good):
        raise ValueError("nothing to draw: no finite value")
    low, high = float(good.min()), float(good.max())
    if log:
        return (low / 1.3, high * 1.3)
    if low >= 0 and low < 0.5 * high:
        low = 0.0
    room = 0.06 * (high - low) or max(abs(high), 1.0) * 0.1
    return (low if low == 0 else low - room, high + room)


def line_plot(
    series: Sequence[Series],
    *,
    title: str,
    x_label: str,
    y_label: str,
    describe: str = "",
    marks: Sequence[tuple[float, str]] = (),
    log_y: bool = False,
    height: float = 210.0,
    alone: bool = False,
) -> str:
    """Curves over one pair of axes.

    Args:
        series: one to four curves; each gets its own dash.
        title: of the picture.
        x_label: what runs across, with unit ("Hz").
        y_label: what runs up, with unit.
        describe: the numbers that matter, for those who do not see it.
        marks: (x, words) upright lines.
        log_y: logarithmic y; values at or below 0 break the curve.
        height: of the view box.
        alone: embed the style sheet.

    Raises:
        ValueError: there is nothing finite to draw.
    """
    xs = [np.asarray(s.x, dtype=float) for s in series]
    ys = [np.asarray(s.y, dtype=float) for s in series]
    key = svg.uid(title, x_label, *(s.label for s in series))
    every_x, every_y = np.concatenate(xs), np.concatenate(ys)
    x_low, x_high = float(np.nanmin(every_x)), float(np.nanmax(every_x))
    legend = 20.0 if len(series) > 1 else 0.0
    top = 24.0 + legend + (12.0 if marks else 0.0)
    x_axis = axes.Axis(x_low, x_high if x_high > x_low else x_low + 1, LEFT, RIGHT)
    y_axis = axes.Axis(*_span(every_y, log=log_y), height - 34, top, log_y)
    body = [frame(x_axis, y_axis, x_label, y_label)]
    last_end = -math.inf
    for at_x, words in sorted(marks):
        if not x_axis.low <= at_x <= x_axis.high:
            continue
        place = x_axis(at_x)
        body.append(svg.el("path", d=svg.path([(place, y_axis.start), (place, top)]), class_="rule thin"))
        half = 3.1 * len(words)
        if place - half > last_end:
            anchor = "end" if place + half > RIGHT else "middle"
            body.append(svg.text(words, place, top - 3, "t mark", text_anchor=anchor))
            last_end = place + half + 4
    for i, (item, x, y) in enumerate(zip(series, xs, ys, strict=True)):
        class_ = f"curve s{i % 4}" + (" mark" if item.mark else "")
        good = np.isfinite(y) & ((y > 0) if log_y else True)
        for run in np.split(np.arange(len(y)), np.flatnonzero(~good)):
            run_good = run[good[run]]
            if len(run_good) < 2:
                continue
            px, py = thin(x[run_good], y[run_good])
            points = [(x_axis(float(a)), y_axis(float(b))) for a, b in zip(px, py, strict=True)]
            body.append(svg.el("path", d=svg.path(points), class_=class_))
        if legend:
            at = LEFT + i * (RIGHT - LEFT) / len(series)
            body.append(svg.el("path", d=svg.path([(at, 18), (at + 18, 18)]), class_=class_))
            body.append(svg.text(item.label, at + 22, 22))
    return svg.figure(
        "".join(body),
        width=WIDTH,
        height=height,
        title=title,
        describe=describe or f"{', '.join(s.label for s in series)}: {y_label} over {x_label}.",
        key=key,
        alone=alone,
    )


def interval_bars(
    rows: Sequence[Bar],
    *,
    title: str,
    x_label: str,
    top: float | None = None,
    describe: str = "",
    alone: bool = False,
) -> str:
    """Bars from 0 with their intervals as whiskers, the number printed beside each.

    Args:
        rows: from the top down.
        title: of the picture.
        x_label: what and unit.
        top: end of the axis; the greatest interval end when None.
        describe: for those who do not see it; made from the rows when empty.
        alone: embed the style sheet.

    Raises:
        ValueError: there are no rows, or a number is not finite or negative.
    """
    if not rows:
        raise ValueError("no bars to draw")
    if any(not math.isfinite(v) or v < 0 for r in rows for v in (r.value, r.low, r.high)):
        raise ValueError("a bar's numbers must be finite and not negative")
    key = svg.uid(title, x_label, *(r.label for r in rows))
    pitch = 34.0
    height = 12 + pitch * len(rows) + 34
    high = top or max(r.high for r in rows) or 1.0
    x_axis = axes.Axis(0.0, high * (1.0 if top else 1.04), 8.0, RIGHT)
    body = [svg.hatch_defs(key)]
    bottom = 12 + pitch * len(rows)
    for value in x_axis.ticks(5):
        x = x_axis(value)
        body.append(svg.el("path", d=svg.path([(x, bottom), (x, 10)]), class_="grid"))
        body.append(svg.text(axes.label(value), x, bottom + 13, text_anchor="middle"))
    for i, row in enumerate(rows):
        y = 12 + pitch * i
        body.append(svg.text(row.label, 12, y + 11, "t halo"))
        body.append(svg.text(row.words, RIGHT, y + 11, "t strong halo", text_anchor="end"))
        wide = x_axis(row.value) - x_axis.start
        fill = svg.hatch_fill(key, row.state)
        body.append(svg.el("rect", x=8, y=y + 16, width=max(wide, 0.5), height=11, fill=fill, class_="box"))
        if row.high > row.low:
            a, b, mid = x_axis(row.low), x_axis(row.high), y + 21.5
            whisker = f"{svg.path([(a, mid), (b, mid)])} {svg.path([(a, mid - 4), (a, mid + 4)])}"
            whisker += f" {svg.path([(b, mid - 4), (b, mid + 4)])}"
            body.append(svg.el("path", d=whisker, class_="whisker"))
            body.append(svg.el("circle", cx=x_axis(row.value), cy=mid, r=3, class_="dot"))
    body.append(svg.el("path", d=svg.path([(8, 10), (8, bottom), (RIGHT, bottom)]), class_="axis"))
    body.append(svg.text(x_label, RIGHT, bottom + 27, "t quiet", text_anchor="end"))
    return svg.figure(
        "".join(body),
        width=WIDTH,
        height=height,
        title=title,
        describe=describe or "; ".join(f"{r.label} {r.words}" for r in rows) + f" ({x_label}).",
        key=key,
        alone=alone,
    )
