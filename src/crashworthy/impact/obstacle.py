"""What is flown into: shapes as rows of numbers, gap and normal as one small function.

A row is ``(kind, params[16])``: params 0-2 a point on it (m), 3-5 its unit normal (plane) or axis (cylinder),
6 its radius (m); the rest is free for shapes to come. The kernel turns a row into the body frame once a step.
"""

from __future__ import annotations

import math
from typing import Final

from crashworthy.impact.jit import physics

__all__ = ["CYLINDER", "KINDS", "PARAMS", "PLANE", "SHAPES", "SURFACES", "gap_normal"]

PARAMS: Final = 16
"""Numbers in a row."""

PLANE: Final = 0
"""Half-space: flat ground or wall."""

CYLINDER: Final = 1
"""Endless round bar: pole, trunk or branch."""

KINDS: Final = ("ground", "wall", "pole", "branch")
"""Obstacles of a scenario: flat ground, vertical plane, vertical bar, horizontal bar."""

SHAPES: Final = {"ground": PLANE, "wall": PLANE, "pole": CYLINDER, "branch": CYLINDER}
"""Shape of each kind."""

SURFACES: Final = ("concrete", "asphalt", "soil", "grass", "wood", "steel")
"""Surfaces of the materials tables (rows ``surface_<name>``)."""


@physics
def gap_normal(
    kind: int,
    px: float,
    py: float,
    pz: float,
    ax: float,
    ay: float,
    az: float,
    radius: float,
    x: float,
    y: float,
    z: float,
) -> tuple[float, float, float, float]:
    """Distance of a point from the obstacle (negative inside) and the outward unit normal there.

    Args:
        kind: ``PLANE`` or ``CYLINDER``.
        px: a point on the plane or axis, m.
        py: its y.
        pz: its z.
        ax: unit normal or axis.
        ay: its y.
        az: its z.
        radius: of the cylinder, m.
        x: the point asked for, m, in the same frame.
        y: its y.
        z: its z.
    """
    dx, dy, dz = x - px, y - py, z - pz
    along = dx * ax + dy * ay + dz * az
    if kind == PLANE:
        return along, ax, ay, az
    wx, wy, wz = dx - along * ax, dy - along * ay, dz - along * az
    rho = math.sqrt(wx * wx + wy * wy + wz * wz) + 1e-12
    return rho - radius, wx / rho, wy / rho, wz / rho
