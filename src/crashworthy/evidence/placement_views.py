"""Outside checks of the placement room: camera, antennas, printed parts."""

from __future__ import annotations

from typing import Final

from crashworthy.evidence.registry import Check

__all__ = ["VIEW_CHECKS"]

VIEW_CHECKS: Final[tuple[Check, ...]] = ()
"""Checks of camera, antennas and printed parts."""
