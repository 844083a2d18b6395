"""How the kernels of this room are compiled, and where the result is kept."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from crashworthy.compiled import kept_in, marked, place_for

if TYPE_CHECKING:
    from collections.abc import Callable

F = TypeVar("F", bound="Callable[..., Any]")

__all__ = ["cache_folder", "kernel"]


@lru_cache(maxsize=1)
def cache_folder() -> Path:
    """Folder for compiled code."""
    return place_for("placement", marked(Path(__file__).parent, b"@kernel"))


def kernel(function: F) -> F:
    """Compile a function of this room, with the freedoms of the crash engine."""
    return kept_in(cache_folder(), function, fastmath={"contract", "nsz"})
