"""A crash as solids: the quad as it stands in a frame of a replay, bent and twisted, and what it flies into.

World frame of the replay: z up, the flight path heads along +x. An obstacle without an end is drawn as the
piece of it near the quad.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.solids import Mesh, box, frame_to, lathe, merge
from crashworthy.impact.arrange import twist_ways
from crashworthy.impact.frames import turned
from crashworthy.impact.limbs import limbs_of
from crashworthy.pictures import svg
from crashworthy.pictures.heat import grey_png
from crashworthy.pictures.render import Eye, shade_shapes
from crashworthy.quantities import MM
from crashworthy.strength.beam import deflection_shape

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from crashworthy.build.quad import Part, Quad
    from crashworthy.impact.replays import Replay

    Floats = NDArray[np.float64]

__all__ = [
    "bent",
    "eye",
    "followers",
    "moments_to_show",
    "obstacle",
    "posed",
    "strip_png",
    "strip_svg",
    "twisters",
]

PIECE: Final = 0.9
"""Length of the drawn piece of an endless obstacle, m."""

SLAB: Final = 8 * MM
"""Drawn thickness of a plane, m."""


def followers(quad: Quad) -> dict[str, tuple[int, Floats]]:
    """Parts that give: which limb each follows, and by what share each of its vertices does, by name."""
    found: dict[str, tuple[int, Floats]] = {}
    for part in quad.parts:
        if part.arm >= 0:
            arm = quad.arms[part.arm]
            share = np.ones(len(part.vertices))
            if part.kind == "arm":
                share = deflection_shape((part.vertices - arm.root) @ arm.axis / arm.length)
            found[part.name] = (part.arm, share)
    for number, limb in enumerate(limbs_of(quad)):
        if number < len(quad.arms):
            continue
        for k, index in enumerate(limb.parts):
            part = quad.parts[index]
            share = np.ones(len(part.vertices)) if k else limb.share(part.vertices)[0]
            found[part.name] = (number, share)
    return found


def twisters(quad: Quad) -> dict[str, tuple[int, Floats]]:
    """Parts that turn as an arm twists: the arm, and how each vertex moves, (v, 3) m/rad, by name."""
    limbs = limbs_of(quad)
    return {
        name: (arm, twist_ways(limbs[arm], quad.part(name).vertices, share))
        for name, (arm, share) in followers(quad).items()
        if arm < len(quad.arms)
    }


def bent(
    part: Part,
    moved: Floats,
    follows: Mapping[str, tuple[int, Floats]],
    twist: Floats | None = None,
    turns: Mapping[str, tuple[int, Floats]] | None = None,
) -> Floats:
    """(v, 3) vertices of a part in the frame of the quad.

    Args:
        part: of the build.
        moved: (limbs, 3) movement of each limb, m.
        follows: from ``followers``.
        twist: (arms,) of each arm, rad.
        turns: from ``twisters``; without, nothing twists.
    """
    if part.name not in follows:
        return part.vertices
    limb, share = follows[part.name]
    vertices: Floats = part.vertices + np.outer(share, moved[limb])
    if twist is not None and turns is not None and part.name in turns:
        arm, ways = turns[part.name]
        vertices = vertices + twist[arm] * ways
    return vertices


def posed(quad: Quad, replay: Replay, frame: int) -> list[tuple[str, Mesh]]:
    """The parts in the world at a frame."""
    q, place = replay.attitude[frame], replay.place[frame]
    follows, turns = followers(quad), twisters(quad)
    limbs, twist = replay.limbs[frame], replay.twists[frame]
    return [
        (p.name, Mesh(place + turned(q, bent(p, limbs, follows, twist, turns)), p.faces))
        for p in quad.parts
        if len(p.faces)
    ]


def _rod(radius: float, at: Floats, axis: Floats, *, tip: bool = False) -> Mesh:
    """A round bar about ``at``; with ``tip`` one that begins there, round, along ``axis``."""
    if tip:
        angle = np.radians(np.linspace(0.0, 90.0, 7))
        cap = [(max(radius * np.sin(a), 1e-5), -radius * np.cos(a)) for a in angle]
        return lathe([*cap, (radius, 0.5 * PIECE)], 24).moved(frame_to(axis), at)
    return lathe([(radius, -0.5 * PIECE), (radius, 0.5 * PIECE)], 32).moved(frame_to(axis), at)


def obstacle(replay: Replay) -> Mesh:
    """The piece of the obstacle that the quad meets, in the world, where it stands at rest."""
    row = replay.row
    point, axis, radius, across, size, other = row[0:3], row[3:6], row[6], row[7:10], row[10], row[11]
    near = replay.place[0]
    foot = point + ((near - point) @ axis) * axis
    if replay.shape == "plane":
        foot = near - ((near - point) @ axis) * axis - 0.5 * SLAB * axis
        return box((PIECE, PIECE, SLAB)).moved(frame_to(axis), foot)
    if replay.shape == "cylinder":
        return _rod(radius, foot, axis)
    third = np.cross(axis, across)
    frame = np.column_stack([across, third, axis])
    if replay.shape == "box":
        return box((2 * (size + radius), 2 * (other + radius), PIECE)).moved(frame, foot)
    if replay.shape == "spike":
        return _rod(radius, point, axis, tip=True)
    if replay.shape == "gap":
        return merge(_rod(radius, foot, axis), _rod(radius, foot + size * across, axis))
    return _stones(near, point, frame, radius, float(size), float(other))


def _stones(near: Floats, point: Floats, frame: Floats, radius: float, pitch: float, high: float) -> Mesh:
    """Floor and the stones of rubble around the quad."""
    across, third, axis = frame.T
    reach = 0.5 * PIECE
    foot = near - ((near - point) @ axis) * axis
    bodies = [box((PIECE, PIECE, SLAB)).moved(frame, foot - 0.5 * SLAB * axis)]
    angle = np.radians(np.linspace(-90.0, 90.0, 9))
    ball = lathe([(max(radius * np.cos(a), 1e-5), radius * np.sin(a)) for a in angle], 14)
    x, y = (foot - point) @ across, (foot - point) @ third
    for i in range(int(np.ceil((x - reach) / pitch)), int(np.floor((x + reach) / pitch)) + 1):
        for j in range(int(np.ceil((y - reach) / pitch)), int(np.floor((y + reach) / pitch)) + 1):
            at = point + i * pitch * across + j * pitch * third + high * axis
            bodies.append(ball.moved(None, at))
    return merge(*bodies)


def eye(replay: Replay) -> tuple[float, float]:
    """Azimuth and elevation of the eye, deg: beside and behind, where an upright plane shows its face."""
    return (-108.0 if replay.shape != "plane" or replay.row[4] <= 0.0 else 108.0), 14.0


def moments_to_show(replay: Replay, count: int = 6) -> list[int]:
    """Frames from first touch to just after the last contact, evenly spaced."""
    last = max((end for _, _, end in replay.contacts), default=float(replay.time[-1]))
    until = min(float(replay.time[-1]), max(1.15 * last, 1e-3))
    return [int(np.abs(replay.time - t).argmin()) for t in np.linspace(0.0, until, count)]


def strip_png(quad: Quad, replay: Replay, count: int = 6, *, width: int = 1200, columns: int = 3) -> bytes:
    """Moments of a crash side by side, from left to right and top to bottom, as a grey PNG.

    Args:
        quad: the build.
        replay: the crash.
        count: moments, by ``moments_to_show``.
        width: points across.
        columns: pictures in a row.
    """
    frames = moments_to_show(replay, count)
    thing = obstacle(replay)
    azimuth, elevation = eye(replay)
    poses = [posed(quad, replay, f) for f in frames]
    every = [shape for pose in poses for shape in pose]
    loose = Eye.on(every, width // columns, azimuth, elevation)
    seen = np.concatenate([m.vertices for _, m in every])
    u, v = seen @ loose.right, seen @ loose.up
    half = 0.56 * max(float(np.ptp(u)), float(np.ptp(v)) / 0.75)
    middle = (float(u.max() + u.min()) / 2, float(v.max() + v.min()) / 2)
    window = (middle[0] - half, middle[0] + half, middle[1] - 0.75 * half, middle[1] + 0.75 * half)
    cells = []
    for pose, f in zip(poses, frames, strict=True):
        shapes = [*pose, ("obstacle", Mesh(thing.vertices + replay.swing[f], thing.faces))]
        view = Eye.on(shapes, width // columns, azimuth, elevation, window)
        cells.append(shade_shapes(shapes, {"obstacle": 0.28}, view, around=0))
    rule = 255 * np.ones((cells[0].shape[0], 4), np.uint8)
    rows = []
    for start in range(0, len(cells), columns):
        row = cells[start : start + columns]
        row += [np.full_like(cells[0], 255)] * (columns - len(row))
        rows.append(np.hstack([piece for c in row for piece in (c, rule)][:-1]))
        rows.append(np.full((4, rows[0].shape[1]), 255, np.uint8))
    return grey_png(np.vstack(rows[:-1]))


def strip_svg(quad: Quad, replay: Replay, count: int = 6, *, columns: int = 3, alone: bool = False) -> str:
    """The same with the time of each moment and what is in contact then printed below it."""
    frames = moments_to_show(replay, count)
    png = strip_png(quad, replay, count, width=900, columns=columns)
    wide, tall = (int.from_bytes(png[i : i + 4], "big") for i in (16, 20))
    width = 340.0
    cell = width / columns
    rows = (count + columns - 1) // columns
    step = width * tall / wide / rows
    labels = {p.name: p.label for p in quad.parts}
    told = []
    for f in frames:
        now = [labels[p] for p, a, b in replay.contacts if a - 5e-5 <= replay.time[f] <= b + 5e-5]
        told.append((f"{1000 * replay.time[f]:.1f} ms", ", ".join(now) or "free"))
    height = rows * (step + 30.0)
    body = []
    data = "data:image/png;base64," + base64.b64encode(png).decode()
    key = svg.uid("strip", replay.crash, data[-24:])
    for r in range(rows):
        clip = svg.el("rect", x=0, y=r * (step + 30.0), width=width, height=step)
        body.append(svg.el("clipPath", clip, id=f"{key}-{r}"))
        picture = svg.el(
            "image",
            href=data,
            x=0,
            y=r * 30.0,
            width=width,
            height=rows * step,
            preserveAspectRatio="none",
            class_="heat seen",
        )
        body.append(svg.el("g", picture, clip_path=f"url(#{key}-{r})"))
    for i, (time, touching) in enumerate(told):
        x, y = (i % columns) * cell, (i // columns) * (step + 30.0) + step
        body.append(svg.text(time, x + 2, y + 12, "t strong"))
        body.append(
            svg.text(touching if len(touching) < 21 else touching[:19] + "…", x + 2, y + 24, "t quiet small")
        )
    words = "; ".join(f"{time}: {touching}" for time, touching in told)
    return svg.figure(
        "".join(body),
        width=width,
        height=height,
        title=f"Crash {replay.crash}, {count} moments",
        describe=f"{replay.summary()} In contact: {words}.",
        key=key,
        alone=alone,
    )
