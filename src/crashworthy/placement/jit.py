"""How the kernels of this room are compiled, and where the result is kept.

Compiled code is kept on disk below this package, or in the user's cache when that cannot be written, in a
folder named by a digest of the compiled sources, so that a change never finds stale code.
"""

from __future__ import annotations

import hashlib
import os
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numba
from numba import njit
from numba.core import config as numba_config

if TYPE_CHECKING:
    from collections.abc import Callable

F = TypeVar("F", bound="Callable[..., Any]")

__all__ = ["cache_folder", "kernel"]


@lru_cache(maxsize=1)
def cache_folder() -> Path:
    """Folder for compiled code."""
    here = Path(__file__).parent
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sorted(here.glob("*.py")):
        text = source.read_bytes()
        if b"@kernel" in text:
            digest.update(text)
    base = here / "__pycache__"
    if not os.access(base if base.exists() else here, os.W_OK):
        import platformdirs

        base = Path(platformdirs.user_cache_dir("crashworthy"))
    return Path(str(vars(numba_config).get("CACHE_DIR", "")) or base) / f"placement-{digest.hexdigest()[:16]}"


def kernel(function: F) -> F:
    """Compile a function that releases the interpreter's lock and is kept on disk."""
    before = str(vars(numba_config).get("CACHE_DIR", ""))
    setattr(numba_config, "CACHE_DIR", str(cache_folder()))  # noqa: B010 - numba sets its options at run time
    try:
        compiled = njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "nsz"})(function)
    finally:
        setattr(numba_config, "CACHE_DIR", before)  # noqa: B010 - as above
    same: F = compiled  # type: ignore[assignment] # called exactly like the plain function
    return same
