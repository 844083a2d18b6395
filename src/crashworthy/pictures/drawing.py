"""The line drawing of a quad from above, with numbered balloons: outlines of the parts, drawn bottom up."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.pictures import svg

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Part, Quad

__all__ = ["Item", "items", "outline", "plan"]

WIDTH = 340.0
INNER = 236.0
"""Width of the drawing between the two columns of balloons."""

_CORNER = re.compile(r"[_ ](fl|fr|rl|rr|left|right|l|r|\d+)$")
_CORNER_WORDS = re.compile(
    r"^(front left|front right|rear left|rear right|left|right) "
    r"|[ ,]+(left|right|\d+)$"
    r"| (fl|fr|rl|rr|l|r)(?= )"
)

UNDER = ("screw", "lead", "plug", "strap", "shield", "lens", "loose")
"""Kinds that get no balloon: small, or hidden from above; the parts list still has them."""


@dataclass(frozen=True, slots=True)
class Item:
    """Parts that share a balloon: "motor", four of them.

    Attributes:
        number: in the balloon, from 1.
        label: in words.
        kind: of the parts.
        parts: their names.
        mass: of all of them, kg.
    """

    number: int
    label: str
    kind: str
    parts: tuple[str, ...]
    mass: float

    @property
    def count(self) -> int:
        """How many parts."""
        return len(self.parts)


def _stem(name: str) -> str:
    while (shorter := _CORNER.sub("", name)) != name:
        name = shorter
    return name


def _stem_label(label: str) -> str:
    while (shorter := _CORNER_WORDS.sub("", label)) != label:
        label = shorter
    return label


def items(quad: Quad) -> tuple[Item, ...]:
    """The parts list: parts that differ only by corner or number stand together, heaviest item first."""
    groups: dict[tuple[str, str], list[Part]] = {}
    for part in quad.parts:
        groups.setdefault((part.kind, _stem(part.name)), []).append(part)
    order = sorted(groups.items(), key=lambda g: -sum(p.mass for p in g[1]))
    return tuple(
        Item(
            number=i + 1,
            label=_stem_label(group[0].label) if len(group) > 1 else group[0].label,
            kind=kind,
            parts=tuple(p.name for p in group),
            mass=sum(p.mass for p in group),
        )
        for i, ((kind, _), group) in enumerate(order)
    )


def outline(part: Part, tolerance: float = 2e-4) -> list[list[list[tuple[float, float]]]]:
    """What a part covers seen from above: polygons as [outer ring, holes...], m, in x and y of the quad.

    Args:
        part: with a shape.
        tolerance: detail below this is left out, m.
    """
    import shapely

    flat = part.vertices[:, :2]
    triangles = flat[part.faces]
    a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    twice_area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    seen = triangles[np.abs(twice_area) > 1e-11]
    if not len(seen):
        return []
    shape = shapely.union_all(shapely.polygons(seen), grid_size=1e-6).simplify(tolerance)
    polygons = [g for g in shapely.get_parts(shape) if g.geom_type == "Polygon" and g.area > 1e-8]
    return [
        [[(float(x), float(y)) for x, y in ring.coords] for ring in (p.exterior, *p.interiors)]
        for p in polygons
    ]


def plan(
    quad: Quad,
    shade: Mapping[str, int] | None = None,
    *,
    link: str = "",
    alone: bool = False,
    only: tuple[Item, ...] | None = None,
) -> tuple[str, tuple[Item, ...]]:
    """The drawing, nose up, and the parts list its balloons point into.

    Args:
        quad: what to draw.
        shade: step on the ramp, 0 to 9, by part name; None leaves every part unshaded.
        link: what a balloon links to, with ``{}`` for its number ("#part-{}"); "" for no links.
        alone: embed the style sheet.
        only: what to point at instead of every group of parts, with its own numbers.
    """
    shaped = [p for p in quad.parts if len(p.faces)]
    every = np.concatenate([p.vertices for p in shaped])
    low, high = every[:, :2].min(axis=0), every[:, :2].max(axis=0)
    scale = INNER / max(float((high - low).max()), 1e-3)
    middle = (low + high) / 2
    tall = float(high[0] - low[0]) * scale
    listed = items(quad) if only is None else only
    hidden = UNDER if only is None else ()
    drawn = [i for i in listed if i.kind not in hidden and any(len(quad.part(n).faces) for n in i.parts)]
    height = max(tall + 40, 27 * ((len(drawn) + 1) // 2) + 24)
    centre = (WIDTH / 2, height / 2)

    def place(x: float, y: float) -> tuple[float, float]:
        return centre[0] - (y - middle[1]) * scale, centre[1] - (x - middle[0]) * scale

    body = [
        svg.el("path", d=svg.path([(centre[0], 8), (centre[0], height - 8)]), class_="centre"),
        svg.el("path", d=svg.path([(46, centre[1]), (294, centre[1])]), class_="centre"),
    ]
    for part in sorted(shaped, key=lambda p: float(p.vertices[:, 2].max())):
        rings = [
            svg.path([place(*xy) for xy in ring], closed=True) for poly in outline(part) for ring in poly
        ]
        if not rings:
            continue
        class_ = "ghost" if part.kind == "prop" and shade is None else "body"
        if shade is not None:
            class_ = f"body r{shade.get(part.name, 0)}"
        name = svg.el("title", f"{part.label}, {1000 * part.mass:.1f} g".replace("&", "and"))
        body.append(svg.el("path", name, d=" ".join(rings), fill_rule="evenodd", class_=class_))
    body.append(_balloons(quad, drawn, place, height, link))
    key = svg.uid("plan", quad.digest, link, *(i.label for i in only or ()))
    span = 1000 * (high - low)
    picture = svg.figure(
        "".join(body),
        width=WIDTH,
        height=height,
        title=f"{quad.name} from above, nose up",
        describe=f"Line drawing, {span[0]:.0f} mm long and {span[1]:.0f} mm wide, with"
        f" {len(drawn)} numbered items: " + ", ".join(f"{i.number} {i.label}" for i in drawn) + ".",
        key=key,
        class_="plot plan",
        links=bool(link),
        alone=alone,
    )
    return picture, listed


def _balloons(quad: Quad, drawn: list[Item], place: object, height: float, link: str) -> str:
    """Balloons in two columns, each opposite its part, ordered so that leaders do not cross."""
    assert callable(place)  # noqa: S101 - tells the type checker
    targets: dict[int, tuple[float, float]] = {}
    for item in drawn:
        spots = [place(*quad.part(n).centre[:2]) for n in item.parts if len(quad.part(n).faces)]
        targets[item.number] = max(spots, key=lambda s: (abs(s[0] - WIDTH / 2), -s[1]))
    # What stands in the middle goes left and right by turns, from the nose back, so that leaders stay apart.
    aside = [i for i in drawn if abs(targets[i.number][0] - WIDTH / 2) > 14]
    middle = sorted((i for i in drawn if i not in aside), key=lambda i: targets[i.number][1])
    sides: tuple[list[Item], list[Item]] = ([], [])
    for item in aside:
        sides[int(targets[item.number][0] > WIDTH / 2)].append(item)
    for item in middle:
        sides[len(sides[0]) > len(sides[1])].append(item)
    out: list[str] = []
    for side, unsorted in enumerate(sides):
        x = 14.0 if side == 0 else WIDTH - 14.0
        column = sorted(unsorted, key=lambda i: targets[i.number][1])
        gap = (height - 28) / max(1, len(column) - 1) if len(column) > 1 else 0.0
        for i, item in enumerate(column):
            y = 14 + i * gap if gap else height / 2
            tx, ty = targets[item.number]
            edge = x + (11 if side == 0 else -11)
            leader = svg.el("path", d=svg.path([(edge, y), (tx, ty)]), class_="leader")
            tip = svg.el("circle", cx=tx, cy=ty, r=1.8, class_="tip")
            ball = svg.el("circle", cx=x, cy=y, r=11, class_="balloon")
            number = svg.text(str(item.number), x, y + 4, "t", text_anchor="middle")
            whole = leader + tip + ball + number
            if link:
                whole = svg.el(
                    "a", whole, href=link.format(item.number), aria_label=f"{item.number} {item.label}"
                )
            out.append(whole)
    return "".join(out)
