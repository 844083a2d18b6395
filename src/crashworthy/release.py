"""Which release this is, as the installed package says."""

from __future__ import annotations

from functools import cache

__all__ = ["release"]


@cache
def release() -> str:
    """Number of the release; "0+unknown" in a checkout that was never installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("crashworthy")
    except PackageNotFoundError:
        return "0+unknown"
