"""What pilots hold to be so, beside the numbers: common practice, no source.

A freestyle camera at 20 degrees of tilt, with no frame in the picture, is said to sit so deep that no
obstacle but a nail or the tip of a piece of rubble reaches the lens. The build is invented: cheeks beside a
19 mm camera, a plate above and below, a lens of 150 degrees along the diagonal.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crashworthy.evidence.registry import Check
from crashworthy.placement.camera import GLASS, STUB, CameraBench, Pose
from crashworthy.placement.reach import LIMIT

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

__all__ = ["PRACTICE_CHECKS"]

SHEET: Final = """
schema = 1
name = "Practice"
arms = { wheelbase = 226, t = 5, w_root = 17, w_tip = 12 }
motors = { d = 28, h = 19, mass = 33 }
props = { d = 127, blades = 3, mass = 4.2 }
[plates]
bottom = { rect = [150, 44], corner = 6, t = 2.5, z = -2.5 }
top = { rect = [150, 40], corner = 6, t = 2, z = 35 }
cheek = { side = [[46, 0], [78, 0], [80, 30], [72, 35], [46, 35]], y = 10.5, t = 2 }
[standoffs]
post = { at = [[68, 16], [-68, 16]], z = 0, h = 35, d = 5 }
[camera]
at = { edge_x = 80, recess = 0, z = 20, tilt = 20 }
view = { fov = 150, of = "d", aspect = 1.3333, projection = "equidistant" }
"""

TILT: Final = 20.0
FREE: Final = 0.01
"""Share of the picture at which the frame counts as out of it: corners only (assumption)."""

TRUNK: Final = 50e-3
"""Radius of the thinnest trunk of the everyday crashes, m (assumption)."""

POLE: Final = 20e-3
"""Radius of the thinnest steel pole of the everyday crashes, m (assumption)."""

SOURCE: Final = "common practice, no source"


@lru_cache(maxsize=1)
def _glass() -> tuple[CameraBench, float, NDArray[np.float64], float]:
    """The bench, the deepest recess (mm), the largest balls there and the largest pole (m)."""
    from crashworthy.build.assemble import assemble
    from crashworthy.build.reading import parse

    bench = CameraBench(assemble(parse(SHEET, Path(), "practice"), Path()))
    deepest = bench.deepest(TILT, FREE)
    assert deepest is not None  # noqa: S101 - the frame can be left behind: the lens may stick out
    return bench, deepest, *bench.glass(Pose.of(bench.camera, deepest, TILT))


def _open(radius: float) -> float:
    """Share of all directions from which a ball of a radius (m) touches the glass."""
    return float((_glass()[2] >= radius).sum()) / GLASS


def _check(
    name: str, title: str, more: str, unit: str, tolerance: float, run: Callable[[], tuple[float, float]]
) -> Check:
    inputs = f"20 deg, cage in 1 % of the picture (corners), lens 150 deg along the diagonal; {more}"
    return Check(f"placement.practice.{name}", title, inputs, unit, tolerance, False, SOURCE, "recalled", run)


PRACTICE_CHECKS: Final = (
    _check(
        "wall",
        "share of directions from which a wall reaches a freestyle lens",
        "practice: none",
        "",
        0.0,
        lambda: (0.0, _open(LIMIT)),
    ),
    _check(
        "trunk",
        "share of directions from which a trunk's end or a boulder reaches it",
        "100 mm thick, the thinnest trunk of the everyday mix; practice: none",
        "",
        0.0,
        lambda: (0.0, _open(TRUNK)),
    ),
    _check(
        "pole",
        "by how much a pole that reaches it is thicker than the thinnest steel pole",
        "40 mm, the thinnest of the everyday mix; practice: no pole reaches it",
        "mm",
        0.0,
        lambda: (0.0, max(0.0, 2e3 * (_glass()[3] - POLE))),
    ),
    _check(
        "stub",
        "share of directions from which a 40 mm stub reaches it",
        "practice: none; one direction in twenty is let pass as none (assumption)",
        "",
        0.05,
        lambda: (0.0, _open(STUB)),
    ),
    _check(
        "nail",
        "a nail or the tip of rubble reaches it: 1 for yes",
        "10 mm thick; practice: it does",
        "",
        0.0,
        lambda: (1.0, float(_open(5e-3) > 0.0)),
    ),
)
"""Where practice and computation part company is told in docs/placement.md: stubs."""
