"""`crashworthy print`: printed parts from the build's own sizes, as STL or 3MF."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

__all__ = ["print_part"]


def print_part(
    part: Annotated[str, typer.Argument(help="camera-cradle, antenna-mount or lead-guard.")],
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="File to write: .3mf or .stl.")],
    name: Annotated[str | None, typer.Option("--for", help="Antenna or lead it is for.")] = None,
    tilt: Annotated[
        float | None, typer.Option("--tilt", help="Tilt of the cradle, deg; else the sheet's.")
    ] = None,
    recess: Annotated[
        float | None, typer.Option("--recess", help="Recess of the lens, mm; else the sheet's.")
    ] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Make a part to print, or refuse with the reason.

    Example: crashworthy print camera-cradle examples/gannet.toml -o cradle.3mf
    """
    from crashworthy.placement.printed import export

    if tilt is not None and not -90 <= tilt <= 90:
        raise typer.BadParameter("--tilt is -90 to 90 deg")
    if recess is not None and not -60 <= recess <= 120:
        raise typer.BadParameter("--recess is -60 to 120 mm")
    with opened(data, store) as workshop:
        made = workshop.printed(quad, part, name=name, tilt=tilt, recess=recess)
    file = export(made, output.suffix.lower().lstrip("."))
    try:
        output.write_bytes(file)
    except OSError as problem:
        raise typer.BadParameter(f"cannot write {output}: {problem.strerror}") from None
    if as_json:
        print_json({**made.to_json(), "file": str(output), "bytes": len(file)})
        return
    say(f"Wrote {output}: {made.summary()}")
    table(("asked", "found"), [(g.name, g.found) for g in made.gates])
    say(f"Print: {made.settings}.")
