"""`crashworthy share`: a build as one page that holds everything but the private."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, progress_bar, say

__all__ = ["share"]


def share(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help="The file to write: .html or .pdf; QUAD.html here without."),
    ] = None,
    comments: Annotated[
        bool, typer.Option("--comments", help="Keep the comments of the sheet; read them first.")
    ] = False,
    crashes: Annotated[
        int, typer.Option("--crashes", min=0, help="Crashes to run when this build was not crashed yet.")
    ] = 0,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Write a build as one page to hand on: 3D view, parts, weaknesses, torque card and the sheet itself.

    Example: crashworthy share examples/dunlin.toml -o dunlin.html
    """
    from crashworthy.pictures.paper import write
    from crashworthy.web.viewer import viewer

    output = output or Path(f"{Path(quad).stem}.html")
    if output.suffix.lower() not in (".html", ".htm", ".pdf"):
        raise typer.BadParameter(f"{output}: end its name with .html or .pdf", param_hint="-o")
    paper = output.suffix.lower() == ".pdf"
    with opened(data, store) as workshop, progress_bar("crashing") as progress:
        page = workshop.share(
            quad,
            viewer="" if paper else viewer(),
            comments=comments,
            paper=paper,
            crashes=crashes,
            progress=progress,
        )
    size = write(page, output)
    if as_json:
        print_json({"file": str(output), "bytes": size, "comments": comments, "reimportable": not paper})
        return
    say(f"Wrote {output}, {size / 1000:.0f} kB. It holds the build and no journal, place or person.")
    if not paper:
        say(
            f"`crashworthy new {output}` takes it back. Drawings are written anew from their shapes: no name,"
        )
        say("date or folder of who drew them goes along.")
