"""Options that several commands share, defined once so that they read alike everywhere."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crashworthy.workshop import Workshop

__all__ = ["Cluster", "Data", "Json", "Store", "Workers", "opened"]

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
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of words.")]


@contextmanager
def opened(data: Path | None, store: str | None, cluster: str | None = None) -> Iterator[Workshop]:
    """Open the workshop for one command and close it at the end."""
    from crashworthy.workshop import Workshop

    with Workshop(data, store) as workshop:
        workshop.cluster = cluster
        yield workshop
