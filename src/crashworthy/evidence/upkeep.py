"""Outside checks of the upkeep room."""

from __future__ import annotations

from typing import Final

from crashworthy.evidence import upkeep_counts, upkeep_lifedata, upkeep_lives, upkeep_trends, upkeep_wear
from crashworthy.evidence.registry import Check

__all__ = ["CHECKS"]

CHECKS: Final[tuple[Check, ...]] = (
    *upkeep_lives.CHECKS,
    *upkeep_lifedata.CHECKS,
    *upkeep_counts.CHECKS,
    *upkeep_trends.CHECKS,
    *upkeep_wear.CHECKS,
)
