"""`crashworthy improve`: every sensible change of a build tried, ranked by what it saves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import (
    Cluster,
    Data,
    Json,
    ScenarioName,
    Store,
    Strengths,
    Workers,
    opened,
    scenario_of,
)
from crashworthy.cli.output import caution, print_json, progress_bar, say, table

if TYPE_CHECKING:
    from crashworthy.upkeep.ranking import Ranking

__all__ = ["improve"]

BARS = 5
"""Uncertain parameters shown."""


def improve(
    quad: Annotated[str, typer.Argument(help="A sheet file (*.toml) or a quad of the fleet.")],
    top: Annotated[int, typer.Option("--top", help="How many changes to rank with full care.")] = 10,
    n: Annotated[
        int, typer.Option("--n", "-n", help="Crashes of each change that stays in the race.")
    ] = 1600,
    seed: Annotated[int, typer.Option("--seed", help="Same seed, same answer.")] = 1,
    by: Annotated[
        str,
        typer.Option(
            "--by",
            help="Rank by minutes, coins, per_gram, per_coin or per_minute (of fitting) in 100 crashes; or by"
            " packs, packs_per_gram or packs_per_coin in 100 packs, as the quad's journal says.",
        ),
    ] = "minutes",
    own: Annotated[
        str | None, typer.Option("--own", help="A second sheet or quad, ranked beside the changes.")
    ] = None,
    scenario: ScenarioName = None,
    strengths: Strengths = "mine",
    quick: Annotated[
        bool, typer.Option("--quick", help="Leave out when the order would flip; halves the time.")
    ] = False,
    workers: Workers = None,
    cluster: Cluster = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Try single changes of a build and rank them by bench time saved, with odds and what they cost.

    Changes come from the build itself: arms, plates, standoffs, camera, antennas, pack and its shields,
    leads, soft mounts and grommets, screws. Prices and bench minutes are assumptions; put yours into
    DATA/priors.toml.

    Example: crashworthy improve examples/gannet.toml --top 10
    """
    with opened(data, store, cluster) as workshop, progress_bar("crashing every change") as progress:
        found = workshop.improvements(
            quad,
            n,
            seed,
            scenario_of(workshop, quad, scenario),
            top=top,
            by=by,
            own=own,
            strengths=strengths,
            sensitivity=not quick,
            workers=workers,
            progress=progress,
        )
    if as_json:
        print_json(found.to_json())
        return
    _words(found)


def _words(found: Ranking) -> None:
    from crashworthy.upkeep.ranking import BY, INTERVAL, PACKS, PACKS_INTERVAL

    say(found.summary())
    say(f"{found.strengths[:1].upper()}{found.strengths[1:]}.")
    say(f"As it is, 100 crashes cost {found.minutes:.0f} bench minutes and {found.coins:.0f} coins.")
    say()
    table(
        ("change", "min saved", "90 %", "coins", "g", "buy", "fit", "best"),
        [
            (
                r.label,
                f"{r.minutes:.1f}",
                f"{r.low:.0f} to {r.high:.0f}",
                f"{r.coins_saved:.0f}",
                f"{r.grams:+.0f}",
                f"{r.coins:.0f}",
                f"{r.fit_minutes:.0f}",
                f"{100 * r.best:.0f} %",
            )
            for r in found.rows
        ],
        right="lrrrrrrr",
    )
    where = "" if found.by in PACKS else ", in 100 crashes"
    say(f"Ranked by {BY[found.by]}{where}. best: chance to be the best of those ranked.")
    if found.lived is not None:
        _packs(found)
    for r in found.rows[:3]:
        text = f"{r.label[:1].upper()}{r.label[1:]}: {r.why()}."
        if r.payback is not None:
            text += (
                f" Its {r.fit_minutes:.0f} minutes of fitting are earned back after {r.payback:.0f} crashes."
            )
        say(text)
    for r in found.rows[3:]:
        for ride in r.rides:
            say(f"{r.label[:1].upper()}{r.label[1:]}: {ride.sentence()}.")
    order = found.order()
    if order:
        say()
        say(order)
    if found.tornado is not None:
        say()
        say(f"What moves {found.tornado.base:.0f} {found.tornado.unit} (every number at its best) most:")
        table(
            ("if", "low end", "high end", "first then"),
            [
                (b.words, f"{b.low:.0f}", f"{b.high:.0f}", found.tornado.flipped(b) or "the same")
                for b in found.tornado.bars[:BARS]
            ],
            right="lrrl",
        )
    for x in found.left_out:
        say(f"Left out, {x.why}: {x.label}.")
    if found.dropped:
        say(f"Tried, not among the first: {'; '.join(found.dropped)}.")
    say(f"Interval: {INTERVAL}.")
    if found.lived is not None:
        say(f"In packs: {PACKS_INTERVAL}.")
    if any("arms" in r.key or "arm_" in r.key or "plate" in r.key for r in found.rows):
        from crashworthy.cautions import CAUTIONS

        caution(CAUTIONS["carbon"].text)


def _packs(found: Ranking) -> None:
    """The same in 100 packs, as the journal says."""
    say()
    say(f"In 100 packs. {found.lived}")
    table(
        ("change", "min saved", "90 %", "min a gram", "min a coin", "coins", "hover s"),
        [
            (
                r.label,
                f"{r.packs.minutes:.1f}",
                f"{r.packs.low:.0f} to {r.packs.high:.0f}",
                f"{r.packs.per_gram[0]:.2g}",
                f"{r.packs.per_coin[0]:.2g}",
                f"{r.packs.coins:.0f}",
                f"{r.packs.seconds:+.1f}",
            )
            for r in found.rows
            if r.packs is not None
        ],
        right="lrrrrrr",
    )
    say("coins: of spares not used up. hover s: seconds of hover a pack that the mass costs or gives.")
    say()
