"""First touches by obstacle as a table of shades, root moments by arm and plane as a family of histograms.

They take the plain data of a campaign's summary (``CrashSummary.to_json()``), so a kept campaign draws
the same as a fresh one.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any, Final
from xml.sax.saxutils import escape

from crashworthy.pictures import axes, ramp, svg
from crashworthy.pictures.plots import WIDTH

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["first_touch_matrix", "moment_histograms"]

COLUMNS: Final = 8
"""Parts that get a column; the rest share one."""

TOP: Final = 0.5
"""Share that gets the full shade, fixed so that two builds compare by eye."""


def _fold(touch: Mapping[str, Any]) -> tuple[list[str], list[list[int]]]:
    """Labels of the columns and counts, the rarest parts put together."""
    labels = [label for _, label in touch["parts"]]
    rows = [list(r) for r in touch["counts"]]
    if len(labels) > COLUMNS + 1:
        labels, rows = [*labels[:COLUMNS], "all others"], [[*r[:COLUMNS], sum(r[COLUMNS:])] for r in rows]
    missed = touch.get("missed", ())
    if any(missed):
        labels, rows = [*labels, "nothing"], [[*r, m] for r, m in zip(rows, missed, strict=True)]
    return labels, rows


def first_touch_matrix(touch: Mapping[str, Any], *, alone: bool = False) -> str:
    """Obstacle by part: of the crashes into an obstacle, the share that touches a part first.

    Args:
        touch: ``FirstTouch.to_json()``.
        alone: embed the style sheet.

    Raises:
        ValueError: no crash touched anything.
    """
    labels, rows = _fold(touch)
    if not labels or not sum(touch["crashes"]):
        raise ValueError("no first touches to draw")
    shown = [i for i, n in enumerate(touch["crashes"]) if n]
    left, pitch = 92.0, 19.0
    head = 14.0 + 5.9 * max(len(label) for label in labels)
    cell = (WIDTH - left - 6) / len(labels)
    key = svg.uid("first touch", labels, rows)
    body = []
    for j, label in enumerate(labels):
        x = left + (j + 0.5) * cell
        words = svg.text(label, 0, 0, "t")
        body.append(
            svg.el("g", words, transform=f"translate({svg.num(x + 3)} {svg.num(head - 5)}) rotate(-90)")
        )
    for k, i in enumerate(shown):
        y = head + k * pitch
        n = touch["crashes"][i]
        body.append(svg.text(f"{touch['obstacles'][i]}", left - 6, y + 13, "t", text_anchor="end"))
        for j, count in enumerate(rows[i]):
            step = ramp.step(ramp.on_log(count / n, TOP, 0.01)) if count else 0
            name = svg.el("title", escape(f"{touch['obstacles'][i]}, {labels[j]}: {count} of {n} crashes"))
            body.append(
                svg.el(
                    "rect", name, x=left + j * cell, y=y, width=cell - 1, height=pitch - 1,
                    class_=f"r{step} edge" if count else "blank edge",
                )
            )  # fmt: skip
            if count:
                share = 100 * count / n
                words = f"{share:.0f}" if share >= 0.95 else "<1"
                tone = "t turn" if step >= 5 else "t"
                body.append(
                    svg.text(words, left + (j + 0.5) * cell - 0.5, y + 13, tone, text_anchor="middle")
                )
    bottom = head + len(shown) * pitch
    body.append(
        svg.text(
            "part touched first, % of the crashes into each obstacle",
            WIDTH - 6,
            bottom + 14,
            "t quiet",
            text_anchor="end",
        )
    )
    told = "; ".join(
        f"{touch['obstacles'][i]} ({touch['crashes'][i]} crashes): "
        + ", ".join(f"{labels[j]} {100 * c / touch['crashes'][i]:.0f} %" for j, c in enumerate(rows[i]) if c)
        for i in shown
    )
    return svg.figure(
        "".join(body), width=WIDTH, height=bottom + 20, title="Touched first, by obstacle",
        describe=told + ".", key=key, alone=alone,
    )  # fmt: skip


def moment_histograms(moments: Sequence[Mapping[str, Any]], *, alone: bool = False) -> str:
    """Peak root moment of each arm, in plane and out of plane, against what it bears, on one common axis.

    Args:
        moments: ``MomentHistogram.to_json()`` of each arm and plane.
        alone: embed the style sheet.

    Raises:
        ValueError: there are none.
    """
    if not moments:
        raise ValueError("no moments to draw")
    arms = list(dict.fromkeys(m["arm"] for m in moments))
    planes = list(dict.fromkeys(m["plane"] for m in moments))
    key = svg.uid("moments", arms, [m["counts"] for m in moments])
    gap, top, tall, pitch = 14.0, 16.0, 40.0, 88.0
    wide = (WIDTH - 8 - gap * (len(planes) - 1)) / len(planes)
    peak = max(max(m["counts"]) for m in moments) or 1
    edges = moments[0]["edges"]
    bottom = top + pitch * len(arms)
    body = [svg.hatch_defs(key)]
    for m in moments:
        column, row = planes.index(m["plane"]), arms.index(m["arm"])
        x0, y0 = 4 + column * (wide + gap), top + row * pitch
        x_axis = axes.Axis(edges[0], edges[-1], x0, x0 + wide, log=True)
        base = y0 + 32 + tall
        bears = x_axis(m["capacity"])
        for count, (a, b) in zip(m["counts"], itertools.pairwise(edges), strict=True):
            if count:
                height = max(0.8, tall * count / peak)
                fill = svg.hatch_fill(key, "dense" if a >= m["capacity"] else "sparse")
                body.append(
                    svg.el(
                        "rect", x=x_axis(a), y=base - height, width=x_axis(b) - x_axis(a), height=height,
                        fill=fill, class_="box",
                    )
                )  # fmt: skip
        body.append(svg.el("path", d=svg.path([(bears, base), (bears, y0 + 29)]), class_="rule"))
        body.append(svg.el("path", d=svg.path([(x0, base), (x0 + wide, base)]), class_="axis"))
        body.append(svg.text(m["label"] if column == 0 else "", x0, y0 + 11, "t strong"))
        past = f"{100 * m['above']:.2g} % are past {m['capacity']:.0f}"
        body.append(svg.text(past, x0 + wide, y0 + 25, "t mark", text_anchor="end"))
        for value in x_axis.ticks():
            x = x_axis(value)
            body.append(svg.el("path", d=svg.path([(x, base), (x, base + 3)]), class_="axis"))
            body.append(svg.text(axes.label(value), min(x, WIDTH - 8), base + 13, text_anchor="middle"))
    for j, plane in enumerate(planes):
        body.append(svg.text(plane, 4 + j * (wide + gap), 10, "t quiet"))
    body.append(
        svg.text(
            f"root moment, N m; height: crashes, tallest {peak}",
            WIDTH - 4,
            bottom + 12,
            "t quiet",
            text_anchor="end",
        )
    )
    return svg.figure(
        "".join(body), width=WIDTH, height=bottom + 18, title="Root moments against what the arms bear",
        describe=" ".join(m["summary"] for m in moments), key=key, alone=alone,
    )  # fmt: skip
