"""Crashworthy: crash it in simulation, fly it, journal it, keep it tight."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("crashworthy")
except PackageNotFoundError:  # a checkout that was never installed
    __version__ = "0+unknown"

__all__ = ["__version__"]
