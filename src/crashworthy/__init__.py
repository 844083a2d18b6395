"""Crashworthy: crash it in simulation, fly it, journal it, keep it tight.

    from crashworthy import crash, load, plot

    quad = load("gannet.toml")
    result = crash(quad, n=2000, seed=7)
    print(result.summary())
    result.part("video").hit
    plot(result).save("breaks.svg")

Everything else is in the rooms: ``crashworthy.build``, ``impact``, ``placement``, ``vibration``,
``upkeep``; and ``crashworthy.workshop.Workshop`` is what the command line and the web app call.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.build.quad import Quad
    from crashworthy.impact.differences import Comparison
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.summary import CrashSummary
    from crashworthy.pictures.figures import Picture
    from crashworthy.placement.advice import Placement
    from crashworthy.upkeep.ranking import Ranking
    from crashworthy.vibration.answers import LogReport

    __version__: str

__all__ = ["__version__", "compare", "crash", "improve", "listen", "load", "place", "plot"]


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


def compare(a: Quad, b: Quad, n: int = 2000, seed: int = 1, scenario: Scenario | None = None) -> Comparison:
    """Crash two builds at the same places, on every core, and say which breaks less and how sure that is.

    Args:
        a: the build that is compared with.
        b: the other.
        n: crashes of each.
        seed: the same seed gives the same answer, with any number of cores.
        scenario: what both hit and how fast; None means the assumed everyday mix.

    Raises:
        ScenarioError: a number is out of range.
    """
    from crashworthy.impact.compare import compare as weigh
    from crashworthy.jobs.executor import executor_for

    return weigh(a, b, n, seed, scenario, map_chunks=executor_for().map_chunks)


def improve(
    path: str | Path,
    n: int = 1600,
    seed: int = 1,
    scenario: Scenario | None = None,
    *,
    sensitivity: bool = True,
) -> Ranking:
    """Try single changes of a build, on every core, and rank them by the bench minutes they save.

    Args:
        path: a build sheet, for changes are edits of the sheet; drawings it names lie beside it.
        n: crashes of each change that stays in the race.
        seed: the same seed gives the same answer, with any number of cores.
        scenario: what is hit and how fast; None means the assumed everyday mix.
        sensitivity: move what is uncertain too, to say when the order flips; about doubles the work.

    Raises:
        SheetError: every mistake with its line, field and remedy.
        ScenarioError: a number is out of range.
    """
    from pathlib import Path

    from crashworthy.build.assemble import load as load_sheet
    from crashworthy.jobs.executor import executor_for
    from crashworthy.upkeep.improve import improve as rank

    folder, runner = Path(path).parent, executor_for().map_chunks
    return rank(
        load_sheet(path).sheet, folder, n, seed,
        scenario=scenario, sensitivity=sensitivity, map_chunks=runner,
    )  # fmt: skip


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


def place(quad: Quad) -> Placement:
    """Say what can touch each fragile part first, and where to put it.

    Args:
        quad: from ``load``.
    """
    from crashworthy.placement.advice import place as look
    from crashworthy.upkeep.priors import load_priors

    bench = load_priors().bench
    return look(quad, bench.price, bench.repair)


def plot(result: Any, picture: str = "") -> Picture:
    """Draw what one of these functions returned, for a notebook or a file; see ``pictures.figures.plot``.

    Args:
        result: what was returned, or a due list.
        picture: which of its pictures; the first by default.

    Raises:
        CrashworthyError: no such picture, or this result has nothing to draw in it.
    """
    from crashworthy.pictures.figures import plot as draw

    return draw(result, picture)


def __getattr__(name: str) -> Any:  # the version costs a look into the installed package; few ask for it
    if name == "__version__":
        from crashworthy.release import release

        return release()
    raise AttributeError(f"crashworthy has nothing called {name!r}")
