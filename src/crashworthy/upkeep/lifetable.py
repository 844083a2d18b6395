"""Share failed by age, without any assumed law: life table of units looked at at set ages.

Intervals adjoin; units that fail or leave are known by interval. Share surviving an interval is
1 - failed/(at risk - left/2); its error is Greenwood's. (Meeker and Escobar, Statistical Methods for
Reliability Data, 1998, ch. 3, from memory.)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from crashworthy.errors import JournalError, Problem

__all__ = ["LifeTable", "life_table"]


@dataclass(frozen=True, slots=True)
class LifeTable:
    """Share failed by the end of each interval.

    Attributes:
        ends: of the intervals.
        failed: share that failed by then.
        error: its standard error.
        at_risk: units at the start of each interval.
    """

    ends: tuple[float, ...]
    failed: tuple[float, ...]
    error: tuple[float, ...]
    at_risk: tuple[int, ...]


def life_table(
    units: int, ends: Sequence[float], failed: Sequence[int], left: Sequence[int] | None = None
) -> LifeTable:
    """Work out the table.

    Args:
        units: at the start.
        ends: rising ends of the intervals.
        failed: units that failed in each.
        left: units that left unfailed in each; none when None.

    Raises:
        JournalError: more fail or leave than there are.
    """
    gone = [0] * len(ends) if left is None else list(left)
    alive, survival, spread = units, 1.0, 0.0
    shares, errors, risk = [], [], []
    for d, c in zip(failed, gone, strict=True):
        exposed = alive - c / 2.0
        if d < 0 or c < 0 or d + c > alive or exposed <= 0:
            raise JournalError(Problem("more units fail or leave than there are", "correct the counts"))
        risk.append(alive)
        p = d / exposed
        survival *= 1.0 - p
        spread += d / (exposed * (exposed - d)) if exposed > d else 0.0
        alive -= d + c
        shares.append(1.0 - survival)
        errors.append(survival * math.sqrt(spread))
    return LifeTable(tuple(ends), tuple(shares), tuple(errors), tuple(risk))
