"""The same places of touch where two builds are the same.

Contact points are chosen for a whole quad, so a change of one part may move points of another, which is noise
in a comparison. Parts that both builds share in name and shape, and that are as open to touch in both, take
the points of the first build (shifted when the part was shifted as a whole); only altered parts keep their
own.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.quad import ContactPoints

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad

    Floats = NDArray[np.float64]

__all__ = ["matched"]

OPEN: Final = 0.02
"""Exposed skin may differ by this share for a part to count as equally open (assumption)."""

CLOSE: Final = 1e-9
"""Corners nearer than this, m, are the same."""


def _shift(a: Quad, i: int, b: Quad, j: int) -> Floats | None:
    """(3,) by which part ``j`` of ``b`` is part ``i`` of ``a`` moved as a whole; None for another shape."""
    one, two = a.parts[i], b.parts[j]
    if (
        one.kind != two.kind
        or one.arm != two.arm
        or one.vertices.shape != two.vertices.shape
        or not len(one.vertices)
    ):
        return None
    if one.kind == "arm":
        beam, other = a.arms[one.arm], b.arms[two.arm]
        if not np.allclose(beam.root, other.root, atol=CLOSE) or beam.length != other.length:
            return None
    shift: Floats = two.vertices[0] - one.vertices[0]
    return shift if np.allclose(one.vertices + shift, two.vertices, rtol=0.0, atol=CLOSE) else None


def matched(a: Quad, b: Quad) -> tuple[Quad, frozenset[str]]:
    """The second build with the first one's contact points where nothing changed.

    Returns:
        The second build, and the names of parts of either that are touched at places of their own.
    """
    home = {p.name: i for i, p in enumerate(a.parts)}
    skin_a, skin_b = (np.bincount(q.points.part, q.points.area, len(q.parts)) for q in (a, b))
    pieces: list[tuple[NDArray[Any], ...]] = []
    altered = {p.name for i, p in enumerate(a.parts) if skin_a[i] > 0.0}
    for j, part in enumerate(b.parts):
        i = home.get(part.name, -1)
        shift = _shift(a, i, b, j) if i >= 0 else None
        same = shift is not None and abs(skin_b[j] - skin_a[i]) <= OPEN * max(skin_a[i], skin_b[j])
        source, index = (a, i) if same else (b, j)
        mine = source.points.part == index
        if same:
            altered.discard(part.name)
        elif skin_b[j] > 0.0:
            altered.add(part.name)
        if mine.any():
            p = source.points
            moved = p.position[mine] + (shift if same and shift is not None else 0.0)
            number = np.full(int(mine.sum()), j, dtype=np.int32)
            pieces.append(
                (moved, p.area[mine], p.normal[mine], number, p.arm[mine], p.station[mine], p.spread[mine])
            )
    columns = [np.concatenate(column) for column in zip(*pieces, strict=True)]
    for column in columns:
        column.flags.writeable = False
    position, area, normal, part_of, arm, station, spread = columns
    points = ContactPoints(
        position, area, normal, part_of.astype(np.int32), arm.astype(np.int32), station, spread
    )
    return replace(b, points=points), frozenset(altered)
