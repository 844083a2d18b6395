"""`crashworthy print`: printed parts from the build's own sizes, as STL or 3MF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, Workers, opened
from crashworthy.cli.output import print_json, progress_bar, say, table

if TYPE_CHECKING:
    from crashworthy.workshop.before_after import PrintedTrial

__all__ = ["print_part"]


def print_part(
    part: Annotated[str, typer.Argument(help="camera-cradle, antenna-mount or lead-guard.")],
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="File to write: .3mf or .stl.")
    ] = None,
    name: Annotated[str | None, typer.Option("--for", help="Antenna or lead it is for.")] = None,
    tilt: Annotated[
        float | None, typer.Option("--tilt", help="Tilt of the cradle, deg; else the sheet's.")
    ] = None,
    recess: Annotated[
        float | None, typer.Option("--recess", help="Recess of the lens, mm; else the sheet's.")
    ] = None,
    crash: Annotated[
        int,
        typer.Option(
            "--crash", help="Put it into the build and crash both this often, 16 or more; 0 for not."
        ),
    ] = 0,
    seed: Annotated[int, typer.Option("--seed", help="Of these crashes.")] = 1,
    copy: Annotated[
        bool, typer.Option("--copy", help="Put it into a copy of the quad and take that into the fleet.")
    ] = False,
    workers: Workers = None,
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
    if output is None and not crash and not copy:
        raise typer.BadParameter("give a file to write (-o part.3mf), or --crash or --copy to try the part")
    if copy and (tilt is not None or recess is not None):
        raise typer.BadParameter("--copy takes the part as the sheet has it, without --tilt or --recess")
    trial, taken = None, ""
    with opened(data, store) as workshop:
        made = workshop.printed(quad, part, name=name, tilt=tilt, recess=recess)
        if copy:
            taken = workshop.printed_on_a_copy(quad, part, name=name)
        if crash:
            with progress_bar("crashing both") as progress:
                trial = workshop.printed_trial(
                    quad,
                    part,
                    crash,
                    seed,
                    name=name,
                    tilt=tilt,
                    recess=recess,
                    workers=workers,
                    progress=progress,
                )
    said = {**made.to_json()} | ({} if trial is None else {"trial": trial.to_json()})
    said |= {"copy": taken} if taken else {}
    if output is not None:
        file = export(made, output.suffix.lower().lstrip("."))
        try:
            output.write_bytes(file)
        except OSError as problem:
            raise typer.BadParameter(f"cannot write {output}: {problem.strerror}") from None
        said |= {"file": str(output), "bytes": len(file)}
    if as_json:
        print_json(said)
        return
    say(made.summary() if output is None else f"Wrote {output}: {made.summary()}")
    table(("asked", "found"), [(g.name, g.found) for g in made.gates])
    say(f"Print: {made.settings}.")
    if taken:
        say(f"It is in {taken}, a copy in the fleet: `crashworthy crash {taken}`.")
    if trial is not None:
        _crashed(trial)


def _crashed(trial: PrintedTrial) -> None:
    from crashworthy.impact.differences import INTERVAL

    say(trial.summary())
    rows = [d for d in trial.crashes.kinds if d.change or d.low or d.high]
    table(
        ("breaks in 100 crashes", "without", "with", "change", "90 % interval"),
        [
            (
                d.words,
                f"{d.a:.2f}" if d.count_a else "none",
                f"{d.b:.2f}" if d.count_b else "none",
                f"{d.change:+.2f}",
                f"{d.low:+.2f} to {d.high:+.2f}{'' if d.known else ' ?'}",
            )
            for d in rows
        ],
        right="lrrrr",
    )
    say(f"Interval: {INTERVAL}.")
