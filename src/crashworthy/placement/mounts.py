"""Antenna mount and lead guard, made from the build's own sizes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.errors import Problem, SheetError
from crashworthy.placement.gates import check
from crashworthy.placement.printed import CLEAR, ROUND, WALL, Printed, bar, finish
from crashworthy.quantities import DEG, MM

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from crashworthy.build.quad import Part, Quad

__all__ = ["antenna_mount", "lead_guard"]


def _solids() -> Any:
    import manifold3d

    return manifold3d


def antenna_mount(quad: Quad, name: str | None = None, lean: float = 45.0) -> Printed:
    """A ring for the standoff nearest to an antenna's foot, with a tube that leans outwards and up.

    Args:
        quad: the build.
        name: antenna; the first by default.
        lean: of the tube from upright, deg.

    Raises:
        SheetError: no antenna or standoff, or a gate refuses the shape.
    """
    antennas = quad.sheet.antennas
    posts = [p for p in quad.parts if p.kind == "standoff" and len(p.vertices)]
    if not antennas or (name is not None and name not in antennas) or not posts:
        raise SheetError(
            Problem(
                "an antenna mount needs an antenna and a standoff",
                f"antennas: {', '.join(antennas) or 'none'}; standoffs: {len(posts)}",
            )
        )
    name = next(iter(antennas)) if name is None else name
    foot = np.array(antennas[name].at)
    posts.sort(key=lambda p: float(np.linalg.norm(p.centre / MM - foot)))
    return _first_good(
        _mount(quad, name, post, lean, back, share)
        for post in posts
        for share in (0.8, 1.0, 0.5, 0.2, 0.0)
        for back in (0.3, 1.0, 0.0)
    )


def _first_good(tries: Iterable[Callable[[], Printed]]) -> Printed:
    """The first shape that passes its gates; the first refusal when none does."""
    refused: SheetError | None = None
    for attempt in tries:
        try:
            return attempt()
        except SheetError as error:
            refused = refused or error
    assert refused is not None  # noqa: S101 - there is at least one try
    raise refused


def _mount(
    quad: Quad, name: str, post: Part, lean: float, back: float, share: float
) -> Callable[[], Printed]:
    """A mount on one standoff, leaning so far back, at a share of the free height; made when called."""
    return lambda: _make_mount(quad, name, post, lean, back, share)


def _make_mount(quad: Quad, name: str, post: Part, lean: float, back: float, share: float) -> Printed:
    row = quad.sheet.antennas[name]
    low, high = post.vertices.min(axis=0) / MM, post.vertices.max(axis=0) / MM
    d = float(high[0] - low[0])
    x, y = (float(v) for v in post.centre[:2] / MM)
    out = np.array([-back if x < 0 else back, 1.0 if y >= 0 else -1.0, 0.0])
    out /= np.linalg.norm(out)
    tall = min(10.0, float(high[2] - low[2]) - 2)
    z = float(low[2]) + 1 + share * (float(high[2] - low[2]) - 2 - tall)
    way = math.sin(lean * DEG) * out + np.array([0.0, 0.0, math.cos(lean * DEG)])
    bore = row.d + 2 * CLEAR
    start = np.array([x, y, z]) + out * (d / 2 + 2 * WALL + bore / 2 + 1.5)
    ring = bar(d + 2 * CLEAR + 2 * 2.4, [x, y, z], [x, y, z + tall])
    stub = bar(bore + 2 * WALL, start, start + 4.0 * way)
    solid = _solids().Manifold.batch_hull([ring, stub]) + bar(bore + 2 * WALL, start, start + 14.0 * way)
    # Flat below, so that it stands on the printer.
    solid = solid.trim_by_plane((0.0, 0.0, 1.0), z)
    solid -= bar(d + 2 * CLEAR, [x, y, z - 20], [x, y, z + tall + 20])
    solid -= bar(bore, start - 12 * way, start + 30 * way)
    up = np.array([0.0, 0.0, 1.0])
    gates = check(
        solid,
        genus=2,
        up=up,
        holds=[post],
        around=[p for p in quad.parts if p.name != post.name],
    )
    return finish(
        "antenna-mount",
        f"mount for the {quad.part(name).label} on the {post.label}, {lean:g} deg out",
        solid,
        gates,
        up,
        "TPU 95A, 0.2 mm layers, 3 walls, 60 % fill, ring down (common practice, no source)",
        holds=(name,),
        edits=(
            (f"antennas.{name}.at", [round(float(v), 2) for v in start]),
            (f"antennas.{name}.dir", [round(float(v), 4) for v in way]),
        ),
    )


def lead_guard(quad: Quad, name: str | None = None) -> Printed:
    """A snap-on sleeve for the longest free piece of a lead, with a slot for a tie.

    Args:
        quad: the build.
        name: lead; the one that stands out most by default.

    Raises:
        SheetError: no such lead, or a gate refuses the shape.
    """
    leads = quad.sheet.leads
    if not leads or (name is not None and name not in leads):
        raise SheetError(Problem("no such lead to guard", f"leads: {', '.join(leads) or 'none'}"))
    if name is None:
        from crashworthy.placement.leads import loop_depths

        depths = loop_depths(quad)
        name = max(depths, key=lambda n: depths[n])
    path = np.array(leads[name].path)
    longest = np.argsort(-np.linalg.norm(np.diff(path, axis=0), axis=1))
    return _first_good(
        _guard(quad, name, int(k), turn) for k in longest for turn in (0.0, 0.5 * np.pi, np.pi, 1.5 * np.pi)
    )


def _guard(quad: Quad, name: str, k: int, turn: float) -> Callable[[], Printed]:
    """A guard on one straight piece of a lead, turned about it; made when called."""
    return lambda: _make_guard(quad, name, k, turn)


def _make_guard(quad: Quad, name: str, k: int, roll: float) -> Printed:
    row = quad.sheet.leads[name]
    path = np.array(row.path)
    span = path[k + 1] - path[k]
    length = min(14.0, 0.9 * float(np.linalg.norm(span)))
    middle, way = (path[k] + path[k + 1]) / 2, span / np.linalg.norm(span)
    bore = row.d + 2 * CLEAR
    outer = bore / 2 + WALL
    # Made along z, then turned onto the lead; the tie slot lies below the bore.
    cs = _solids().CrossSection
    block = cs.square((2 * outer, 2 * outer + 5.0), center=True).translate((0.0, -2.5))
    profile = (
        block - cs.circle(bore / 2, ROUND) - cs.square((0.5 * bore, 2 * outer)).translate((-0.25 * bore, 0.0))
    )
    solid = _solids().Manifold.extrude(profile, length)
    slot = _solids().Manifold.cube((2 * outer + 2, 1.8, 3.6), True).translate((0.0, -outer - 0.9, length / 2))
    solid = solid - slot
    from crashworthy.build.solids import frame_to, rotation

    turn = frame_to(way) @ rotation(z=roll)
    base = middle - way * length / 2
    solid = solid.transform(np.column_stack([turn, base]))
    gates = check(
        solid,
        genus=1,
        up=np.asarray(way),
        holds=[],
        around=[p for p in quad.parts if p.kind not in ("lead", "plug")],
    )
    return finish(
        "lead-guard",
        f"guard for the {quad.part(name).label}, bore {bore:.1f} mm, {length:.0f} mm long",
        solid,
        gates,
        np.asarray(way),
        "TPU 95A, 0.2 mm layers, 4 walls, standing on its end (common practice, no source)",
        holds=(name, f"{name}_plug"),
    )
