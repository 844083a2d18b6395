"""Compiled code is kept on disk, so that only the first use after an install or a change compiles.

A function's code contains the functions it calls, and the compiler's own cache looks at one file alone. So
the place is a folder named by a digest of all compiled sources: changing any of them, or moving a type,
starts afresh instead of finding stale code (docs/decisions/0102).
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numba
from numba import njit
from numba.core import config as numba_config

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

F = TypeVar("F", bound="Callable[..., Any]")

__all__ = ["kept_in", "marked", "place_for"]


def marked(room: Path, mark: bytes, also: Iterable[str] = ()) -> tuple[Path, ...]:
    """The sources of a room that hold a decorator.

    Args:
        room: folder of the package.
        mark: the decorator as it is written, "@kernel".
        also: names of files that shape the compiled code without holding it.
    """
    named = frozenset(also)
    return tuple(p for p in sorted(room.glob("*.py")) if p.name in named or mark in p.read_bytes())


def place_for(name: str, sources: Iterable[Path]) -> Path:
    """Folder for compiled code: below the sources' own, or in the user's cache when that cannot be written.

    Args:
        name: what the folder's name begins with.
        sources: everything that the compiled code is made of, at least one file, all in one folder.
    """
    digest = hashlib.sha256(numba.__version__.encode())
    here = Path()
    for source in sources:
        here = source.parent
        digest.update(source.read_bytes())
    base = here / "__pycache__"
    if not os.access(base if base.exists() else here, os.W_OK):
        import platformdirs

        base = Path(platformdirs.user_cache_dir("crashworthy"))
    return Path(str(vars(numba_config).get("CACHE_DIR", "")) or base) / f"{name}-{digest.hexdigest()[:16]}"


def kept_in(folder: Path, function: F, **options: Any) -> F:
    """Compile a function that releases the interpreter's lock, and keep the code in a folder.

    Where no folder at all can be written (a service without a home), every start compiles anew.

    Args:
        folder: from ``place_for``.
        function: plain Python that numba can compile; called exactly like before.
        **options: what else the compiler is told.
    """
    before = str(vars(numba_config).get("CACHE_DIR", ""))
    setattr(numba_config, "CACHE_DIR", str(folder))  # noqa: B010 - numba sets its options at run time
    try:
        compiled = njit(cache=True, nogil=True, error_model="numpy", **options)(function)
    except RuntimeError:  # numba found no place to write to
        compiled = njit(nogil=True, error_model="numpy", **options)(function)
    finally:
        setattr(numba_config, "CACHE_DIR", before)  # noqa: B010 - as above
    same: F = compiled  # called exactly like the plain function
    return same
