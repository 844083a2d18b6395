"""What is flown into: shapes as rows of numbers, gap and normal as one small function.

A row holds ``PARAMS`` numbers: 0-2 a point on it (m), 3-5 its unit normal (floor) or axis (bar), 6 a radius
(m), 7-9 a direction across the axis, 10 and 11 two more sizes (m), 12-14 how it gives: one over its moving
mass (1/kg), its stiffness (N/m) and damping (N s/m); all zero for what does not move. The kernel turns a row
into the body frame once a step.

| shape | point | axis | radius | across | size 10 | size 11 |
|---|---|---|---|---|---|---|
| PLANE | on it | outward normal | | | | |
| CYLINDER | on its axis | along it | of the bar | | | |
| BOX | middle of its section | along it | of its edges | side of the section | half width | half height |
| SPIKE | middle of its round tip | from the tip into the rod | of the rod | | | |
| RUBBLE | on the floor, at a stone | up | of the stones | along a row of them | one to the next | height |
| GAP | on the axis of the first post | along it | of the posts | to the other post | between axes | |

Rubble is a floor with equal stones in a square pattern, their middles ``height`` above (below: negative) the
floor; place and turn of the pattern are drawn anew for each crash.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import floor, least, most, size, sqrt, where
from crashworthy.impact.rigid import Triple, along, cross, dot, less

__all__ = [
    "BOX",
    "CYLINDER",
    "GAP",
    "KINDS",
    "PARAMS",
    "PLANE",
    "ROUND",
    "RUBBLE",
    "SHAPES",
    "SPIKE",
    "SURFACES",
    "Shape",
    "gap_normal",
]

PARAMS: Final = 16
"""Numbers in a row."""

PLANE: Final = 0
"""Half-space: flat ground, wall or net."""

CYLINDER: Final = 1
"""Endless round bar: pole, trunk or branch."""

BOX: Final = 2
"""Endless bar of rectangular section with rounded edges: rail, kerb or edge."""

SPIKE: Final = 3
"""Rod with a round tip, endless behind it."""

RUBBLE: Final = 4
"""Floor strewn with stones."""

GAP: Final = 5
"""Two parallel bars."""

KINDS: Final = (
    "ground", "wall", "pole", "branch", "edge", "rail", "spike", "rubble", "net", "gap",
)  # fmt: skip
"""Obstacles of a scenario: flat ground, vertical plane, vertical bar, horizontal bar, the edge of something
large, a thin rectangular bar, an upright rod, stones on a floor, a vertical net or fence that gives, two
posts."""

SHAPES: Final = {
    "ground": PLANE,
    "wall": PLANE,
    "net": PLANE,
    "pole": CYLINDER,
    "branch": CYLINDER,
    "edge": BOX,
    "rail": BOX,
    "spike": SPIKE,
    "rubble": RUBBLE,
    "gap": GAP,
}
"""Shape of each kind."""

ROUND: Final = ("pole", "branch", "edge", "rail", "spike", "rubble", "gap")
"""Kinds that press on a small part of a flat face."""

SURFACES: Final = ("concrete", "asphalt", "soil", "grass", "wood", "steel")
"""Surfaces of the materials tables (rows ``surface_<name>``)."""


class Shape(NamedTuple):
    """An obstacle in some frame: point, axis, direction across and third direction, and its sizes (m)."""

    point: Triple
    axis: Triple
    across: Triple
    third: Triple
    radius: float
    wide: float
    high: float


@physics
def gap_normal(kind: int, shape: Shape, p: Triple) -> tuple[float, Triple]:
    """Distance of a point from the obstacle, m (negative inside), and the outward unit normal there.

    Args:
        kind: ``PLANE`` ... ``GAP``.
        shape: the obstacle.
        p: the point asked for, m, in the same frame.
    """
    d = less(p, shape.point)
    h = dot(d, shape.axis)
    if kind == PLANE:
        return h, shape.axis
    if kind == BOX:
        x, y = dot(d, shape.across), dot(d, shape.third)
        ax, ay = size(x) - shape.wide, size(y) - shape.high
        ox, oy = most(ax, 0.0), most(ay, 0.0)
        rho = sqrt(ox * ox + oy * oy)
        gap = rho + least(most(ax, ay), 0.0) - shape.radius
        # Outside the core of the section the normal leads away from it; inside it, to the nearer side.
        inv = 1.0 / most(rho, 1e-12)
        nx = where(rho > 1e-12, ox * inv, where(ax > ay, 1.0, 0.0))
        ny = where(rho > 1e-12, oy * inv, where(ax > ay, 0.0, 1.0))
        nx, ny = where(x < 0.0, -nx, nx), where(y < 0.0, -ny, ny)
        zero = (0.0 * nx, 0.0 * nx, 0.0 * nx)
        return gap, along(along(zero, nx, shape.across), ny, shape.third)
    if kind == RUBBLE:
        x, y = dot(d, shape.across), dot(d, shape.third)
        x -= shape.wide * floor(x / shape.wide + 0.5)
        y -= shape.wide * floor(y / shape.wide + 0.5)
        z = h - shape.high
        rho = sqrt(x * x + y * y + z * z) + 1e-12
        stone = rho - shape.radius
        on_floor = h < stone
        inv = 1.0 / rho
        zero = (0.0 * x, 0.0 * x, 0.0 * x)
        m = along(along(along(zero, x * inv, shape.across), y * inv, shape.third), z * inv, shape.axis)
        a = shape.axis
        return least(h, stone), (
            where(on_floor, a[0], m[0]),
            where(on_floor, a[1], m[1]),
            where(on_floor, a[2], m[2]),
        )
    if kind == SPIKE:
        h = most(h, 0.0)
    q = along(d, -h, shape.axis)
    if kind == GAP:
        other = dot(q, shape.across) > 0.5 * shape.wide
        q = along(q, where(other, -shape.wide, 0.0), shape.across)
    rho = sqrt(dot(q, q)) + 1e-12
    inv = 1.0 / rho
    return rho - shape.radius, (q[0] * inv, q[1] * inv, q[2] * inv)


@physics
def third_of(axis: Triple, across: Triple) -> Triple:
    """Third direction of a shape: axis x across."""
    return cross(axis, across)
