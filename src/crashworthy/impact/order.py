"""The order in which crashes are put side by side: those that unfold alike become neighbours.

A block works on every point that any of its crashes touches, so neighbours should touch the same points at
the same time. Where the obstacle stands, seen from the quad, and how fast it comes decide most of that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.impact.rigid import rotation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["likeness"]

LEAF: Final = 8
"""Crashes that are not parted any more: lanes of the widest register."""

PACE: Final = 0.5
"""Weight of the logarithm of the closing speed beside the components of the normal (found by trial)."""


def likeness(group: NDArray[np.int64], state: Floats, normal: Floats, closing: Floats) -> NDArray[np.int64]:
    """(n,) ranks: crashes of one group are halved again and again where they differ most.

    Args:
        group: (n,) crashes of different groups never become neighbours on purpose.
        state: (13, n) initial states.
        normal: (3, n) outward normal of the obstacle where it is touched, world frame.
        closing: (n,) closing speed, m/s.
    """
    seen = np.array(
        [
            *np.einsum("ijn,in->jn", np.array(rotation(tuple(state[6:10]))).reshape(3, 3, -1), normal),
            PACE * np.log(np.maximum(closing, 0.5)),
        ]
    ).T
    rank = np.empty(len(group), dtype=np.int64)
    done = 0
    waiting = [np.flatnonzero(group == g) for g in np.unique(group)[::-1]]
    while waiting:
        some = waiting.pop()
        if len(some) <= LEAF:
            rank[some] = np.arange(done, done + len(some))
            done += len(some)
            continue
        widest = int(seen[some].std(axis=0).argmax())
        some = some[np.argsort(seen[some, widest], kind="stable")]
        half = -(-len(some) // (2 * LEAF)) * LEAF
        waiting += [some[half:], some[:half]]
    return rank
