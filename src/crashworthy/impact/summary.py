"""From crashes to answers: who is hit, how hard, what breaks, and how sure that is."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.impact.answers import (
    INTERVAL,
    SEVERITY,
    ArmSummary,
    CrashSummary,
    GroupSummary,
    LimbSummary,
    ModeSummary,
    ObstacleSummary,
    PartSummary,
    Quantiles,
    WatchedSummary,
)
from crashworthy.impact.batch import REFINED
from crashworthy.impact.craft import FLAG_ENERGY, FLAG_INVALID, FLAG_PENETRATION, FLAG_STEP
from crashworthy.impact.damage import Z90, interval, mode_load, part_chances
from crashworthy.impact.estimate import effective, share, weighted_mean, weighted_quantiles
from crashworthy.impact.fracture import beside
from crashworthy.impact.limb_summary import arm_summaries, limb_summaries, quantiles
from crashworthy.impact.touches import arm_moments, first_touch
from crashworthy.impact.until import until_words
from crashworthy.impact.words import plain_numbers, plural_of
from crashworthy.quantities import G_N

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

    Floats = NDArray[np.float64]

__all__ = [
    "INTERVAL",
    "SEVERITY",
    "ArmSummary",
    "CrashSummary",
    "GroupSummary",
    "LimbSummary",
    "ModeSummary",
    "ObstacleSummary",
    "PartSummary",
    "Quantiles",
    "WatchedSummary",
    "plain_numbers",
    "plural_of",
    "summarise",
]


def summarise(
    batch: CrashBatch, edges: tuple[float, float] | None = None, broken: CrashBatch | None = None
) -> CrashSummary:
    """Turn a batch into its answers; crashes that left the real numbers are left out and counted.

    Args:
        batch: run without fracture.
        edges: the two accelerations, in g, that part scuff, hit and slam; its own thirds when None.
        broken: its first crashes run with fracture, when both columns are wanted.

    Raises:
        ScenarioError: ``broken`` is not of the same crashes.
    """
    good = (batch.flags & FLAG_INVALID) == 0
    weight = batch.weight[good]
    shock = batch.shock[good].astype(np.float64) / G_N
    low_edge, high_edge = edges or weighted_quantiles(shock, weight, (1 / 3, 2 / 3))
    grade = np.searchsorted((low_edge, high_edge), shock)
    even = batch.even()
    chances = [
        {p: x[good] for p, x in part_chances(batch, batch.capacities, z).items()} for z in (0.0, -Z90, Z90)
    ]
    parts = [
        _part(batch, index, good, chances, grade)
        for index in range(len(batch.parts))
        if (batch.part_peak[index, good] > 0.0).any() or any(c.part == index for c in batch.capacities)
    ]
    bits = batch.flags[good]
    poor = (batch.flags & (FLAG_INVALID | FLAG_ENERGY | FLAG_STEP)) != 0
    return CrashSummary(
        quad=batch.quad,
        digest=batch.digest,
        n=batch.n,
        seed=batch.seed,
        parts=tuple(parts),
        groups=_groups(batch, chances, weight),
        arms=arm_summaries(batch, good),
        limbs=limb_summaries(batch, good),
        shock=quantiles(shock, weight),
        pseudo_velocity=quantiles(batch.pseudo_velocity[good], weight),
        obstacles=_obstacles(batch, good, chances),
        severity_edges=(low_edge, high_edge),
        refined=weighted_mean((batch.flags & REFINED) != 0, batch.weight),
        unreliable=weighted_mean(poor, batch.weight),
        deep=weighted_mean((bits & FLAG_PENETRATION) != 0, weight),
        missed=weighted_mean(batch.missed[good], weight),
        audit=float(np.abs(batch.audit[good]).max()),
        scenario=batch.scenario,
        first_touch=first_touch(even),
        moments=arm_moments(even),
        fracture=None if broken is None else beside(batch, broken),
        watched=_watched(batch, good),
        drawn=batch.drawn or batch.n,
        effective=effective(weight),
        asked=batch.asked or batch.n,
        until=batch.until,
        until_words=until_words(batch.until, batch.watched) if batch.until else "",
    )


def _part(
    batch: CrashBatch,
    index: int,
    good: NDArray[np.bool_],
    chances: list[dict[int, Floats]],
    grade: NDArray[np.int64],
) -> PartSummary:
    """What one part met and bears."""
    name, label, kind = batch.parts[index]
    weight = batch.weight[good]
    none = np.zeros(len(weight))
    hits = batch.part_peak[index, good] > 0.0
    middle, weaker, stronger = (d.get(index, none) for d in chances)
    breaks = interval(middle, weaker, stronger, weight)
    hit, first = share(hits, weight), share((batch.first_part == index)[good] & ~batch.missed[good], weight)
    use = none
    rows = []
    for c in batch.capacities:
        if c.part != index:
            continue
        use = np.maximum(use, mode_load(batch, c)[good] / c.median)
        only = part_chances(batch, (c,))[index][good]
        rows.append(ModeSummary(c.mode, weighted_mean(only, weight), c.median, c.unit, c.source, c.access))
    return PartSummary(
        name=name,
        label=label,
        kind=kind,
        hit=hit.value,
        hit_low=hit.low,
        hit_high=hit.high,
        first=first.value,
        first_low=first.low,
        first_high=first.high,
        force=quantiles(batch.part_peak[index, good][hits], weight[hits]),
        impulse=quantiles(batch.part_impulse[index, good][hits], weight[hits]),
        utilisation=quantiles(use[use > 0.0], weight[use > 0.0]),
        breaks=breaks[0],
        breaks_low=breaks[1],
        breaks_high=min(1.0, breaks[2]),
        modes=tuple(sorted(rows, key=lambda m: -m.chance)),
        hazard=_hazard(chances[0].get(index, none), grade, weight),
    )


def _watched(batch: CrashBatch, good: NDArray[np.bool_]) -> tuple[WatchedSummary, ...]:
    found = []
    for w in batch.watched:
        told = share(w.hit(batch.part_peak, batch.obstacle)[good], batch.weight[good])
        error = told.relative_error if told.value > 0.0 else 0.0
        found.append(
            WatchedSummary(w.name, told.value, told.low, told.high, error, told.counted, told.effective)
        )
    return tuple(found)


def _hazard(chance: Floats, grade: NDArray[np.int64], weight: Floats) -> tuple[float, float, float]:
    """-ln(1 - p) by severity; p is cut at 1 - 1e-6 to stay finite. A severity without crashes takes all."""
    hazards = []
    for severity in range(3):
        of = grade == severity
        p = weighted_mean(chance[of], weight[of]) if of.any() else weighted_mean(chance, weight)
        hazards.append(-math.log1p(-min(p, 1.0 - 1e-6)))
    return hazards[0], hazards[1], hazards[2]


def _groups(batch: CrashBatch, chances: list[dict[int, Floats]], weight: Floats) -> tuple[GroupSummary, ...]:
    kinds: dict[str, list[int]] = {}
    for part in chances[0]:
        kinds.setdefault(batch.parts[part][2], []).append(part)
    groups = []
    for kind, members in kinds.items():
        total = [np.sum([d[p] for p in members], axis=0) for d in chances]
        mean, low, high = interval(total[0], total[1], total[2], weight)
        most = float(len(members))
        groups.append(
            GroupSummary(
                kind,
                plural_of(kind),
                len(members),
                100 * mean,
                100 * low,
                100 * min(high, most),
            )
        )
    return tuple(sorted(groups, key=lambda g: (-g.breaks, g.kind)))


def _obstacles(
    batch: CrashBatch, good: NDArray[np.bool_], chances: list[dict[int, Floats]]
) -> tuple[ObstacleSummary, ...]:
    found = []
    met, weight = batch.obstacle[good], batch.weight[good]
    for index, (name, kind, surface) in enumerate(batch.obstacles):
        here = met == index
        own = weight[here]
        breaks: dict[str, tuple[float, float, float]] = {}
        if here.any():
            for of in dict.fromkeys(batch.parts[p][2] for p in chances[0]):
                members = [p for p in chances[0] if batch.parts[p][2] == of]
                total = [np.sum([d[p][here] for p in members], axis=0) for d in chances]
                mean, low, high = interval(total[0], total[1], total[2], own)
                breaks[of] = (100 * mean, 100 * low, 100 * min(high, float(len(members))))
        touched = ~batch.missed[good][here]
        first = np.bincount(
            batch.first_part[good][here], weights=own * touched, minlength=len(batch.parts)
        ).argmax()
        found.append(
            ObstacleSummary(
                name,
                kind,
                surface,
                int(here.sum()),
                weighted_mean(here, weight),
                quantiles(batch.normal_speed[good][here], own),
                batch.parts[int(first)][0] if here.any() else "",
                weighted_mean(batch.missed[good][here], own) if here.any() else 0.0,
                *({of: told[i] for of, told in breaks.items()} for i in range(3)),
            )
        )
    return tuple(found)
