"""Plurals of kinds of parts, and plain numbers for JSON."""

from __future__ import annotations

import math
from typing import Any, Final

__all__ = ["plain_numbers", "plural_of"]

_PLURALS: Final = {
    "arm": "arms",
    "plate": "plates",
    "standoff": "standoffs",
    "motor": "motors",
    "prop": "props",
    "board": "boards",
    "camera": "cameras",
    "lens": "lenses",
    "antenna": "antennas",
    "battery": "batteries",
    "shield": "shields",
    "strap": "straps",
    "lead": "leads",
    "plug": "plugs",
    "box": "boxes",
    "model": "printed parts",
}


def plural_of(kind: str) -> str:
    """Several parts of a kind in words."""
    return _PLURALS.get(kind, kind + "s")


def plain_numbers(x: Any) -> Any:
    """The same plain data with numbers to nine significant digits; what is not finite becomes None."""
    if isinstance(x, float):
        return float(f"{x:.9g}") if math.isfinite(x) else None
    if isinstance(x, dict):
        return {k: plain_numbers(v) for k, v in x.items()}
    if isinstance(x, list | tuple):
        return [plain_numbers(v) for v in x]
    return x
