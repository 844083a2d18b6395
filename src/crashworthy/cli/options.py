"""Options that several commands share, defined once so that they read alike everywhere."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crashworthy.impact.scenario import Scenario
    from crashworthy.workshop import Workshop

__all__ = [
    "Cluster",
    "Data",
    "Json",
    "Quad",
    "ScenarioName",
    "Store",
    "Strengths",
    "Workers",
    "opened",
    "scenario_of",
]

Data = Annotated[
    Path | None,
    typer.Option("--data", envvar="CRASHWORTHY_DATA", help="Data folder; made when it does not exist."),
]
Store = Annotated[
    str | None,
    typer.Option(
        "--store", envvar="CRASHWORTHY_STORE", help="postgresql://... ; without it SQLite in the data folder."
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        envvar="CRASHWORTHY_CLUSTER",
        help="tcp://... of a Dask scheduler that runs the crashes (extra cluster). The answer is the same.",
    ),
]
Workers = Annotated[
    int | None,
    typer.Option("--workers", help="Threads; one for each core without. The answer is the same."),
]
ScenarioName = Annotated[
    str | None,
    typer.Option(
        "--scenario",
        help="A scenario file (TOML), or mine for the mix that the quad's journal tells; the assumed "
        "everyday mix without.",
    ),
]
Strengths = Annotated[
    str,
    typer.Option("--strengths", help="mine: as the crashes in the journal say; tabled: as the tables say."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of words.")]


Quad = Annotated[str, typer.Argument(help="A quad of the fleet by its short name.")]


def scenario_of(workshop: Workshop, quad: str, name: str | None) -> Scenario | None:
    """The scenario that an option asks for; None for the everyday mix.

    Raises:
        ScenarioError: the file cannot be used, or a sheet file is asked for its journal.
    """
    if name is None:
        return None
    from crashworthy.errors import Problem, ScenarioError
    from crashworthy.impact.scenario import Scenario
    from crashworthy.workshop.learning import MINE

    if name != MINE:
        return Scenario.load(name)
    if quad.endswith(".toml"):
        raise ScenarioError(
            Problem("a sheet file has no journal", "name a quad of the fleet", file=quad, field="scenario")
        )
    return workshop.mine(quad).scenario


@contextmanager
def opened(data: Path | None, store: str | None, cluster: str | None = None) -> Iterator[Workshop]:
    """Open the workshop for one command and close it at the end."""
    from crashworthy.workshop import Workshop

    with Workshop(data, store) as workshop:
        workshop.cluster = cluster
        yield workshop
