"""Rows of checks that share inputs, source and tolerance."""

from __future__ import annotations

from collections.abc import Callable

from crashworthy.evidence.registry import Access, Check

__all__ = ["Pair", "Row", "group"]

Pair = tuple[float, float]
"""Expected and got."""

Row = tuple[str, str, str, Callable[[], Pair]]
"""Key after "upkeep.", title, unit, and what gives the pair."""


def group(
    inputs: str, source: str, access: Access, tolerance: float, *rows: Row, relative: bool = True
) -> tuple[Check, ...]:
    """Checks of one example."""
    return tuple(
        Check(f"upkeep.{key}", title, inputs, unit, tolerance, relative, source, access, run)
        for key, title, unit, run in rows
    )
