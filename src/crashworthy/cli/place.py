"""`crashworthy place`: what can touch each fragile part, and a move tried, before and after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, Workers, opened
from crashworthy.cli.output import caution, print_json, progress_bar, say, table

if TYPE_CHECKING:
    from crashworthy.placement.advice import Placement
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.agreement import Agreement
    from crashworthy.workshop.before_after import Trial

__all__ = ["place", "trial_words"]


def place(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    limit: Annotated[
        float, typer.Option("--view", help="Share of the picture the cage may cover, % (assumption 1).")
    ] = 1.0,
    towards: Annotated[
        str,
        typer.Option(
            "--scenario",
            help="Where obstacles come from: even, everyday, campaign (the newest crash test's) or a "
            "scenario file.",
        ),
    ] = "even",
    try_move: Annotated[
        str | None, typer.Option("--try", help="Make this move on a copy and show before and after.")
    ] = None,
    n: Annotated[
        int,
        typer.Option("--n", "-n", help="With --try: crash both this often, 64 or more; 0 for not at all."),
    ] = 0,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="Where --try writes the copy of the sheet.")
    ] = None,
    agree: Annotated[
        bool, typer.Option("--agree", help="Compare first touches with those of 2000 simulated crashes.")
    ] = False,
    workers: Workers = None,
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
    if n and n < 64:
        raise typer.BadParameter("--n is 64 or more, or 0 for no crashes")
    with opened(data, store) as workshop:
        if try_move is not None:
            _try(workshop, quad, try_move, towards, n, output, workers, as_json=as_json)
            return
        found = workshop.placement(quad, limit / 100, towards=towards)
        agreed = workshop.agreement(quad, towards=towards) if agree else None
    if as_json:
        print_json(found.to_json() | ({"agreement": agreed.to_json()} if agreed else {}))
        return
    _words(found)
    if agreed is not None:
        _agreement(agreed)
    if found.pack is not None:
        caution(found.pack.caution)
    caution(CAUTIONS["bench"].text)


def _try(
    workshop: Workshop,
    quad: str,
    key: str,
    towards: str,
    n: int,
    output: Path | None,
    workers: int | None,
    *,
    as_json: bool,
) -> None:
    text = workshop.try_move(quad, key, towards=towards)
    if n:
        with progress_bar("crashing both") as progress:
            found = workshop.move_trial(quad, key, n, towards=towards, workers=workers, progress=progress)
    else:
        found = workshop.move_trial(quad, key, towards=towards)
    if output is not None:
        _write(output, text, silent=as_json)
    if as_json:
        print_json({**found.to_json(), "sheet": text})
        return
    trial_words(found)
    if not n:
        say("Add --n 800 for breaks and bench minutes from the same crashes of both.")


def trial_words(found: Trial) -> None:
    """Print a before and after."""
    say(found.summary())
    table(
        ("", "before", "after", "change"),
        [(x.what, x.before, x.after, x.change) for x in (*found.lines, *found.breaks())],
        right="lrrr",
    )
    if found.crashes is not None:
        from crashworthy.impact.differences import INTERVAL

        say(f"{found.crashes.n} crashes of each. In brackets: {INTERVAL}.")


def _agreement(found: Agreement) -> None:
    say(found.summary())
    if found.disagreements:
        table(
            ("first touched, of 100", "geometry", "crashes", "error"),
            [
                (r.label, f"{100 * r.geometry:.1f}", f"{100 * r.crashes:.1f}", f"{100 * r.error:.1f}")
                for r in found.disagreements
            ],
            right="lrrr",
        )
        say("They differ because geometry neither turns the quad while it is touched nor bends leads.")
    if found.strap is not None:
        say(found.strap.summary())


def _write(output: Path, text: str, *, silent: bool) -> None:
    try:
        output.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise typer.BadParameter(f"cannot write {output}: {problem.strerror}") from None
    if not silent:
        say(f"Wrote {output}; its drawings are those of the first sheet, so keep it in the same folder.")


def _mm(radius: float) -> str:
    return "wall" if radius == float("inf") else f"{2e3 * radius:.0f} mm"


def _words(found: Placement) -> None:
    say(found.summary())
    shown = found.exposures
    loss = ("breaks", "coins", "min") if found.crashed else ("order",)
    table(
        ("part", "first", "ball", "pole", "stub", *loss),
        [
            (
                e.label + ("" if e.exposed else " (hidden)"),
                f"{100 * e.share:.2f} %",
                _mm(e.reach.ball),
                _mm(e.reach.pole),
                f"{100 * e.reach.open[1]:.1f} %",
                *(
                    (f"{e.score:.2f}",)
                    if e.breaks is None
                    else (
                        f"{100 * e.breaks:.2f}",
                        f"{100 * e.breaks * e.price:.0f}",
                        f"{100 * e.breaks * e.minutes:.0f}",
                    )
                ),
            )
            for e in shown
        ],
        right="lrrrr" + "r" * len(loss),
    )
    say(found.order())
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
    say("First: touched first on random straight lines, mean over spike, balls and bar.")
    say("Ball, pole: thickest that can touch. Stub: directions open to a 40 mm ball.")
    if found.crashed:
        say("Breaks by touch, coins and bench minutes: in 100 crashes.")
