"""Numbers in words."""

from __future__ import annotations

import math

__all__ = ["in_100", "packs_word", "short"]


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


def short(x: float, digits: int = 3) -> str:
    """A number to some digits, never with an exponent: "61.1", "2010", "0.045"."""
    if x == 0.0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(x))))
    rounded = float(f"{x:.{digits}g}")
    return f"{rounded:.{decimals}f}"
