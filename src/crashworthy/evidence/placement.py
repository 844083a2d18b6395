"""Outside checks of the placement room: exposure here, camera, antennas and prints beside it."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.build.solids import Mesh, box, lathe
from crashworthy.evidence.making import pair_check
from crashworthy.evidence.placement_practice import PRACTICE_CHECKS
from crashworthy.evidence.placement_views import VIEW_CHECKS
from crashworthy.placement.hits import Approaches, Obstacle, hit_shares
from crashworthy.placement.reach import reach_of
from crashworthy.placement.skin import Skin

if TYPE_CHECKING:
    pass

__all__ = ["CHECKS"]

BOX: Final = (0.1, 0.06, 0.04)
UP: Final = np.array([[0.0, 0.0, 1.0]])
GRID: Final = {"spike": (1e-3, 1), "ball": (2e-3, 2), "pole": (1e-3, 1)}
"""Pixel, m, and stride of each kind."""


_check = partial(pair_check, "placement")


def _cup(depth: float) -> tuple[float, float]:
    """A ball in a round cup of radius R rests on the rim: (R² + d²)/2d is the largest that touches bottom."""
    turn = 2 * np.pi * np.arange(720) / 720
    rim = np.column_stack([0.015 * np.cos(turn), 0.015 * np.sin(turn), np.full(720, depth)])
    ball, _ = reach_of(np.zeros((1, 3)), UP, rim)
    return (0.015**2 + depth**2) / (2 * depth) * 1e3, float(ball[0]) * 1e3


def _slot() -> tuple[float, float]:
    y = np.linspace(-0.1, 0.1, 2001)
    walls = [np.column_stack([y, np.full(2001, s * 0.015), np.full(2001, 0.005)]) for s in (1, -1)]
    _, pole = reach_of(np.zeros((1, 3)), UP, np.concatenate(walls), axes=12)
    return 25.0, pole * 1e3


def _pole_across_cup() -> tuple[float, float]:
    turn, z = np.meshgrid(2 * np.pi * np.arange(314) / 314, np.arange(3e-4, 5e-3, 3e-4))
    wall = np.column_stack([0.015 * np.cos(turn.ravel()), 0.015 * np.sin(turn.ravel()), z.ravel()])
    _, pole = reach_of(np.zeros((1, 3)), UP, wall, axes=12)
    return 0.0, pole * 1e3


def _box_cover(kind: str, radius: float) -> tuple[float, float]:
    a, b, c = BOX
    got = float(
        hit_shares(Skin.of([("box", box(BOX))]), Obstacle(kind, kind, radius, *GRID[kind])).areas.sum()
    )
    surface = 2 * (a * b + b * c + c * a)
    if kind == "pole":
        return ((a + b + c) / 2 + 2 * radius) * 1e3, got * 1e3
    steiner = surface + 2 * math.pi * radius * (a + b + c) + 4 * math.pi * radius**2
    return steiner / 4 * 1e6, got * 1e6


def _corner(which: int) -> tuple[float, float]:
    """Shares of a wall between the four corners of a corner tetrahedron, from tiny boxes at them."""
    corners = [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)]
    skin = Skin.of([(str(i), box((1e-9,) * 3, p)) for i, p in enumerate(corners)])
    directions = fibonacci(200_000)
    shares = hit_shares(skin, Obstacle("flat", "flat"), Approaches(directions, np.ones(len(directions))))
    return (1 / 8 if which == 0 else 7 / 24), shares[str(which)]


def _sphere(radius: float, x: float) -> Mesh:
    turn = np.linspace(-np.pi / 2, np.pi / 2, 33)
    profile = [(max(1e-9, radius * math.cos(t)), radius * math.sin(t)) for t in turn]
    return lathe(profile, 64).moved(offset=(x, 0.0, 0.0))


def _spheres(kind: str, radius: float) -> tuple[float, float]:
    """Shares of the smaller of two far spheres R1, R2: (R1 + r)² over the sum, for poles R1 + r."""
    skin = Skin.of([("small", _sphere(0.01, 0.0)), ("large", _sphere(0.02, 0.4))])
    power = 1 if kind == "pole" else 2
    small, large = (0.01 + radius) ** power, (0.02 + radius) ** power
    got = hit_shares(skin, Obstacle(kind, kind, radius, *GRID[kind]))["small"]
    return small / (small + large), got


CAUCHY: Final = "Cauchy's surface formula; arXiv 1604.05815 Theorem 1"
STEINER: Final = "Cauchy and Steiner formulas for parallel bodies; Santalo, Integral Geometry, 1976"

_EXPOSURE: Final = (
    *(
        _check(
            f"reach.ball_d{d}",
            "largest ball that touches the bottom of a round cup",
            f"cup of radius 15 mm, {d} mm deep",
            "mm",
            1e-3,
            "geometry of the circle: r = (R² + d²)/2d",
            "derived",
            lambda d=d: _cup(d * 1e-3),  # type: ignore[misc] # bound now
        )
        for d in (3, 5, 8)
    ),
    _check(
        "reach.pole_along_slot",
        "largest pole that touches the bottom of a long slot",
        "half-width 15 mm, 5 mm deep",
        "mm",
        1e-3,
        "geometry of the circle: r = (R² + d²)/2d",
        "derived",
        _slot,
    ),
    _check(
        "reach.pole_across_cup",
        "no pole touches the bottom of a closed cup",
        "cup of radius 15 mm, 5 mm deep, wall sampled every 0.3 mm",
        "mm",
        0.5,
        "geometry: the wall is in the way of every axis",
        "derived",
        _pole_across_cup,
        relative=False,
    ),
    _check(
        "hits.spike_area",
        "mean projected area of a box",
        "100 x 60 x 40 mm, 1 mm pixel",
        "mm²",
        0.03,
        CAUCHY,
        "read",
        lambda: _box_cover("spike", 0.0),
    ),
    _check(
        "hits.ball_area",
        "mean area in which a ball meets a box",
        "100 x 60 x 40 mm, ball of radius 20 mm, 2 mm pixel",
        "mm²",
        0.03,
        STEINER,
        "recalled",
        lambda: _box_cover("ball", 0.02),
    ),
    _check(
        "hits.pole_width",
        "mean width in which a pole meets a box",
        "100 x 60 x 40 mm, pole of radius 20 mm",
        "mm",
        0.015,
        STEINER,
        "recalled",
        lambda: _box_cover("pole", 0.02),
    ),
    *(
        _check(
            f"hits.flat_corner_{i}",
            "share of walls that meet one corner of a corner tetrahedron",
            "points at 0, x, y and z; 200 000 directions",
            "",
            1e-3,
            "solid angle of the normal cone: an octant is 1/8, the others share the rest",
            "derived",
            lambda i=i: _corner(i),  # type: ignore[misc] # bound now
            relative=False,
        )
        for i in range(4)
    ),
    *(
        _check(
            f"hits.spheres_{kind}",
            f"share of the smaller of two far spheres met by a {kind}",
            f"radii 10 and 20 mm, 400 mm apart, obstacle radius {radius * 1e3:g} mm",
            "",
            0.012,
            "cross sections (R + r)², for poles widths R + r; mutual shading left in the tolerance",
            "derived",
            lambda kind=kind, radius=radius: _spheres(kind, radius),  # type: ignore[misc] # bound now
            relative=False,
        )
        for kind, radius in (("spike", 0.0), ("ball", 0.01), ("pole", 0.01))
    ),
)

CHECKS: Final = (*_EXPOSURE, *VIEW_CHECKS, *PRACTICE_CHECKS)
"""Every check of the room."""
