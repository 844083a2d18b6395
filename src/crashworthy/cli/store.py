"""`crashworthy backup` and `verify`: a copy you can trust, and a look at what is there."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say

__all__ = ["backup", "restore", "verify"]


def backup(
    to: Annotated[Path, typer.Argument(help="The new file to write.")],
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Write a verified copy of the journal and results to a new file, while the app stays in use.

    Sheets, drawings and logs are plain files in the data folder: copy them as they are.

    Example: crashworthy backup monday.db
    """
    with opened(data, store) as workshop:
        report = workshop.backup(to)
    if as_json:
        print_json(report.to_json())
    else:
        say(report.summary())


def restore(
    source: Annotated[Path, typer.Argument(help="The backup.")],
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Fill a new, empty store from a backup, verify both, and print the state, which must be the backup's.

    Copy sheets, drawings and logs into the data folder beside it.

    Example: crashworthy restore monday.db --data new-folder
    """
    with opened(data, store) as workshop:
        report = workshop.restore(source)
    if as_json:
        print_json(report.to_json())
    else:
        say(report.summary())


def verify(
    against: Annotated[
        Path | None,
        typer.Option("--against", help="An older backup: its events must all still be here."),
    ] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Read everything, compare every event with its digest and its device's chain. Status 1 when one differs.

    Prints the state: a digest over all events, equal for a store and for what its backup restores to.

    Example: crashworthy verify --against monday.db
    """
    with opened(data, store) as workshop:
        report = workshop.verify(against)
    if as_json:
        print_json(report.to_json())
    else:
        say(report.summary())
    if not report.ok:
        raise typer.Exit(1)
