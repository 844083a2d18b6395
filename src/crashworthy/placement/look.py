"""A short look at a build, made to be held against another: exposure, view, link, mass, balance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.placement.antennas import Radio
from crashworthy.placement.budget import link_of
from crashworthy.placement.camera import VIEW_LIMIT, CameraBench
from crashworthy.placement.hits import OBSTACLES, Approaches, hit_shares
from crashworthy.placement.moves import camera_row
from crashworthy.placement.ranking import FRAGILE
from crashworthy.placement.reach import reach
from crashworthy.placement.skin import skin_of
from crashworthy.quantities import GRAM, MM

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.build.quad import Quad

__all__ = ["Line", "Look", "lines", "look"]

DIRECTIONS = 100
"""Directions of the shares; the same for both builds."""


@dataclass(frozen=True, slots=True)
class Look:
    """What is compared.

    Attributes:
        name, digest: of the build.
        labels: by name of each fragile part.
        shares: of first touches by part, mean over spike, balls and bar, props stopped.
        balls: radius of the largest ball that can touch each part, m; infinite where a wall can.
        cage: share of the picture behind the cage, or None without a view.
        deepest: deepest recess within the limit, mm, or None.
        ranges: range in nine directions of ten by antenna, m.
        mass: kg.
        balance: (3,) centre of gravity, m.
    """

    name: str
    digest: str
    labels: Mapping[str, str]
    shares: Mapping[str, float]
    balls: Mapping[str, float]
    cage: float | None
    deepest: float | None
    ranges: Mapping[str, float]
    mass: float
    balance: tuple[float, float, float]


def look(quad: Quad, limit: float = VIEW_LIMIT, approaches: Mapping[str, Approaches] | None = None) -> Look:
    """Look at a build.

    Args:
        quad: the build.
        limit: share of the picture the cage may cover.
        approaches: directions of obstacles by kind; evenly from everywhere by default.
    """
    given = approaches or {}
    skin = skin_of(quad)
    hits = [
        hit_shares(
            skin, o, given.get("pole" if o.kind == "pole" else "ball") or Approaches.uniform(DIRECTIONS)
        )
        for o in OBSTACLES
        if o.kind != "flat"
    ]
    fragile = [p for p in quad.parts if p.kind in FRAGILE and len(p.faces)]
    cage, deepest = None, None
    if quad.sheet.camera is not None and quad.sheet.camera.view is not None:
        row, deepest = camera_row(CameraBench(quad), limit)
        cage = row.cage
    radio = Radio(quad)
    return Look(
        quad.name,
        quad.digest,
        {p.name: p.label for p in fragile},
        {p.name: float(np.mean([h[p.name] for h in hits])) for p in fragile},
        {r.part: r.ball for r in reach(skin, [p.name for p in fragile], axes=0)},
        cage,
        deepest,
        {n: link_of(radio, n).tenth for n, row in quad.sheet.antennas.items() if row.mhz is not None},
        quad.mass,
        tuple(float(v) for v in quad.mass_properties.cog),  # type: ignore[arg-type] # three of them
    )


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a before and after.

    Attributes:
        what: is compared, with unit.
        before, after, change: in words; "" where there is none.
        better: 1 when it got better, -1 worse, 0 neither.
    """

    what: str
    before: str
    after: str
    change: str
    better: int

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "what": self.what,
            "before": self.before,
            "after": self.after,
            "change": self.change,
            "better": self.better,
        }


def _line(what: str, a: float, b: float, unit: str, digits: int, *, good: int, least: float) -> Line:
    """A row of numbers; ``good`` is 1 when more is better, -1 when less is, 0 when neither."""
    change = b - a
    moved = abs(change) >= least
    sign = (1 if change > 0 else -1) * good if moved else 0
    shown = f"{change:+.{digits}f} {unit}" if moved else "same"
    return Line(what, f"{a:.{digits}f} {unit}", f"{b:.{digits}f} {unit}", shown, sign)


def _thick(radius: float | None) -> str:
    return "none" if radius is None else f"{2e3 * radius:.0f} mm" if math.isfinite(radius) else "a wall"


def lines(a: Look, b: Look, parts: Sequence[str] = ()) -> tuple[Line, ...]:
    """Before and after, the rows that differ and those asked for.

    Args:
        a: before.
        b: after.
        parts: names that are shown whether they differ or not.
    """
    rows: list[Line] = []
    for name in dict.fromkeys([*a.shares, *b.shares]):
        label = a.labels.get(name) or b.labels[name]
        one, two = a.shares.get(name), b.shares.get(name)
        if one is None or two is None:
            rows.append(Line(f"{label}, touched first", _percent(one), _percent(two), "", 0))
            continue
        # Half a hundredth of a per cent, or a twentieth of it, is what the directions leave open.
        if name in parts or abs(two - one) > max(5e-5, 0.05 * one):
            rows.append(
                _line(f"{label}, touched first", 100 * one, 100 * two, "% of hits", 2, good=-1, least=0.005)
            )
        thin, thick = a.balls.get(name), b.balls.get(name)
        if name in parts or _thick(thin) != _thick(thick):
            better = 0 if thin is None or thick is None else (thin > thick) - (thin < thick)
            same = _thick(thin) == _thick(thick)
            rows.append(
                Line(
                    f"{label}, thickest ball that touches it",
                    _thick(thin),
                    _thick(thick),
                    "same" if same else "",
                    0 if same else better,
                )
            )
    if a.cage is not None and b.cage is not None:
        rows.append(_line("cage in the picture", 100 * a.cage, 100 * b.cage, "%", 1, good=-1, least=0.05))
    for name in a.ranges:
        if name in b.ranges:
            one, two = a.ranges[name], b.ranges[name]
            ratio = 20 * math.log10(two / one)
            least = 0.05 * one
            row = _line(f"{name}, range in 9 of 10 directions", one, two, "m", 0, good=1, least=least)
            if row.better or name in parts:
                change = row.change if row.change == "same" else f"{row.change} ({ratio:+.1f} dB)"
                rows.append(Line(row.what, row.before, row.after, change, row.better))
    rows.append(_line("mass", a.mass / GRAM, b.mass / GRAM, "g", 1, good=-1, least=0.05))
    for axis, words in ((0, "forward"), (2, "up")):
        rows.append(
            _line(
                f"centre of gravity, {words}",
                a.balance[axis] / MM,
                b.balance[axis] / MM,
                "mm",
                1,
                good=0,
                least=0.05,
            )
        )
    return tuple(rows)


def _percent(share: float | None) -> str:
    return "none" if share is None else f"{100 * share:.2f} % of hits"
