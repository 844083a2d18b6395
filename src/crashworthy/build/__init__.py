"""From a build sheet to one immutable quad.

``load`` reads a sheet and its drawings; ``parse``, ``assemble`` and ``to_toml`` are its steps and the way back.
They are imported on first use, so that the plain model in ``quad`` costs nothing but numpy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crashworthy.build.assemble import assemble, load, parse, to_toml

__all__ = ["assemble", "load", "parse", "to_toml"]


def __getattr__(name: str) -> Any:
    # "assemble" is also a module; once imported it would hide the function of that name.
    if name in ("load", "parse", "to_toml"):
        from crashworthy.build import assemble as module

        return getattr(module, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
