"""`crashworthy backup` and `verify`: a copy you can trust, and a look at what is there."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say

__all__ = ["backup", "verify"]


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


def verify(data: Data = None, store: Store = None, as_json: Json = False) -> None:
    """Read everything in the store and compare every event with its digest. Exit status 1 when one differs.

    Example: crashworthy verify
    """
    with opened(data, store) as workshop:
        report = workshop.verify()
    if as_json:
        print_json(report.to_json())
    else:
        say(report.summary())
    if not report.ok:
        raise typer.Exit(1)
