"""The strike map drawn: a dot at each contact point of the quad, larger and darker where more goes in.

Two scales, both fixed so that two builds compare by eye: share of crashes in which the point is pressed
(0.1 % to 50 %), and impulse in 100 crashes (0.03 to 30 N s). Both are logarithmic. Size repeats what
lightness says.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from crashworthy.build.solids import Mesh
from crashworthy.pictures import ramp
from crashworthy.pictures.glb import glb
from crashworthy.pictures.heat import grey_png
from crashworthy.pictures.render import Eye, shade_shapes
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.strikes import StrikeMap

    Floats = NDArray[np.float64]

__all__ = ["SCALES", "By", "Scale", "dots", "places", "strike_glb", "strike_png", "strike_scale", "words_of"]

By = Literal["impulse", "hits"]
"""What a map shows."""


@dataclass(frozen=True, slots=True)
class Scale:
    """The fixed scale of one quantity.

    Attributes:
        low, high: its ends.
        ends: the ends in words with unit.
        title: what it is.
        marks: (number, words) between.
    """

    low: float
    high: float
    ends: tuple[str, str]
    title: str
    marks: tuple[tuple[float, str], ...]


SCALES: Final[dict[By, Scale]] = {
    "hits": Scale(
        1e-3, 0.5, ("0.1 %", "50 %"), "point pressed in this share of crashes", ((0.01, "1 %"), (0.1, "10 %"))
    ),
    "impulse": Scale(
        0.03,
        30.0,
        ("0.03 N s", "30 N s"),
        "impulse into the point in 100 crashes",
        ((0.3, "0.3"), (3.0, "3")),
    ),
}
"""By quantity."""

SMALLEST, LARGEST = 1.2 * MM, 4.6 * MM
"""Radius of the dots at the ends of a scale, m."""

_EIGHT: Final = np.array(
    [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]], dtype=np.int32
)


def _values(strikes: StrikeMap, by: By) -> Floats:
    found: Floats = strikes.hits / strikes.n if by == "hits" else strikes.per_hundred
    return found


def places(strikes: StrikeMap, by: By) -> Floats:
    """(points,) place on the ramp, 0 to 1; NaN where a point was never pressed."""
    scale = SCALES[by]
    values = _values(strikes, by)
    return np.array(
        [ramp.on_log(float(v), scale.high, scale.low) if v > 0.0 else np.nan for v in values], dtype=float
    )


def words_of(strikes: StrikeMap, index: int) -> str:
    """One point in words: what it is on, where, how often, how much."""
    label = strikes.parts[strikes.part[index]][1]
    x, y, z = strikes.place[index] / MM
    return (
        f"{label} at {x:.0f} / {y:.0f} / {z:.0f} mm: pressed in "
        f"{100 * strikes.hits[index] / strikes.n:.2g} of 100 "
        f"crashes, first in {100 * strikes.first[index] / strikes.n:.2g}, {strikes.per_hundred[index]:.2g} "
        f"N s"
    )


def dots(strikes: StrikeMap, by: By) -> list[tuple[str, Mesh, dict[str, Any]]]:
    """Name, body and extras of a dot for each point that was pressed."""
    eight = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float)
    found: list[tuple[str, Mesh, dict[str, Any]]] = []
    for i, place in enumerate(places(strikes, by)):
        if np.isnan(place):
            continue
        size = SMALLEST + (LARGEST - SMALLEST) * place
        extras = {
            "label": words_of(strikes, i),
            "kind": "point",
            "part": strikes.parts[strikes.part[i]][0],
            "shade": round(float(place), 3),
        }
        found.append((f"point-{i}", Mesh(strikes.place[i] + size * eight, _EIGHT), extras))
    return found


def strike_glb(quad: Quad, strikes: StrikeMap, by: By = "impulse") -> bytes:
    """The quad, pale, with its dots, as GLB."""
    return glb(quad, {}, dots(strikes, by))


def strike_png(
    quad: Quad, strikes: StrikeMap, by: By = "impulse", *, width: int = 900, azimuth: float = 40.0,
    elevation: float = 35.0,
) -> bytes:  # fmt: skip
    """The quad, pale, with its dots, as a grey PNG seen from ahead and above unless told otherwise.

    Args:
        quad: the build.
        strikes: the map.
        by: what the dots show.
        width: points across.
        azimuth: of the eye, deg, from ahead towards the left.
        elevation: of the eye, deg.
    """
    made = dots(strikes, by)
    shapes = [(p.name, Mesh(p.vertices, p.faces)) for p in quad.parts if len(p.faces)]
    shapes += [(name, mesh) for name, mesh, _ in made]
    tone = {name: 0.25 + 0.75 * float(extras["shade"]) for name, _, extras in made}
    return grey_png(shade_shapes(shapes, tone, Eye.on(shapes, width, azimuth, elevation), around=0))


def strike_scale(by: By, *, alone: bool = False) -> str:
    """The printed scale of a map."""
    scale = SCALES[by]
    marks = [(ramp.on_log(v, scale.high, scale.low), words) for v, words in scale.marks]
    return ramp.scale(*scale.ends, scale.title, marks, alone=alone)
