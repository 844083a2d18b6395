"""How the physics is compiled: one set of options for every function, and where the result is kept.

Calls are inlined: handing the arrays of a quad to a function costs more than most of the functions do (0.32
against 0.18 µs a step, measured). Contraction is allowed, but not "no NaN": a NaN must survive to be caught.
Only the first campaign after an install or a change compiles (some 15 s).
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from crashworthy.compiled import kept_in, marked, place_for

if TYPE_CHECKING:
    from collections.abc import Callable

F = TypeVar("F", bound="Callable[..., Any]")

__all__ = ["FAST", "cache_folder", "physics"]

FAST: Final = {"contract", "nsz"}
"""Floating-point freedoms given to the compiler: multiply and add in one, no care for the sign of zero.

Sums are not reordered, so numbers and vectors round alike, whatever the width, chunk, thread and order."""


_SHAPING: Final = ("craft.py", "jit.py", "lanes.py", "simd.py")
"""Files that shape the compiled code without holding it."""


@lru_cache(maxsize=1)
def cache_folder() -> Path:
    """Folder for compiled code, named by all that goes into it."""
    return place_for("physics", marked(Path(__file__).parent, b"@physics", _SHAPING))


def physics(function: F) -> F:
    """Compile a scalar function of the crash engine."""
    return kept_in(cache_folder(), function, fastmath=FAST, forceinline=True)
