"""A quad pulled apart in height, with a numbered balloon for each screw group that points at its screws."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.solids import Mesh
from crashworthy.pictures import svg
from crashworthy.pictures.render import Eye, render_shapes
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Joint, Part, Quad
    from crashworthy.placement.skin import Shapes

    Floats = NDArray[np.float64]

__all__ = ["Balloon", "exploded_png", "joints_map"]

APART: Final = 45 * MM
"""Gap drawn between layers, m."""

TOGETHER: Final = 22 * MM
"""Screws nearer to each other than this, m, share a leader."""

AZIMUTH: Final = 40.0
ELEVATION: Final = 25.0

_LEVELS: Final = {
    "arm": 1,
    "motor": 2,
    "prop": 3,
    "standoff": 3,
    "board": 2,
    "camera": 3,
    "lens": 3,
    "box": 4,
}


def _lift(quad: Quad, part: Part) -> float:
    """How many layers a part is drawn above its place."""
    if part.kind == "plate":
        return 0.0 if part.centre[2] < 0 else 2.0 if part.centre[2] < 15 * MM else 5.0
    if part.kind in ("battery", "shield", "strap"):
        return 6.0
    if part.kind == "screw":
        joint = next((j for j in quad.joints if j.name == part.joint), None)
        held = [] if joint is None else [quad.part(n) for n in joint.joins]
        return max((float(_LEVELS.get(h.kind, 4)) for h in held), default=4.0) + 0.5
    return float(_LEVELS.get(part.kind, 4))


def _apart(quad: Quad, apart: float) -> Shapes:
    return [
        (p.name, Mesh(p.vertices + np.array([0.0, 0.0, _lift(quad, p) * apart]), p.faces))
        for p in quad.parts
        if len(p.faces)
    ]


def exploded_png(quad: Quad, *, apart: float = APART, width: int = 900) -> bytes:
    """The quad pulled apart in height, screws dark, so that each screw group shows where it sits.

    Args:
        quad: what to draw.
        apart: gap drawn between layers, m.
        width: points across.
    """
    shapes = _apart(quad, apart)
    tone = {p.name: 1.0 if p.kind == "screw" else 0.0 for p in quad.parts}
    return render_shapes(shapes, tone, Eye.on(shapes, width, AZIMUTH, ELEVATION))


@dataclass(frozen=True, slots=True)
class Balloon:
    """One entry of the list beside the map.

    Attributes:
        number: in the balloon, from 1.
        joint: the screw group.
        count: screws.
        words: thread, length, nut and what holds them.
    """

    number: int
    joint: Joint
    count: int
    words: str


def _places(positions: Floats) -> list[Floats]:
    """Middles of the screws (n, 3) that stand within ``TOGETHER`` of the first of their kind, m."""
    left = list(positions)
    found = []
    while left:
        near = [p for p in left if np.linalg.norm(p[:2] - left[0][:2]) < TOGETHER]
        left = [p for p in left if np.linalg.norm(p[:2] - left[0][:2]) >= TOGETHER]
        found.append(np.mean(near, axis=0))
    return found


def joints_map(quad: Quad, *, width: int = 640, alone: bool = False) -> tuple[str, tuple[Balloon, ...]]:
    """The exploded picture with a balloon for each screw group, and the list the balloons point into.

    Args:
        quad: what to draw.
        width: points across the rendered picture.
        alone: embed the style sheet.
    """
    shapes = _apart(quad, APART)
    eye = Eye.on(shapes, width, AZIMUTH, ELEVATION)
    tone = {p.name: 1.0 if p.kind == "screw" else 0.0 for p in quad.parts}
    data = "data:image/png;base64," + base64.b64encode(render_shapes(shapes, tone, eye)).decode()
    scale, margin = 400.0 / eye.width, 30.0
    height, whole = eye.height * scale, 400.0 + 2 * margin
    body = [
        svg.el(
            "image",
            href=data,
            x=margin,
            y=0,
            width=400,
            height=height,
            preserveAspectRatio="none",
            class_="heat seen",
        )
    ]
    found: list[tuple[float, float, Joint, list[tuple[float, float]]]] = []
    for joint in quad.joints:
        screws = [p for p in quad.parts if p.kind == "screw" and p.joint == joint.name]
        lift = max((_lift(quad, p) for p in screws), default=0.0) * APART
        seats = []
        for place in _places(joint.positions):
            x, y = eye.place(place + np.array([0.0, 0.0, lift]))
            seats.append((margin + x * scale, y * scale))
        if seats:
            across, down = np.mean(seats, axis=0)
            found.append((float(down), float(across), joint, seats))
    found.sort(key=lambda f: (f[0], f[2].name))
    balloons = []
    for number, (_, _, joint, seats) in enumerate(found, 1):
        left = number % 2 == 1
        x = 14.0 if left else whole - 14.0
        y = (number - 0.5) * height / len(found)
        for seat in seats:
            body.append(svg.el("path", d=svg.path([(x, y), seat]), class_="leader"))
            body.append(svg.el("circle", cx=seat[0], cy=seat[1], r=2.2, class_="tip"))
        body.append(svg.el("circle", cx=x, cy=y, r=11, class_="balloon"))
        body.append(svg.text(str(number), x, y + 4, "t strong", text_anchor="middle"))
        nut = "" if joint.nut == "none" else f", {joint.nut} nut"
        lock = ", threadlock" if joint.threadlock else ""
        words = f"{joint.thread} x {joint.screw_length / MM:g} mm{nut}{lock}"
        balloons.append(Balloon(number, joint, len(joint.positions), words))
    title = f"Where the screws of {quad.name} sit"
    describe = "; ".join(f"{b.number} {b.joint.name}: {b.count} screws, {b.words}" for b in balloons)
    key = svg.uid(title, describe)
    picture = svg.figure(
        "".join(body), width=whole, height=height, title=title, describe=describe, key=key, alone=alone
    )
    return picture, tuple(balloons)
