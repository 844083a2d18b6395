"""The kernel with one crash in each lane of a vector: the same text as ``crash_numbers``, typed otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from crashworthy.impact.jit import physics
from crashworthy.impact.kernel import crash_block
from crashworthy.impact.simd import views

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Beds, Craft, Room, Task

    Ints = NDArray[np.int32]

__all__ = ["crash_vectors"]

seen: Any = views
"""The compiler gives ``views`` its first argument itself, which a type checker cannot know."""


@physics
def crash_vectors(
    width: tuple[int, ...], craft: Craft, beds: Beds, law: int, kinds: Ints, surfaces: Ints, task: Task,
    room: Room, dt: float, steps: int, settle: float, every: int,
) -> None:  # fmt: skip
    """Run blocks of crashes; as ``crash_numbers``, but arrays have the lane as their last axis.

    Args:
        width: a tuple with as many integers as there are lanes.
        craft: the quad.
        beds: contact beds.
        law: law of contact.
        kinds: (blocks,) shape of the obstacles of each block.
        surfaces: (blocks,) row of ``beds``.
        task: initial conditions and results.
        room: memory.
        dt: time step, s.
        steps: most steps.
        settle: time without contact after which a crash may end early, s.
        every: keep a frame each so many steps; 0 keeps none.
    """
    bare, skin = seen(craft, ()), seen(beds, ())
    t, r = seen(task, width), seen(room, width)
    for b in range(len(kinds)):
        crash_block(bare, skin, law, kinds[b], surfaces[b], b, t, r, dt, steps, settle, every)
