"""How the physics is compiled: one set of options for every function, and where the result is kept.

Calls are inlined: handing the arrays of a quad to a function costs more than most of the functions do (0.32
against 0.18 µs a step, measured). Contraction is allowed, but not "no NaN": a NaN must survive to be caught.
Compiled code is kept on disk, so only the first campaign after an install or a change compiles (some 15 s). A
function's code contains the functions it calls, so the place is named by a digest of all compiled sources:
changing any of them, or moving a type, starts afresh instead of finding stale code.
"""

from __future__ import annotations

import hashlib
import os
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numba
from numba import njit
from numba.core import config as numba_config

if TYPE_CHECKING:
    from collections.abc import Callable

F = TypeVar("F", bound="Callable[..., Any]")

__all__ = ["FAST", "cache_folder", "physics"]

FAST: Final = {"contract", "nsz"}
"""Floating-point freedoms given to the compiler: multiply and add in one, no care for the sign of zero.

Sums are not reordered, so numbers and vectors round alike, whatever the width, chunk, thread and order."""


@lru_cache(maxsize=1)
def cache_folder() -> Path:
    """Folder for compiled code: below this package, or the user's cache when that cannot be written."""
    here = Path(__file__).parent
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sorted(here.glob("*.py")):
        text = source.read_bytes()
        if b"@physics" in text or source.name in ("craft.py", "jit.py", "lanes.py", "simd.py"):
            digest.update(text)
    base = here / "__pycache__"
    if not os.access(base if base.exists() else here, os.W_OK):
        import platformdirs

        base = Path(platformdirs.user_cache_dir("crashworthy"))
    return Path(str(vars(numba_config).get("CACHE_DIR", "")) or base) / f"physics-{digest.hexdigest()[:16]}"


def physics(function: F) -> F:
    """Compile a scalar function of the crash engine."""
    before = str(vars(numba_config).get("CACHE_DIR", ""))
    setattr(numba_config, "CACHE_DIR", str(cache_folder()))  # noqa: B010 - numba sets its options at run time
    try:
        compiled = njit(cache=True, fastmath=FAST, nogil=True, error_model="numpy", forceinline=True)(
            function
        )
    finally:
        setattr(numba_config, "CACHE_DIR", before)  # noqa: B010 - as above
    same: F = compiled  # type: ignore[assignment] # called exactly like the plain function
    return same
