"""How the checks of the crash engine are written down."""

from __future__ import annotations

from collections.abc import Callable

from crashworthy.evidence.registry import Access, Check

__all__ = ["check"]


def check(
    id_: str,
    title: str,
    inputs: str,
    unit: str,
    tolerance: float,
    source: str,
    run: Callable[[], tuple[float, float]],
    *,
    access: Access = "derived",
    relative: bool = True,
) -> Check:
    """One check of the room, relative unless said otherwise."""
    return Check(f"impact.{id_}", title, inputs, unit, tolerance, relative, source, access, run)
