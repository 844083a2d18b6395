"""The strike map: which points of the skin are hit in a campaign, how often, and with how much impulse.

What is counted. The impulse of each part in each crash is the campaign's own. The kernel keeps it by part,
so the crash is run again with a frame each 0.1 ms and the part's impulse is shared out over its points in
proportion to area x facing x mean depth (none deeper than where the bed yields), summed over the frames: the
bed of springs of the contact law without its damping. A point counts as hit when it has such a share; a
touch too short for the frames goes to the point of that part which came nearest. The sum over the points is
the impulse of the parts, to rounding. First touch is the point at which the quad was placed against the
obstacle.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.blocks import crash
from crashworthy.impact.campaign import ENGINE, SETTLE, WINDOW
from crashworthy.impact.contact import BED, THIN
from crashworthy.impact.damage import wilson
from crashworthy.impact.frames import gaps, pushes, swings
from crashworthy.impact.jit import cache_folder
from crashworthy.impact.model import model_of
from crashworthy.impact.replays import FRAME, scenario_of
from crashworthy.impact.start import sample
from crashworthy.impact.words import plain_numbers

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.craft import Beds, Craft
    from crashworthy.impact.start import Starts

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["COUNTED", "MOST", "StrikeMap", "map_name", "strike_map"]

MOST: Final = 1000
"""Crashes looked at unless more are asked for."""

BUNCH: Final = 64
"""Crashes whose frames are in memory at once."""

COUNTED: Final = (
    "hit: crashes in which the point is pressed; impulse: that of its part in the campaign, shared over "
    "the part's "
    "points by area x facing x mean depth in frames of 0.1 ms; first: crashes that the point touches first"
)
"""What the numbers of a map are, in one line."""


@dataclass(frozen=True, slots=True, eq=False)
class StrikeMap:
    """Hits and impulse by contact point.

    Attributes:
        quad: slug of the build.
        seed, n: the crashes 0 ... n-1 of the campaign with that seed were looked at.
        parts: (name, label) of every part of the build.
        place: (points, 3) in the frame of the quad, m.
        part: (points,) index into ``parts``.
        hits: (points,) crashes that press the point.
        first: (points,) crashes that touch it first.
        impulse: (points,) N s over all ``n`` crashes.
    """

    quad: str
    seed: int
    n: int
    parts: tuple[tuple[str, str], ...]
    place: Floats
    part: Ints
    hits: Ints
    first: Ints
    impulse: Floats

    @property
    def per_hundred(self) -> Floats:
        """(points,) impulse in 100 crashes, N s."""
        whole: Floats = self.impulse * (100.0 / self.n)
        return whole

    def to_arrays(self) -> dict[str, Any]:
        """What was counted, as plain arrays; ``from_arrays`` brings it back."""
        return {
            "n": np.array(self.n), "place": self.place, "part": self.part, "hits": self.hits,
            "first": self.first, "impulse": self.impulse,
        }  # fmt: skip

    @classmethod
    def from_arrays(cls, batch: CrashBatch, arrays: dict[str, Any]) -> StrikeMap:
        """A map that was counted before, of the same campaign.

        Raises:
            ValueError: these are not the arrays of a map of that campaign.
        """
        parts = tuple((name, label) for name, label, _ in batch.parts)
        try:
            n = int(arrays["n"])
            each = [np.asarray(arrays[k]) for k in ("place", "part", "hits", "first", "impulse")]
        except KeyError as lost:
            raise ValueError(f"{lost} is not there") from None
        count = len(each[1])
        fits = each[0].shape == (count, 3) and all(a.shape == (count,) for a in each[1:])
        if not (fits and count and n >= 1 and each[1].min() >= 0 and each[1].max() < len(parts)):
            raise ValueError("the arrays do not fit each other or the campaign")
        return cls(batch.quad, batch.seed, n, parts, *each)

    def of_part(self, name: str) -> Ints:
        """Points of a part, hardest struck first.

        Raises:
            ScenarioError: no part of that name has points.
        """
        mine = np.flatnonzero([self.parts[p][0] == name for p in self.part])
        if not len(mine):
            raise ScenarioError(
                Problem(f"{name!r} has no point that could be hit", "use a part of the build", field="part")
            )
        order: Ints = mine[np.argsort(-self.impulse[mine], kind="stable")].astype(np.int32)
        return order

    def summary(self) -> str:
        """One sentence, numbers first."""
        total = float(self.impulse.sum())
        if total <= 0.0:
            return f"In {self.n} crashes nothing was pressed."
        order = np.argsort(-self.impulse)
        half = int(np.searchsorted(np.cumsum(self.impulse[order]), 0.5 * total)) + 1
        top = int(order[0])
        x, y, z = 1000.0 * self.place[top]
        side = "left" if y >= 0.0 else "right"
        return (
            f"Half of the impulse goes into {half} of {len(self.impulse)} points of the skin; the most "
            f"into the "
            f"{self.parts[self.part[top]][1]} at {x:.0f} mm forward, {abs(y):.0f} mm {side}, {z:.0f} mm up: "
            f"{self.per_hundred[top]:.2g} N s in 100 crashes, pressed in "
            f"{100 * self.hits[top] / self.n:.2g} of them."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data, SI units; points in the order of the arrays."""
        points = []
        for i in range(len(self.part)):
            low, high = wilson(int(self.hits[i]), self.n)
            points.append(
                {
                    "part": self.parts[self.part[i]][0],
                    "place": self.place[i].tolist(),
                    "hit": self.hits[i] / self.n,
                    "hit_low": low,
                    "hit_high": high,
                    "first": self.first[i] / self.n,
                    "impulse_per_100": float(self.per_hundred[i]),
                }
            )
        plain: dict[str, Any] = plain_numbers(
            {
                "summary": self.summary(),
                "quad": self.quad,
                "seed": self.seed,
                "n": self.n,
                "counted": COUNTED,
                "points": points,
            }
        )
        return plain


def map_name(quad: Quad, batch: CrashBatch, most: int = MOST) -> str:
    """A name under which a map can be kept: a digest of everything it depends on."""
    state = hashlib.sha256(
        json.dumps([ENGINE, cache_folder().name, COUNTED, quad.digest, batch.scenario, batch.seed, batch.dt,
                    most, batch.parts], sort_keys=True).encode()
    )  # fmt: skip
    for array in (batch.part_impulse, batch.crash, batch.weight):
        state.update(np.ascontiguousarray(array).tobytes())
    return f"strikes-{state.hexdigest()[:48]}"


def strike_map(
    quad: Quad,
    batch: CrashBatch,
    most: int = MOST,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> StrikeMap:
    """Run the first crashes of a campaign again and see which points take the impulse.

    Args:
        quad: the build that was crashed.
        batch: the campaign.
        most: crashes looked at.
        progress: called with (done, total).

    Raises:
        ScenarioError: the build is another, or ``most`` is below 1.
    """
    if quad.digest != batch.quad_digest:
        raise ScenarioError(
            Problem("the build has changed since that campaign", "run the crash test again", field="quad")
        )
    if most < 1:
        raise ScenarioError(Problem(f"cannot look at {most} crashes", "use 1 or more", field="most"))
    batch = batch.even()
    n = min(most, batch.n)
    model = model_of(quad)
    craft = model.craft
    points = len(craft.area)
    hits, first = np.zeros(points, dtype=np.int32), np.zeros(points, dtype=np.int32)
    impulse = np.zeros(points)
    scenario = scenario_of(batch)
    for start in range(0, n, BUNCH):
        ids = np.arange(start, min(start + BUNCH, n), dtype=np.int64)
        starts = sample(scenario, craft, batch.seed, batch.crash[ids])
        first += np.bincount(starts.rank // 1000, minlength=points).astype(np.int32)
        trace = _trace(craft, model.beds, starts, batch.dt or 1e-5)
        by_part = batch.part_impulse[model.parts][:, ids].astype(np.float64)
        for c in range(len(ids)):
            weight, nearest = _weights(craft, model.beds, starts, trace[..., c], c)
            for p in np.flatnonzero(by_part[:, c] > 0.0):
                a, b = craft.start[p], craft.start[p + 1]
                share = weight[a:b]
                if share.sum() <= 0.0:
                    share = np.zeros(b - a)
                    share[np.argmin(nearest[a:b])] = 1.0
                hits[a:b] += share > 0.0
                impulse[a:b] += by_part[p, c] * share / share.sum()
        if progress is not None:
            progress(int(ids[-1]) + 1, n)
    owner = np.repeat(model.parts, np.diff(craft.start)).astype(np.int32)
    return StrikeMap(
        quad=batch.quad,
        seed=batch.seed,
        n=n,
        parts=tuple((name, label) for name, label, _ in batch.parts),
        place=craft.position + model.origin,
        part=owner,
        hits=hits,
        first=first,
        impulse=impulse,
    )


def mean_depth(deepest: Floats, wide: Floats, yields: Floats) -> Floats:
    """Mean depth of the slices of patches, of none deeper than where its bed yields, m.

    Args:
        deepest: of a patch's slices, m; negative outside.
        wide: half of what the depths of its slices differ by, m; 0 for a point, or a patch that lies level.
        yields: depth from which on the bed presses no harder, m.
    """
    wide = np.maximum(wide, THIN)

    def upto(s: Floats) -> Floats:
        """Integral of clip(s, 0, yields)."""
        whole: Floats = 0.5 * np.clip(s, 0.0, yields) ** 2 + yields * np.maximum(s - yields, 0.0)
        return whole

    mean: Floats = (upto(deepest) - upto(deepest - 2.0 * wide)) / (2.0 * wide)
    return mean


def _trace(craft: Craft, beds: Beds, starts: Starts, dt: float) -> Floats:
    """(frames, 8 + 3 limbs + arms, n) frames of some crashes."""
    got = crash(
        craft, beds, BED, starts.kinds, starts.surfaces, starts.rows, starts.state,
        np.maximum(starts.closing, 1.0), dt=dt, steps=round(WINDOW / dt), settle=SETTLE,
        every=max(1, round(FRAME / dt)), rank=starts.rank,
    )  # fmt: skip
    return got.trace


def _weights(craft: Craft, beds: Beds, starts: Starts, trace: Floats, c: int) -> tuple[Floats, Floats]:
    """What each point of one crash takes of its part's impulse (unscaled), and how near it came, m."""
    # Frames after an early end were never written: they all say time 0.
    frames = np.ascontiguousarray(trace[: 1 + int(np.argmax(trace[:, 0]))])
    kind, row = int(starts.kinds[c]), starts.rows[:, c]
    swing = swings(kind, row, frames[:, 0], pushes(craft, frames, starts.state[:13, c]))
    gap, facing, wide = gaps(craft, kind, row, frames, swing)
    part = np.repeat(np.arange(len(craft.radius)), np.diff(craft.start))
    yields = beds.depth[starts.surfaces[c], part]
    depth = mean_depth(-gap, wide, yields)
    weight: Floats = craft.area * (depth * np.maximum(facing, 0.0)).sum(axis=0)
    nearest: Floats = gap.min(axis=0)
    return weight, nearest
