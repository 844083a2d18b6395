"""`crashworthy learned`: what was predicted, what the crashes say, and how far it moved."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

__all__ = ["learned"]

MOST = 8
"""Kinds shown unless all are asked for."""


def learned(
    quad: Annotated[str, typer.Argument(help="A quad of the fleet by its short name.")],
    save: Annotated[
        Path | None,
        typer.Option("--save", help="Write the mix that the journal tells as a scenario file to edit."),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="List every kind of part.")] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Show how your crashes correct the crash test: strengths, and what you hit how fast.

    Example: crashworthy learned gannet --save mine.toml
    """
    from crashworthy.upkeep.strengths import IDENTIFIABLE

    with opened(data, store) as workshop:
        found, mine = workshop.learned(quad), workshop.mine(quad)
    if save is not None:
        try:
            save.write_text(mine.toml(), encoding="utf-8")
        except OSError as problem:
            raise typer.BadParameter(f"{save}: {problem.strerror}") from None
    if as_json:
        print_json({"strengths": found.to_json(), "scenario": mine.to_json()})
        return
    say(found.summary())
    if found.kinds:
        shown = found.kinds if every else found.kinds[:MOST]
        table(
            ("kind", "broke", "expected", "load/str.", "yours", "90 %", "own", "fleet's"),
            [
                (
                    k.plural,
                    k.breaks,
                    f"{k.expected:.1f}",
                    f"{k.use:.2f}",
                    f"{k.use_now[0]:.2f}",
                    f"{k.use_now[1]:.2f}-{k.use_now[2]:.2f}",
                    f"{k.own[0]:.2f}",
                    f"{k.pooled[0]:.2f}",
                )
                for k in shown
            ],
            right="lrrrrrrr",
        )
        say("load/str.: load over strength that a tenth of the loads exceed, as tabled, then as crashes say.")
        say("own, fleet's: times the tabled strength, by this quad's crashes alone, then with the fleet's.")
        for k in shown[:4]:
            say(k.summary())
        say(f"{IDENTIFIABLE[:1].upper()}{IDENTIFIABLE[1:]}.")
    say()
    say(mine.summary())
    table(
        ("hit", "assumed", "crashes", "yours"),
        [
            (r.name, f"{100 * r.assumed:.0f} %", f"{r.crashes:.1f}", f"{100 * r.share:.0f} %")
            for r in mine.rows
        ],
        right="lrrr",
    )
    if mine.mix.unknown:
        say(f"Words that no obstacle of the crash test answers to: {', '.join(mine.mix.unknown[:6])}.")
    if save is not None:
        say(f"Written to {save}: edit it, then `crashworthy crash {quad} --scenario {save}`.")
