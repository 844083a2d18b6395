"""Crashworthy: crash it in simulation, fly it, journal it, keep it tight.

    from crashworthy import crash, load

    quad = load("gannet.toml")
    result = crash(quad, n=2000, seed=7)
    print(result.summary())
    result.part("video").hit

Everything else is in the rooms: ``crashworthy.build``, ``impact``, ``vibration``, ``upkeep``; and
``crashworthy.workshop.Workshop`` is what the command line and the web app call.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.build.quad import Quad
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.summary import CrashSummary
    from crashworthy.vibration.answers import LogReport

    __version__: str

__all__ = ["__version__", "crash", "listen", "load"]


def load(path: str | Path) -> Quad:
    """Make a quad of a build sheet.

    Args:
        path: a TOML file; drawings it names lie beside it.

    Raises:
        SheetError: every mistake with its line, field and remedy.
        DrawingError: a drawing or model file cannot be used.
    """
    from crashworthy.build.assemble import load as load_sheet

    return load_sheet(path)


def crash(quad: Quad, n: int = 2000, seed: int = 1, scenario: Scenario | None = None) -> CrashSummary:
    """Crash a quad ``n`` times on every core and say what is hit and what breaks.

    Args:
        quad: from ``load``.
        n: crashes.
        seed: the same seed gives the same answer, with any number of cores.
        scenario: what is hit and how fast; None means the assumed everyday mix.

    Raises:
        ScenarioError: a number is out of range.
    """
    from crashworthy.impact.campaign import simulate
    from crashworthy.jobs.executor import executor_for

    return simulate(quad, n, seed, scenario, map_chunks=executor_for().map_chunks).summarise()


def listen(path: str | Path, quad: Quad | None = None) -> LogReport:
    """Read a flight log and ask it everything it can answer.

    Args:
        path: CSV, or ULog with the extra ``ulog``.
        quad: the build that flew it; without one, what needs a build is not told.

    Raises:
        LogError: the file cannot be read as a flight log.
    """
    from crashworthy.vibration.readers.registry import read_log
    from crashworthy.vibration.report import analyse

    return analyse(read_log(path), quad)


def __getattr__(name: str) -> Any:  # the version costs a look into the installed package; few ask for it
    if name == "__version__":
        from importlib.metadata import PackageNotFoundError, version

        try:
            return version("crashworthy")
        except PackageNotFoundError:  # a checkout that was never installed
            return "0+unknown"
    raise AttributeError(f"crashworthy has nothing called {name!r}")
