"""What is touched first by which obstacle, and how far root moments reach towards what arms bear."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.damage import wilson
from crashworthy.impact.words import plain_numbers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

__all__ = [
    "BINS",
    "FirstTouch",
    "MomentHistogram",
    "arm_bears",
    "arm_bears_torque",
    "arm_moments",
    "first_touch",
]

BINS: Final = 20
"""Classes of a moment histogram."""


def _short(x: float) -> str:
    return f"{x:.0f}" if x >= 9.95 else f"{x:.2g}"


PLANES: Final = ("in plane", "out of plane")
"""The planes in which an arm bends, in the order of ``CrashBatch.arm_moment``."""


@dataclass(frozen=True, slots=True)
class FirstTouch:
    """How many crashes into each obstacle touch each part first.

    Attributes:
        obstacles: names, in the order of the scenario.
        parts: (name, label) of the parts that are first at least once, most often first.
        counts: (obstacles, parts) crashes.
        crashes: (obstacles,) crashes into each obstacle.
        missed: (obstacles,) of these, crashes that touch nothing.
    """

    obstacles: tuple[str, ...]
    parts: tuple[tuple[str, str], ...]
    counts: tuple[tuple[int, ...], ...]
    crashes: tuple[int, ...]
    missed: tuple[int, ...] = ()

    def share(self, obstacle: int, part: int) -> tuple[float, float, float]:
        """Share of the crashes into an obstacle that touch a part first, with 95 % score interval."""
        count, n = self.counts[obstacle][part], self.crashes[obstacle]
        low, high = wilson(count, n)
        return (count / n if n else 0.0), low, high

    def summary(self) -> str:
        """One sentence: the surest pair of obstacle and part."""
        pairs = [(o, p) for o in range(len(self.obstacles)) for p in range(len(self.parts))]
        if not pairs or not sum(map(sum, self.counts)):
            return "No crash touched anything."
        o, p = max(pairs, key=lambda x: self.share(*x)[1])
        share, low, high = self.share(o, p)
        return (
            f"{100 * share:.0f} of 100 crashes into {self.obstacles[o]} ({100 * low:.0f}-{100 * high:.0f}) "
            f"touch the {self.parts[p][1]} first."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data; ``shares`` holds [share, low, high] by obstacle and part."""
        shares = [
            [list(self.share(o, p)) for p in range(len(self.parts))] for o in range(len(self.obstacles))
        ]
        data: dict[str, Any] = plain_numbers(
            {"summary": self.summary(), **asdict(self), "shares": shares, "interval": "95 % score interval"}
        )
        return data


def first_touch(batch: CrashBatch) -> FirstTouch:
    """Count; crashes that left the real numbers are left out."""
    good = (batch.flags & FLAG_INVALID) == 0
    touched = good & ~batch.missed
    table = np.zeros((len(batch.obstacles), len(batch.parts)), dtype=np.int64)
    np.add.at(table, (batch.obstacle[touched], batch.first_part[touched]), 1)
    met = np.bincount(batch.obstacle[good], minlength=len(batch.obstacles))
    order = [int(i) for i in np.argsort(-table.sum(axis=0), kind="stable") if table[:, i].any()]
    return FirstTouch(
        obstacles=tuple(name for name, _, _ in batch.obstacles),
        parts=tuple((batch.parts[i][0], batch.parts[i][1]) for i in order),
        counts=tuple(tuple(int(x) for x in row) for row in table[:, order]),
        crashes=tuple(int(x) for x in met),
        missed=tuple(int(x) for x in met - table.sum(axis=1)),
    )


@dataclass(frozen=True, slots=True)
class MomentHistogram:
    """Peak root moments of one arm in one plane over the campaign.

    Attributes:
        arm: name of the part.
        label: in words.
        plane: "in plane" or "out of plane".
        capacity: moment in that plane alone at which half of such roots break, N m.
        edges: (BINS + 1,) of the classes, N m, on a logarithmic scale.
        counts: (BINS,) crashes in each class; the end classes hold what lies beyond.
        n: crashes counted.
        median, p90, p99: of the moments, N m.
        above, above_low, above_high: share of crashes above the capacity, with 95 % score interval.
    """

    arm: str
    label: str
    plane: str
    capacity: float
    edges: tuple[float, ...]
    counts: tuple[int, ...]
    n: int
    median: float
    p90: float
    p99: float
    above: float
    above_low: float
    above_high: float

    def summary(self) -> str:
        """One sentence, numbers first."""
        return (
            f"{self.label}, {self.plane}: half of the crashes bend it by {_short(self.median)} N m or "
            f"more, one in "
            f"a hundred by {_short(self.p99)}; half of such roots break at {_short(self.capacity)}, passed "
            f"in "
            f"{100 * self.above:.2g} of 100 crashes ({100 * self.above_low:.2g}-{100 * self.above_high:.2g})."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data, N m."""
        data: dict[str, Any] = plain_numbers({"summary": self.summary(), **asdict(self)})
        return data


def arm_bears(batch: CrashBatch) -> NDArray[np.float64]:
    """(arms, 2) moment in plane, and out of plane, at which half of such roots break when it acts alone, N m.

    The root's capacity times the median interaction of its bending mode.
    """
    medians = _medians(batch)
    bears: NDArray[np.float64] = np.array(
        [(m * inside, m * out) for m, (out, inside) in zip(medians, batch.arm_capacity, strict=True)]
    ).reshape(-1, 2)
    return bears


def arm_bears_torque(batch: CrashBatch) -> NDArray[np.float64]:
    """(arms,) torque about its axis at which half of such roots break when it acts alone, N m.

    Infinite for campaigns from before arms twisted.
    """
    known = batch.arm_torque or (np.inf,) * len(batch.arm_parts)
    bears: NDArray[np.float64] = np.array(known) * np.array(_medians(batch))
    return bears


def _medians(batch: CrashBatch) -> list[float]:
    """Median interaction at which each arm's root breaks."""
    return [
        next((c.median for c in batch.capacities if c.part == part and c.load == "bending"), 1.0)
        for part in batch.arm_parts
    ]


def arm_moments(batch: CrashBatch) -> tuple[MomentHistogram, ...]:
    """Histograms of every arm, in plane and out of plane; one common scale, so that arms compare by eye."""
    good = (batch.flags & FLAG_INVALID) == 0
    moments = batch.arm_moment[:, :2, good].astype(np.float64)
    if not moments.size or not (moments > 0.0).any():
        return ()
    bears = arm_bears(batch)
    high = 1.05 * max(float(moments.max()), float(bears.max()))
    low = max(min(float(np.quantile(moments[moments > 0.0], 0.02)), 0.5 * float(bears.min())), high / 1e4)
    edges = np.geomspace(low, high, BINS + 1)
    found = []
    n = int(good.sum())
    for a, part in enumerate(batch.arm_parts):
        for j, plane in enumerate(PLANES):
            m, capacity = moments[a, j], float(bears[a, j])
            counts, _ = np.histogram(np.clip(m, low, high), edges)
            past = int((m > capacity).sum())
            middle, p90, p99 = (float(q) for q in np.quantile(m, (0.5, 0.9, 0.99)))
            found.append(
                MomentHistogram(
                    batch.parts[part][0],
                    batch.parts[part][1],
                    plane,
                    capacity,
                    tuple(float(e) for e in edges),
                    tuple(int(c) for c in counts),
                    n,
                    middle,
                    p90,
                    p99,
                    past / n,
                    *wilson(past, n),
                )
            )
    return tuple(found)
