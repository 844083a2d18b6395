"""`crashworthy torque`: how tight each screw may be, what limits it, and what a loose one costs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import caution, print_json, say, table

if TYPE_CHECKING:
    from crashworthy.strength.torque import TorqueCard

__all__ = ["torque"]


def torque(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    depth: Annotated[
        list[str] | None,
        typer.Option("--depth", help="Depth of thread you measured: GROUP=MM, such as motor=3.5; repeat it."),
    ] = None,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="Write the card for paper: .html or .pdf.")
    ] = None,
    inspection: Annotated[
        Path | None,
        typer.Option("--inspection", help="Write a fleet quad's inspection sheet: .html or .pdf."),
    ] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Print the torque card: torque of each screw group, what decides it, and what a loose screw costs.

    Example: crashworthy torque gannet --depth motor=3.5 -o card.pdf --inspection sheet.pdf
    """
    from crashworthy.cautions import CAUTIONS
    from crashworthy.pictures import paper

    depths = dict(_depth(text) for text in depth or ())
    with opened(data, store) as workshop:
        if output is not None:
            paper.write(workshop.torque_sheet(quad, depths), output)
        if inspection is not None:
            paper.write(workshop.inspection_sheet(quad), inspection)
        card = workshop.torque_card(quad, depths)
        slips = workshop.slip_shares(quad, card)
    if as_json:
        print_json({**card.to_json(), "slips": slips})
        return
    _words(card, slips)
    for file in (output, inspection):
        if file is not None:
            say(f"Wrote {file}.")
    caution(CAUTIONS["bench"].text)


def _depth(text: str) -> tuple[str, float]:
    from crashworthy.quantities import MM

    group, _, number = text.partition("=")
    try:
        value = float(number.replace(",", "."))
    except ValueError:
        value = 0.0
    if not group or not 0.0 < value <= 50.0:
        raise typer.BadParameter(f"--depth {text!r}: write a group and mm, such as motor=3.5")
    return group, value * MM


def _words(card: TorqueCard, slips: dict[str, float]) -> None:
    from crashworthy.quantities import DEG, MM

    say(card.summary())
    rated = [r for r in card.rows if r.torque is not None]
    table(
        ("screws", "size", "N m", "preload N", "thread", "half gone", "lost"),
        [
            (
                f"{r.count} {r.group.replace('_', ' ')}",
                f"{r.thread} x {r.length / MM:g} {r.grade}",
                "{:.2f}-{:.2f}".format(*(r.torque or (0.0, 0.0))),
                f"{r.preload[0]:.0f}-{r.preload[1]:.0f}",
                f"{r.engaged / MM:.1f} mm",
                f"{r.turn / DEG / 2:.0f}°",
                f"{100 * r.margin_lost:.0f} %",
            )
            for r in rated
        ],
        right="llrrrrr",
    )
    for r in card.rows:
        say(r.summary() if r.torque is None else f"{r.title}: {r.limit} decides.")
        if r.torque is not None:
            low, high = r.by_hand
            say(f"  By feel that torque gives {low:.0f}-{high:.0f} N. Thread locker: {r.locker}.")
        if r.group in slips:
            say(
                f"  Slips in at most {100 * slips[r.group]:.0f} of 100 simulated crashes when tight; "
                "in every one that pushes it when loose."
            )
        for note in r.notes:
            say(f"  Note: {note}.")
    say("Lost: share of the vibration margin gone with the preload (1 - phi), not of pull strength.")
