"""Numbers in words."""

from __future__ import annotations

__all__ = ["in_100", "packs_word"]


def in_100(probability: float) -> str:
    """A probability as a pilot reads it: "14", "fewer than 1", "more than 99" (in 100)."""
    if 0.0 < probability < 0.005:
        return "fewer than 1"
    if 0.995 <= probability < 1.0:
        return "more than 99"
    return f"{100.0 * probability:.0f}"


def packs_word(packs: float) -> str:
    """A number of packs: "1 pack", "2.5 packs"."""
    number = f"{packs:.1f}".removesuffix(".0")
    return f"{number} pack" if number == "1" else f"{number} packs"
