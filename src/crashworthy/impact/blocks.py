"""Crashes in blocks: those that are alike run side by side, and come back in the order they were given.

A block holds crashes whose obstacles share shape and surface; among these they are ordered so that neighbours
unfold alike (``order``). A crash's result does not depend on who shares its block: lanes never mix.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from crashworthy.impact.craft import RESULT, Room, Task
from crashworthy.impact.kernel import crash_numbers
from crashworthy.impact.press_parts import NEVER
from crashworthy.impact.width import register_width, vectors_work

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Beds, Craft

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["Outcome", "crash"]


class Outcome(NamedTuple):
    """What crashes gave, the crash as last axis.

    Attributes:
        peak, impulse: (parts, n) N, N s.
        touched: (parts, n) time of first touch, s; NaN when never touched.
        moment: (arms, 3, n) peak root moments in plane and out of plane, N m, and peak interaction.
        twist: (arms, n) peak torque about the arm's axis at its root, N m.
        limb: (limbs, 2, n) peak utilisation and travel (m) of every limb, arms first.
        shear: (arms, 2, n) peak sideways force on the screws of root and motor, N.
        broken: (2, arms, n) time at which each arm and each prop broke, s; -1 when whole.
        scalars: (len(RESULT), n).
        flags: (n,) bits.
        trace: (frames, 8 + 3 limbs + arms, n) time, place, attitude, u of each limb, twists; empty unless
            asked for.
    """

    peak: Floats
    impulse: Floats
    touched: Floats
    moment: Floats
    twist: Floats
    limb: Floats
    shear: Floats
    broken: Floats
    scalars: Floats
    flags: Ints
    trace: Floats


def _aligned(*shape: int) -> Floats:
    """Zeros that begin where a register may be loaded from (64 bytes)."""
    count = int(np.prod(shape))
    room = np.zeros(count + 8)
    first = (-(room.ctypes.data // 8)) % 8
    return room[first : first + count].reshape(shape)


def _groups(
    kinds: Ints, surfaces: Ints, order: NDArray[np.int64], width: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Crash in each lane (blocks, width), the last one repeated to fill a block; and one of each block."""
    group = kinds[order].astype(np.int64) * 1000 + surfaces[order]
    order = order[np.argsort(group, kind="stable")]
    edges = np.flatnonzero(np.diff(np.sort(group))) + 1
    rows = []
    for members in np.split(order, edges):
        lack = -len(members) % width
        rows.append(np.append(members, np.full(lack, members[-1])).reshape(-1, width))
    lanes = np.concatenate(rows)
    return lanes, lanes[:, 0]


def crash(
    craft: Craft,
    beds: Beds,
    law: int,
    kinds: Ints,
    surfaces: Ints,
    rows: Floats,
    state: Floats,
    speed: Floats,
    *,
    dt: float,
    steps: int,
    settle: float,
    every: int = 0,
    strength: Floats | None = None,
    rank: NDArray[np.int64] | None = None,
    width: int | None = None,
) -> Outcome:
    """Run crashes.

    Args:
        craft: the quad.
        beds: contact beds.
        law: ``contact.BED`` or ``contact.HERTZ``.
        kinds: (n,) shape of each obstacle.
        surfaces: (n,) row of ``beds``.
        rows: (16, n) obstacles in the world frame.
        state: (13, n) position and velocity of O (world), quaternion, body rate; or (13 + 4 a, n) with each
            arm's u in plane, u out of plane and their rates behind; or (13 + 5 a, n) with each arm's rate of
            twist, rad/s, behind these.
        speed: (n,) closing speed at first contact, m/s; sets the damping.
        dt: time step, s.
        steps: most steps.
        settle: time without contact after which a crash may end early, s.
        every: keep a frame each so many steps; 0 keeps none.
        strength: (2 arms, n) interaction that breaks each arm, then force that breaks each prop, N; nothing
            breaks by default.
        rank: (n,) numbers by which crashes are ordered before they are put into blocks.
        width: lanes; those of the processor by default, 1 for plain numbers.
    """
    n, parts, points = len(kinds), len(craft.radius), len(craft.area)
    arms, limbs = len(craft.rotor), len(craft.tip_mass)
    width = register_width() if width is None else width
    if width > 1:
        order = np.arange(n) if rank is None else np.argsort(rank, kind="stable")
        lanes, first = _groups(kinds, surfaces, order, width)
    else:
        lanes, first = np.arange(n)[:, None], np.arange(n)
    blocks, tail = len(lanes), ((width,) if width > 1 else ())

    def given(array: Floats, rows: int) -> Floats:
        made = _aligned(blocks, rows, *tail)
        picked = array[:, lanes].transpose(1, 0, 2)
        made[:, : len(array)] = picked if width > 1 else picked[..., 0]
        return made

    limits = np.full((2 * arms, n), np.inf) if strength is None else strength
    squared = np.concatenate([limits[:arms] ** 2, limits[arms:]])
    frames = steps // every + 1 if every else 0
    task = Task(
        row=given(rows, 16),
        state=given(state, 13 + 5 * arms),
        speed=given(speed[None], 1),
        strength=given(squared, 2 * arms),
        peak=_aligned(blocks, parts, *tail),
        impulse=_aligned(blocks, parts, *tail),
        touched=_aligned(blocks, parts, *tail),
        root=_aligned(blocks, 4 * limbs, *tail),
        twist=_aligned(blocks, arms, *tail),
        shear=_aligned(blocks, 2 * arms, *tail),
        broken=_aligned(blocks, 2 * arms, *tail),
        result=_aligned(blocks, len(RESULT), *tail),
        flags=_aligned(blocks, 1, *tail),
        trace=_aligned(blocks, frames, 8 + 3 * limbs + arms, *tail),
    )

    def room_of(*shape: int) -> Floats:
        return _aligned(*shape, *tail)

    room = Room(
        at=room_of(limbs, 3), go=room_of(limbs, 3), push=room_of(limbs, 3), lever=room_of(limbs, 3),
        dragged=room_of(limbs, 1), root=room_of(limbs, 4), angle=room_of(arms, 1), turning=room_of(arms, 1),
        wring=room_of(arms, 1), wrung=room_of(arms, 1), whole=room_of(arms, 1), spin=room_of(arms, 1),
        blade=room_of(arms, 1), slid=room_of(arms, 2), z=room_of(5, 3), dz=room_of(5, 3),
        deepest=room_of(points, 1), spread=room_of(points, 1), braked=room_of(points, 2),
        weight=room_of(points, 1), stiff=room_of(limbs + 1, 1),
        touching=room_of(limbs + 1, 1), counted=room_of(limbs + 1, 1), felt=room_of(3, 3),
        pushed=np.zeros(limbs, dtype=np.int64), busy=np.zeros(limbs + 1, dtype=np.int64),
        wake=np.zeros(parts, dtype=np.int64), rouse=np.zeros(points, dtype=np.int64),
        stir=np.zeros(len(craft.cell_radius), dtype=np.int64),
    )  # fmt: skip
    call: tuple[Any, ...] = (
        craft, beds, law, kinds[first], surfaces[first], task, room, dt, steps, settle, every,
    )  # fmt: skip
    if vectors_work():
        from crashworthy.impact.vectors import crash_vectors

        crash_vectors((0,) * width if width > 1 else (), *call)
    else:
        crash_numbers(*call)

    def taken(array: Floats) -> Floats:
        """(blocks, ..., width) back to (..., n)."""
        flat = np.moveaxis(array if width > 1 else array[..., None], 0, -2)
        out = np.empty((*flat.shape[:-2], n))
        out[..., lanes] = flat
        return out

    touched, broken = taken(task.touched), taken(task.broken)
    root = taken(task.root).reshape(limbs, 4, n)
    moment = root[:arms, :3] * np.stack([craft.length, craft.length, np.ones(arms)], axis=1)[..., None]
    return Outcome(
        peak=taken(task.peak),
        impulse=taken(task.impulse),
        touched=np.where(touched < NEVER, touched, np.nan),
        moment=moment,
        twist=taken(task.twist),
        limb=root[:, 2:],
        shear=taken(task.shear).reshape(arms, 2, n),
        broken=np.where(broken < NEVER, broken, -1.0).reshape(2, arms, n),
        scalars=taken(task.result),
        flags=taken(task.flags)[0].astype(np.int32),
        trace=taken(task.trace),
    )
