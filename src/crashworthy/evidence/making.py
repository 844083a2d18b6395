"""How rows of checks are written: one maker for a pair worked out together, one for two figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.evidence.registry import Access, Check

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["figure_check", "pair_check"]


def pair_check(
    room: str,
    name: str,
    title: str,
    inputs: str,
    unit: str,
    tolerance: float,
    source: str,
    access: Access,
    run: Callable[[], tuple[float, float]],
    *,
    relative: bool = True,
) -> Check:
    """A check whose function returns expected and got together; the rest as in ``Check``."""
    return Check(f"{room}.{name}", title, inputs, unit, tolerance, relative, source, access, run)


def figure_check(
    room: str,
    name: str,
    title: str,
    inputs: str,
    unit: str,
    expected: float | Callable[[], float],
    got: Callable[[], float],
    source: str,
    tolerance: float,
    access: Access,
) -> Check:
    """A check of one figure against another, with a tolerance relative to the expected one.

    Both are in ``unit``; the expected one may be a function that works it out. The rest as in ``Check``.
    """

    def run() -> tuple[float, float]:
        return (expected() if callable(expected) else expected), got()

    return Check(f"{room}.{name}", title, inputs, unit, tolerance, True, source, access, run)
