"""`crashworthy place`: what can touch each fragile part, and how far to move it at what cost."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import caution, print_json, say, table

if TYPE_CHECKING:
    from crashworthy.placement.advice import Placement

__all__ = ["place"]


def place(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    limit: Annotated[
        float, typer.Option("--view", help="Share of the picture the cage may cover, % (assumption 1).")
    ] = 1.0,
    scenario: Annotated[
        bool, typer.Option("--scenario", help="Weigh directions by the everyday crashes, not evenly.")
    ] = False,
    try_move: Annotated[
        str | None, typer.Option("--try", help="Make this move on a copy of the sheet (see -o).")
    ] = None,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="Where --try writes the copy.")
    ] = None,
    agree: Annotated[
        bool, typer.Option("--agree", help="Compare first touches with those of 2000 simulated crashes.")
    ] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say where each fragile part can be touched, and the best move of it in mm with its cost.

    Example: crashworthy place examples/gannet.toml
    """
    from crashworthy.cautions import CAUTIONS

    if not 0 <= limit <= 100:
        raise typer.BadParameter("--view is a share in %, 0 to 100")
    with opened(data, store) as workshop:
        if try_move is not None:
            text = workshop.try_move(quad, try_move)
            if output is None:
                say(text.rstrip("\n"))
            else:
                _write(output, text)
            return
        found = workshop.placement(quad, limit / 100, scenario=scenario)
        agreed = workshop.agreement(quad) if agree else None
    if as_json:
        print_json(found.to_json() | ({"agreement": agreed.to_json()} if agreed else {}))
        return
    _words(found)
    if agreed is not None:
        say(agreed.summary())
        if agreed.strap is not None:
            say(agreed.strap.summary())
    if found.pack is not None:
        caution(found.pack.caution)
    caution(CAUTIONS["bench"].text)


def _write(output: Path, text: str) -> None:
    try:
        output.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise typer.BadParameter(f"cannot write {output}: {problem.strerror}") from None
    say(f"Wrote {output}; its drawings are those of the first sheet, so keep it in the same folder.")


def _mm(radius: float) -> str:
    return "wall" if radius == float("inf") else f"{2e3 * radius:.0f} mm"


def _words(found: Placement) -> None:
    say(found.summary())
    shown = found.exposures
    table(
        ("part", "spinning", "stopped", "ball", "pole", "stub", "score"),
        [
            (
                e.label + ("" if e.exposed else " (hidden)"),
                f"{100 * sum(e.spinning.values()) / len(e.spinning):.2f} %",
                f"{100 * sum(e.stopped.values()) / len(e.stopped):.2f} %",
                _mm(e.reach.ball),
                _mm(e.reach.pole),
                f"{100 * e.reach.open[1]:.1f} %",
                f"{e.score:.2f}",
            )
            for e in shown
        ],
        right="lrrrrrr",
    )
    moves = {m.part: m for m in found.moves}
    for e in shown:
        if e.exposed:
            say(found.sentence(e))
            if e.part in moves:
                say(f"  Move: {moves[e.part].summary()} [--try {moves[e.part].key}]")
    if found.camera is not None:
        say(found.camera.summary())
        if found.deepest is not None:
            say(
                f"  Deepest recess with {100 * found.limit:g} % of the picture covered: "
                f"{found.deepest:.1f} mm."
            )
        else:
            say(f"  No recess keeps the cage under {100 * found.limit:g} % of the picture: trim the plates.")
    for lines in (found.antennas, found.leads):
        for line in lines:
            say(line.summary())
    if found.pack is not None:
        say(found.pack.summary())
    say("Share: of first touches on random straight lines, mean over spike, balls, bar and flat.")
    say("Ball, pole: thickest that can touch. Stub: directions open to a 40 mm ball.")
