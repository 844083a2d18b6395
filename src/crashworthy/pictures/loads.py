"""Load against strength: of one part as a histogram, of many parts as lines on one axis."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.pictures import axes, svg
from crashworthy.pictures.plots import RIGHT, WIDTH, frame
from crashworthy.pictures.words import number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["Reach", "load_reach", "load_strength"]


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the loads on one part reach towards its strength.

    Attributes:
        label: the part.
        middle, high, top: load over strength that half, a tenth and a hundredth of the loads exceed.
    """

    label: str
    middle: float
    high: float
    top: float


def load_strength(
    loads: ArrayLike,
    strength: float,
    spread: float,
    *,
    title: str,
    unit: str,
    describe: str = "",
    alone: bool = False,
    weight: ArrayLike | None = None,
) -> str:
    """Loads met in crashes as a histogram, against the strength as a curve, on one logarithmic axis.

    Args:
        loads: (n,) one greatest load a crash, ``unit``; zeros (part not hit) are left out.
        strength: median strength, ``unit``.
        spread: standard deviation of the logarithm of strength.
        title: of the picture.
        unit: of both.
        describe: for those who do not see it; made from the numbers when empty.
        alone: embed the style sheet.
        weight: (n,) how much each crash counts; all the same by default.

    Raises:
        ValueError: no load is above 0, or strength or spread is not above 0.
    """
    values = np.asarray(loads, dtype=float)
    counts = np.ones(len(values)) if weight is None else np.asarray(weight, dtype=float)
    met = np.isfinite(values) & (values > 0)
    values, counts = values[met], counts[met]
    if not len(values) or strength <= 0 or spread <= 0:
        raise ValueError("needs loads above 0 and a strength with a spread")
    low = max(float(np.quantile(values, 0.02)), strength / 300.0)
    high = max(float(values.max()), strength * math.exp(3 * spread))
    low = min(low, strength * math.exp(-3 * spread))
    return _load_strength(
        values, counts, strength, spread, (low, high * 1.05), title, unit, describe, alone=alone
    )


def _load_strength(
    values: Floats,
    weight: Floats,
    strength: float,
    spread: float,
    span: tuple[float, float],
    title: str,
    unit: str,
    describe: str,
    *,
    alone: bool,
) -> str:
    key, height, top = svg.uid(title, unit, strength), 190.0, 26.0
    x_axis = axes.Axis(*span, 10.0, RIGHT, log=True)
    y_axis = axes.Axis(0.0, 1.08, height - 34, top)
    edges = np.geomspace(*span, 25)
    counts, _ = np.histogram(np.clip(values, *span), edges, weights=weight)
    body = [svg.hatch_defs(key), frame(x_axis, y_axis, unit, "how often, tallest = 1", y_marks=False)]
    for count, (a, b) in zip(counts / counts.max(), itertools.pairwise(edges), strict=True):
        if count > 0:
            left, right, peak = x_axis(float(a)), x_axis(float(b)), y_axis(float(count))
            fill = svg.hatch_fill(key, "sparse")
            body.append(
                svg.el(
                    "rect",
                    x=left,
                    y=peak,
                    width=right - left,
                    height=y_axis.start - peak,
                    fill=fill,
                    class_="box",
                )
            )
    grid = np.geomspace(*span, 120)
    bell = np.exp(-0.5 * (np.log(grid / strength) / spread) ** 2)
    curve = [(x_axis(float(g)), y_axis(float(v))) for g, v in zip(grid, bell, strict=True)]
    body.append(svg.el("path", d=svg.path(curve), class_="curve mark"))
    at, rounded = x_axis(strength), axes.label(float(f"{strength:.3g}"))
    body.append(svg.el("path", d=svg.path([(at, y_axis.start), (at, top)]), class_="rule thin"))
    body.append(svg.text(f"strength {rounded} {unit}", RIGHT, top - 8, "t mark", text_anchor="end"))
    past = float(np.average(values > strength, weights=weight))
    upto = np.cumsum(weight[order := np.argsort(values)])
    middle = float(np.interp(0.5, (upto - 0.5 * weight[order]) / upto[-1], values[order]))
    return svg.figure(
        "".join(body),
        width=WIDTH,
        height=height,
        title=title,
        describe=describe
        or f"{len(values)} crashes load it, median {middle:.3g} {unit}; median strength"
        f" {strength:.3g} {unit}; {100 * past:.1f} % of those loads are above it.",
        key=key,
        alone=alone,
    )


def load_reach(rows: Sequence[Reach], *, title: str, describe: str = "", alone: bool = False) -> str:
    """Loads of many parts against their strengths on one logarithmic axis, where 1 is the median strength.

    A line runs from the load that half of the loads exceed, over a dot at the load a tenth exceed, to the
    load that one in a hundred exceeds.

    Args:
        rows: from the top down.
        title: of the picture.
        describe: for those who do not see it; made from the rows when empty.
        alone: embed the style sheet.

    Raises:
        ValueError: there are no rows, or a number is not above 0 and rising.
    """
    if not rows:
        raise ValueError("no loads to draw")
    if any(not 0 < r.middle <= r.high <= r.top < math.inf for r in rows):
        raise ValueError("loads must be above 0, finite and rising")
    key, pitch = svg.uid(title, *(r.label for r in rows)), 30.0
    bottom = 30 + pitch * len(rows)
    low = min(0.1, *(r.middle for r in rows)) / 1.2
    x_axis = axes.Axis(max(low, 0.03), max(2.0, *(r.top for r in rows)) * 1.2, 8.0, RIGHT, log=True)
    one = x_axis(1.0)
    fill = svg.hatch_fill(key, "sparse")
    body = [
        svg.hatch_defs(key),
        svg.el("rect", x=one, y=22, width=RIGHT - one, height=bottom - 22, fill=fill, class_="beyond"),
    ]
    for value in x_axis.ticks():
        x = x_axis(value)
        body.append(svg.el("path", d=svg.path([(x, bottom), (x, 22)]), class_="grid"))
        body.append(svg.text(axes.label(value), min(x, RIGHT - 6), bottom + 13, text_anchor="middle"))
    for i, row in enumerate(rows):
        y = 30 + pitch * i
        a, b, c = x_axis(row.middle), x_axis(row.high), x_axis(row.top)
        body.append(svg.text(row.label, 12, y + 8, "t halo"))
        body.append(svg.text(number(row.high, 2), RIGHT, y + 8, "t strong halo", text_anchor="end"))
        whisker = f"{svg.path([(a, y + 17), (c, y + 17)])} {svg.path([(a, y + 13), (a, y + 21)])}"
        whisker += f" {svg.path([(c, y + 13), (c, y + 21)])}"
        body.append(svg.el("path", d=whisker, class_="whisker"))
        body.append(svg.el("circle", cx=b, cy=y + 17, r=3.4, class_="dot"))
    body.append(svg.el("path", d=svg.path([(one, bottom), (one, 22)]), class_="rule"))
    anchor = "end" if one > 0.6 * RIGHT else "start"
    body.append(svg.text("median strength", one, 14, "t mark", text_anchor=anchor))
    body.append(svg.el("path", d=svg.path([(8, bottom), (RIGHT, bottom)]), class_="axis"))
    body.append(svg.text("load over strength", RIGHT, bottom + 27, "t quiet", text_anchor="end"))
    words = "; ".join(f"{r.label}: half {r.middle:.2g}, a tenth {r.high:.2g}, 1 % {r.top:.2g}" for r in rows)
    return svg.figure(
        "".join(body),
        width=WIDTH,
        height=bottom + 32,
        title=title,
        describe=describe or f"Load over strength that so many of the loads exceed. {words}.",
        key=key,
        alone=alone,
    )
