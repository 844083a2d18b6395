"""How the physics is compiled: one set of options for every scalar function.

Reassociation and contraction are allowed, but not "no NaN": a NaN must survive to be caught. The compiled
code is cached beside the source, so only the first campaign after an install compiles (about 10 s).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

from numba import njit

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

F = TypeVar("F", bound="Callable[..., Any]")

__all__ = ["FAST", "physics"]

FAST: Final = {"contract", "arcp", "reassoc", "nsz"}
"""Floating-point freedoms given to the compiler; results stay independent of chunk, thread and order."""


def physics(function: F) -> F:
    """Compile a scalar function of the crash engine."""
    compiled: F = njit(cache=True, fastmath=FAST, nogil=True, error_model="numpy")(function)
    return compiled
