"""How far a quad would go beyond first touch until a given part meets the obstacle, were nothing in the way.

A cheap number that says much about whether a crash will reach a part: the forecast of rare hits rests on it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.impact.jit import physics
from crashworthy.impact.obstacle import Shape, gap_normal
from crashworthy.impact.press_parts import half_width
from crashworthy.impact.rigid import cross, dot, into_body, rotation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["FAR", "travel"]

FAR: Final = 0.3
"""Travel beyond which none is told apart, m: as wide as the quad."""


@physics
def travel(craft: Craft, parts: Ints, kinds: Ints, rows: Floats, state: Floats, far: float) -> Floats:
    """(parts, n) straight travel from first touch until each part meets the obstacle, m; at most ``far``.

    Args:
        craft: the quad.
        parts: which of the craft's parts.
        kinds: (n,) shape of each obstacle.
        rows: (16, n) obstacles.
        state: (13, n) at first touch.
        far: what is told of parts that would pass by.
    """
    out = np.empty((len(parts), len(kinds)))
    for c in range(len(kinds)):
        r = rotation((state[6, c], state[7, c], state[8, c], state[9, c]))
        axis, across = (rows[3, c], rows[4, c], rows[5, c]), (rows[7, c], rows[8, c], rows[9, c])
        shape = Shape(
            (rows[0, c], rows[1, c], rows[2, c]), axis, across, cross(axis, across), rows[6, c], rows[10, c],
            rows[11, c],
        )  # fmt: skip
        v = (state[3, c], state[4, c], state[5, c])
        inv = 1.0 / np.sqrt(dot(v, v))
        v = (v[0] * inv, v[1] * inv, v[2] * inv)
        for p in range(len(parts)):
            best = far
            for i in range(craft.start[parts[p]], craft.start[parts[p] + 1]):
                x, y, z = craft.position[i, 0], craft.position[i, 1], craft.position[i, 2]
                at = (
                    state[0, c] + r[0] * x + r[1] * y + r[2] * z,
                    state[1, c] + r[3] * x + r[4] * y + r[5] * z,
                    state[2, c] + r[6] * x + r[7] * y + r[8] * z,
                )
                gone = 0.0
                for _ in range(60):
                    gap, n = gap_normal(
                        kinds[c], shape, (at[0] + gone * v[0], at[1] + gone * v[1], at[2] + gone * v[2])
                    )
                    gap -= half_width(craft, i, into_body(r, n))
                    if gap < 1e-4:
                        break
                    gone += gap
                    if gone >= best:
                        break
                best = min(best, gone)
            out[p, c] = best
    return out
