"""How many crashes run side by side: the lanes of this processor's widest register."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

__all__ = ["WHY", "WIDTHS", "engine", "register_width", "vectors_work"]

WIDTHS: Final = (8, 4, 2)
"""Doubles in a register of 512, 256 and 128 bits."""

WHY: Final = {
    1: "one crash at a time with plain numbers: this platform's compiler offers no vectors",
    2: "2 crashes side by side (128-bit registers)",
    4: "4 crashes side by side (256-bit registers)",
    8: "8 crashes side by side (512-bit registers)",
}
"""What a width means, in words."""


@lru_cache(maxsize=1)
def vectors_work() -> bool:
    """Whether the vector types can be loaded with the numba that is installed."""
    try:
        from crashworthy.impact import simd
    except (ImportError, AttributeError, TypeError):  # numba's extension layer has moved
        return False
    return bool(simd.FREEDOMS)


@lru_cache(maxsize=1)
def register_width() -> int:
    """Lanes of this processor as the compiler sees it (``NUMBA_CPU_NAME`` counts); 1 without vectors.

    A width is part of the type of every vector, and the processor part of the compiler's index, so compiled
    code of one width or processor is never taken for another.
    """
    if not vectors_work():
        return 1
    from numba.core.registry import cpu_target

    _, name, features = cpu_target.target_context.codegen().magic_tuple()
    has = set(str(features).split(","))
    if "+avx512f" in has:
        return 8
    if "+avx" in has:
        return 4
    # A processor named without features: the compiler derives them from the name.
    if not any(f.startswith("+") for f in has) and name:
        if any(word in name for word in ("avx512", "znver4", "znver5", "icelake", "sapphire", "emerald")):
            return 8
        if any(word in name for word in ("haswell", "broadwell", "skylake", "znver", "alderlake")):
            return 4
    return 2


def engine() -> str:
    """How crashes are run here, in words."""
    return WHY[register_width()]
