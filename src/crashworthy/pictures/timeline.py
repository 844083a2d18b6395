"""One crash over time: push of the obstacle, load of each arm root, and which part is in contact."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.pictures import axes, svg
from crashworthy.pictures.plots import WIDTH, thin

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from crashworthy.impact.replays import Replay

    Floats = NDArray[np.float64]

__all__ = ["LEFT", "RIGHT", "arm_loads", "timeline"]

LEFT, RIGHT = 44.0, 332.0
"""Places of the first and last frame."""

PARTS: Final = 12
"""Parts that get a line of contacts, in the order of first contact."""


def arm_loads(replay: Replay) -> Floats:
    """(frames, arms) root load: moments in both planes and torque over what breaks half, added in squares.

    1 is the load at which half of such roots break.
    """
    bent = ((replay.moments / replay.capacity) ** 2).sum(axis=2)
    shares: Floats = np.sqrt(bent + (replay.torques / replay.torque_capacity) ** 2)
    return shares


def _curve(x: axes.Axis, y: axes.Axis, time: Floats, values: Floats, class_: str) -> str:
    a, b = thin(time, values)
    places = [(x(float(t)), y(float(v))) for t, v in zip(a, b, strict=True)]
    return svg.el("path", d=svg.path(places), class_=class_)


def timeline(replay: Replay, labels: Mapping[str, str], *, alone: bool = False) -> str:
    """The picture; its element of class "cursor" stands at time 0 and is moved by the viewer.

    Args:
        replay: the crash.
        labels: of the parts, by name.
        alone: embed the style sheet.
    """
    time = 1000.0 * replay.time
    push = np.linalg.norm(replay.push, axis=1)
    loads = arm_loads(replay)
    x = axes.Axis(0.0, max(float(time[-1]), 0.1), LEFT, RIGHT)
    named = list(dict.fromkeys(p for p, _, _ in replay.contacts))[:PARTS]
    first, second, third = 92.0, 196.0, 220.0
    bottom = third + 15.0 * len(named) + 4.0
    high = max(float(push.max()), 1.0)
    top_load = max(1.1, float(loads.max(initial=0.0)) * 1.1)
    up = axes.Axis(0.0, 1.08 * high, first, 18.0)
    load_axis = axes.Axis(0.0, top_load, second, 124.0)
    body = []
    for value in x.ticks(6):
        at = x(value)
        body.append(svg.el("path", d=svg.path([(at, bottom), (at, 18.0)]), class_="grid"))
        body.append(svg.text(axes.label(value), at, bottom + 13, text_anchor="middle"))
    scales = ((up, "push of the obstacle, N"), (load_axis, "arm roots: load over what breaks half"))
    for scale, title in scales:
        for value in scale.ticks(3):
            line = svg.path([(LEFT, scale(value)), (RIGHT, scale(value))])
            body.append(svg.el("path", d=line, class_="grid"))
            body.append(svg.text(axes.label(value), LEFT - 5, scale(value) + 4, text_anchor="end"))
        body.append(svg.el("path", d=svg.path([(LEFT, scale.start), (RIGHT, scale.start)]), class_="axis"))
        body.append(svg.text(title, 2, scale.end - 7, "t quiet"))
    body.append(_curve(x, up, time, push, "curve"))
    body += [
        _curve(x, load_axis, time, loads[:, arm], f"curve s{arm}" if arm else "curve")
        for arm in range(loads.shape[1])
    ]
    one = load_axis(1.0)
    body.append(svg.el("path", d=svg.path([(LEFT, one), (RIGHT, one)]), class_="rule thin"))
    body.append(svg.text("in contact", 2, third - 8, "t quiet"))
    for row, name in enumerate(named):
        y = third + 15.0 * row
        spans = [(a, b) for p, a, b in replay.contacts if p == name]
        for a, b in spans:
            left = x(1000.0 * a)
            wide = max(2.0, x(1000.0 * b) - left)
            body.append(svg.el("rect", x=left, y=y + 3, width=wide, height=8, class_="bar"))
        start, end = x(1000.0 * spans[0][0]), x(1000.0 * spans[-1][1])
        label = labels.get(name, name)
        if end < 0.62 * RIGHT:
            body.append(svg.text(label, end + 5, y + 11, "t halo"))
        elif start - 5 > 6.2 * len(label):
            body.append(svg.text(label, start - 5, y + 11, "t halo", text_anchor="end"))
        else:  # no room on either side: behind its first contact, over what follows
            body.append(svg.text(label, min(x(1000.0 * spans[0][1]) + 5, 190.0), y + 11, "t halo"))
    body.append(svg.text("ms after first touch", RIGHT, bottom + 27, "t quiet", text_anchor="end"))
    body.append(svg.el("path", d=svg.path([(LEFT, bottom), (LEFT, 12.0)]), class_="rule cursor"))
    key = svg.uid("timeline", replay.crash, float(time[-1]), high)
    dashes = ("solid", "dashed", "dotted", "dash and dot")
    arms = [
        f"{labels.get(a, a)} ({dashes[i % 4]}) up to {loads[:, i].max():.2g}"
        for i, a in enumerate(replay.arms)
    ]
    told = ", ".join(f"{labels.get(p, p)} {1000 * a:.1f} to {1000 * b:.1f} ms" for p, a, b in replay.contacts)
    return svg.figure(
        "".join(body),
        width=WIDTH,
        height=bottom + 32,
        title=f"Crash {replay.crash} over time",
        describe=f"Greatest push {high:.0f} N. Arm root loads: {'; '.join(arms)}. In contact: {told}.",
        key=key,
        class_="plot timeline",
        alone=alone,
    )
