"""From a build sheet to one immutable quad.

``load`` reads a sheet and its drawings, ``parse`` the text of a sheet, ``to_toml`` writes it again; the step
between them is ``assemble.assemble``. All are imported on first use, so that the plain model in ``quad``
costs nothing but numpy.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crashworthy.build.assemble import load, parse, to_toml

__all__ = ["load", "parse", "to_toml"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        return getattr(importlib.import_module("crashworthy.build.assemble"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
