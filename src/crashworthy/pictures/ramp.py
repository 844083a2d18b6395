"""The one lightness ramp by which pictures shade a quantity, with a printed scale.

Ten steps from the colour of the ground to the colour of ink, as classes ``r0`` to ``r9``; ``plot.css`` gives
them their lightness on paper and on slate. Shares span decades, so a share is placed on a logarithmic scale.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from crashworthy.pictures import svg

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["FLOOR", "STEPS", "grey", "on_log", "scale", "step"]

STEPS = 10
"""How many steps the ramp has."""

FLOOR = 1e-3
"""The smallest share that is told from nothing, one in a thousand."""


def on_log(share: float, top: float, floor: float = FLOOR) -> float:
    """Where a share stands between ``floor`` (0) and ``top`` (1) on a logarithmic scale, clipped.

    Args:
        share: 0 to 1.
        top: the share that gets the full shade, above ``floor``.
        floor: shares at or below it are not shaded.

    Raises:
        ValueError: ``top`` is not above ``floor`` or ``floor`` not above 0.
    """
    if not 0 < floor < top:
        raise ValueError(f"a scale from {floor} to {top} cannot be drawn")
    if share <= floor:
        return 0.0
    return min(1.0, math.log(share / floor) / math.log(top / floor))


def step(fraction: float) -> int:
    """The step, 0 to 9, for a place on the ramp, 0 to 1."""
    return min(STEPS - 1, max(0, int(fraction * STEPS)))


def grey(fraction: float) -> tuple[float, float, float]:
    """Linear red, green, blue on paper for a place on the ramp; lightness falls from 0.88 to 0.08."""
    fraction = min(1.0, max(0.0, fraction))
    light = 0.88 - 0.80 * fraction
    linear = light**2.2
    return (linear * 0.94, linear, linear * 1.04)


def scale(
    low: str, high: str, title: str, marks: Iterable[tuple[float, str]] = (), *, alone: bool = False
) -> str:
    """The printed scale: ten boxes from ``low`` to ``high``, with marks at places from 0 to 1."""
    key, width, box = svg.uid(title, low, high), 340.0, 30.0
    body = [
        svg.el("rect", x=20 + i * box, y=18, width=box, height=14, class_=f"r{i} edge") for i in range(STEPS)
    ]
    body.append(svg.text(title, 20, 12, "t"))
    body.append(svg.text(low, 20, 45, "t", text_anchor="start"))
    body.append(svg.text(high, 320, 45, "t", text_anchor="end"))
    body += [
        svg.text(words, 20 + place * box * STEPS, 45, "t", text_anchor="middle")
        for place, words in marks
        if 0.15 < place < 0.85
    ]
    return svg.figure(
        "".join(body),
        width=width,
        height=50,
        title=title,
        describe=f"Lightness scale from {low} (ground) to {high} (ink).",
        key=key,
        class_="plot scale",
        alone=alone,
    )
