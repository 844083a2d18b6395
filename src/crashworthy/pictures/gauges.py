"""Due bars and the four-motor card: what needs a hand, said by a word and a hatch."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from crashworthy.pictures import axes, svg

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["DueBar", "MotorSpot", "due_bars", "motor_card"]

WIDTH = 340.0


@dataclass(frozen=True, slots=True)
class DueBar:
    """One joint group on the due list.

    Attributes:
        label: "arm screws".
        age: dose since it was last tightened, packs.
        interval: best interval, packs.
        low, high: the zone that costs almost as little, packs.
        state: hatch, one of ``svg.HATCHES``.
        words: its state in words ("due in 1 pack").
    """

    label: str
    age: float
    interval: float
    low: float
    high: float
    state: str
    words: str


def due_bars(rows: Sequence[DueBar], *, title: str = "What is due", alone: bool = False) -> str:
    """Bars of age against interval; the band is the zone in which a check costs almost as little.

    Each bar has its own scale: its band always stands at the same place, so the eye compares states.

    Raises:
        ValueError: there are no rows or a number is not finite.
    """
    if not rows:
        raise ValueError("no joint groups to draw")
    if any(not math.isfinite(v) for r in rows for v in (r.age, r.interval, r.low, r.high)):
        raise ValueError("ages and intervals must be finite")
    key = svg.uid(title, *(r.label for r in rows))
    pitch = 52.0
    height = pitch * len(rows) - 4
    body = [svg.hatch_defs(key)]
    for i, row in enumerate(rows):
        y = pitch * i
        scale = axes.Axis(0.0, max(row.interval, row.high) * 1.5, 4.0, 336.0)
        body.append(svg.text(row.label, 4, y + 12, "t strong large"))
        body.append(
            svg.text(
                row.words,
                336,
                y + 12,
                "t large mark" if row.state != "open" else "t large",
                text_anchor="end",
            )
        )
        body.append(svg.el("rect", x=4, y=y + 17, width=332, height=13, fill="none", class_="edge"))
        wide = scale(row.age) - 4
        if wide > 0:
            fill = svg.hatch_fill(key, "sparse" if row.state == "open" else row.state)
            body.append(svg.el("rect", x=4, y=y + 17, width=wide, height=13, fill=fill, class_="box"))
        low, high, best = scale(row.low), scale(row.high), scale(row.interval)
        body.append(svg.el("rect", x=low, y=y + 15, width=max(1.0, high - low), height=17, class_="zone"))
        body.append(svg.el("path", d=svg.path([(best, y + 14), (best, y + 33)]), class_="rule"))
        # One line below each bar, its two ends apart: on a phone the numbers never meet.
        body.append(svg.text(f"{row.age:.1f} packs of wear", 4, y + 43, "t quiet"))
        zone = f"best checked at {row.low:.2g}–{row.high:.2g}"
        body.append(svg.text(zone, 336, y + 43, "t quiet", text_anchor="end"))
    words = "; ".join(
        f"{r.label}: {r.words}, {r.age:.1f} packs since the last check, best at {r.interval:.3g}"
        f" ({r.low:.3g} to {r.high:.3g})"
        for r in rows
    )
    return svg.figure(
        "".join(body), width=WIDTH, height=height, title=title, describe=words, key=key, alone=alone
    )


@dataclass(frozen=True, slots=True)
class MotorSpot:
    """One motor of the card.

    Attributes:
        corner: "front left".
        value: the number with unit ("8.1 g mm"), or why there is none.
        words: its state in a word or two.
        state: hatch, one of ``svg.HATCHES``.
    """

    corner: str
    value: str
    words: str
    state: str


def motor_card(spots: Sequence[MotorSpot], *, title: str = "Four motors", alone: bool = False) -> str:
    """The quad from above, nose up, each motor with its number, word and hatch.

    Args:
        spots: front left, front right, rear left, rear right.
        title: of the picture.
        alone: embed the style sheet.

    Raises:
        ValueError: there are not four spots.
    """
    if len(spots) != 4:
        raise ValueError("the card shows four motors")
    key = svg.uid(title, *(s.value for s in spots))
    places = [(118.0, 62.0), (222.0, 62.0), (118.0, 158.0), (222.0, 158.0)]
    body = [svg.hatch_defs(key)]
    for x, y in places:
        body.append(svg.el("path", d=svg.path([(170, 110), (x, y)]), class_="axis"))
    body.append(svg.el("rect", x=152, y=84, width=36, height=52, rx=4, class_="body"))
    body.append(svg.el("path", d=svg.path([(170, 78), (164, 90), (176, 90)], closed=True), class_="tip"))
    body.append(svg.text("nose", 170, 72, "t quiet", text_anchor="middle"))
    for (x, y), spot in zip(places, spots, strict=True):
        body.append(svg.el("circle", cx=x, cy=y, r=22, class_="body"))
        body.append(svg.el("circle", cx=x, cy=y, r=22, fill=svg.hatch_fill(key, spot.state), class_="box"))
        left = x < 170
        at, anchor = (x - 28, "end") if left else (x + 28, "start")
        top = y - 28 if y < 110 else y + 34
        body.append(svg.text(spot.corner, x, top, "t quiet", text_anchor="middle"))
        body.append(svg.text(spot.value, at, y, "t strong", text_anchor=anchor))
        body.append(
            svg.text(spot.words, at, y + 13, "t mark" if spot.state != "open" else "t", text_anchor=anchor)
        )
    words = "; ".join(f"{s.corner}: {s.value}, {s.words}" for s in spots)
    return svg.figure(
        "".join(body), width=WIDTH, height=202, title=title, describe=words, key=key, alone=alone
    )
