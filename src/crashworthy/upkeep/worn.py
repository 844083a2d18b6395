"""Which crashes and taps belong to the part that is in place now, and what they add up to."""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.upkeep.accumulate import SORTS, Accumulated, DamageLaw, Tapped, accumulate
from crashworthy.upkeep.history import SEVERITIES, CrashRow

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.upkeep.alike import Matcher
    from crashworthy.upkeep.crash_loads import CrashLoads
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.lives import Life
    from crashworthy.upkeep.strengths import Shift
    from crashworthy.upkeep.wear_priors import WearPriors

__all__ = ["law_of", "worn_parts"]


def law_of(wear: WearPriors, sort: str) -> DamageLaw:
    """The damage law of "carbon" or "metal" from the beliefs about wear."""
    power, slope = wear.rows[f"damage.power_{sort}"], wear.rows["tap.slope"]
    return DamageLaw(
        (power.low, power.high),
        slope.value,
        max(0.5 * (slope.high - slope.low), 1e-6),
        wear["tap.error"],
        wear["damage.left"],
        wear["tap.limit"],
    )


def _lived(
    name: str, life: Life, history: QuadHistory, matcher: Matcher
) -> tuple[list[NDArray[np.int64]], list[CrashRow]]:
    """Draws of the crashes that the part in place survived, and those of them in this place."""
    here = [
        c for c in history.crashes if (life.since is None or c.occurred >= life.since) and name not in c.broke
    ]
    # What it lived through elsewhere, under its mark, is known by severity alone.
    left = np.maximum(
        np.array(life.lived.crashes) - [sum(c.severity == s for c in here) for s in SEVERITIES], 0
    )
    broken_here = sum(
        name in c.broke for c in history.crashes if life.since is None or c.occurred >= life.since
    )
    before = (
        [
            matcher.like(CrashRow(history.crashes[0].occurred, severity)).draws
            for severity, n in zip(SEVERITIES, left, strict=True)
            for _ in range(int(n))
        ]
        if history.crashes
        else []
    )
    return before[: max(len(before) - broken_here, 0)] + [matcher.like(c).draws for c in here], here


def worn_parts(
    loads: CrashLoads,
    kinds: Sequence[str],
    history: QuadHistory,
    lives: Mapping[str, Life],
    matcher: Matcher,
    shifts: Mapping[str, Shift],
    wear: WearPriors,
) -> dict[str, Accumulated]:
    """Damage, strength left and stiffness of every arm, plate, motor and standoff.

    Args:
        loads: a campaign of this build, with tabled strengths.
        kinds: kind of each part, by its index.
        history: of the quad.
        lives: of its parts, by name.
        matcher: over the same campaign.
        shifts: learned strengths by kind.
        wear: how damage adds up.
    """
    found = {}
    for part in dict.fromkeys(c.part for c in loads.capacities):
        name, kind = loads.names[part], kinds[part]
        if kind not in SORTS or name not in lives:
            continue
        life = lives[name]
        lived, here = _lived(name, life, history, matcher)
        earlier = len(lived) - len(here)
        taps = [
            Tapped(t.hz, earlier + sum(c.occurred <= t.occurred for c in here))
            for t in history.taps
            if t.part == name and (life.since is None or t.occurred >= life.since)
        ]
        shift = shifts.get(kind)
        found[name] = accumulate(
            loads,
            [c for c in loads.capacities if c.part == part],
            lived,
            law_of(wear, SORTS[kind]),
            None if shift is None else shift.weights,
            taps,
            seed=zlib.crc32(f"{history.quad}.{name}".encode()),
        )
    return found
