"""`crashworthy kit` and `stock`: what to carry, and what is on the shelf."""

from __future__ import annotations

from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import caution, print_json, say, table

__all__ = ["kit", "stock"]

REASONED = 3
"""Items whose reason is printed: those that run out first."""


def kit(
    quad: Annotated[str, typer.Argument(help="A quad of the fleet by its short name.")],
    packs: Annotated[int, typer.Option("--packs", help="Packs of the whole trip.")] = 20,
    grams: Annotated[float, typer.Option("--grams", help="Weight limit, g.")] = 400.0,
    coins: Annotated[float, typer.Option("--coins", help="Limit of money for what must be bought.")] = 100.0,
    seed: Annotated[int, typer.Option("--seed", help="Seed of the simulated trips.")] = 1,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Pack the spares that let you finish the trip, within weight and money.

    Example: crashworthy kit gannet --packs 40 --grams 400 --coins 90
    """
    with opened(data, store) as workshop:
        plan = workshop.kit(quad, packs, grams, coins, seed)
        rests = workshop.hazards_words(quad)
    if as_json:
        print_json(plan.to_json())
        return
    say(plan.summary())
    say(rests)
    table(
        ("item", "carry", "buy", "g", "coins", "expected use", "enough in 100 trips"),
        [
            (
                x.label,
                x.count,
                x.buy,
                f"{x.grams:.0f}",
                f"{x.coins:.1f}",
                f"{x.expected:.1f}",
                f"{100 * x.p_enough:.0f}",
            )
            for x in plan.lines
        ],
        right="lrrrrrr",
    )
    for x in plan.lines[:REASONED]:
        say(f"{x.label[:1].upper()}{x.label[1:]}: {x.why}.")
    if plan.left:
        say("Not carried: " + ", ".join(f"{x.label} (enough in {100 * x.p_enough:.0f})" for x in plan.left))
    say("Tools: " + ", ".join(t.name for t in plan.tools))
    for best in (plan.next_gram, plan.next_coin):
        if best is not None:
            say(best.summary())
    for text in plan.cautions:
        caution(text)


def stock(
    item: Annotated[str | None, typer.Argument(help="An item of the kit list.")] = None,
    count: Annotated[int | None, typer.Argument(help="How many are on hand.")] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Show the spares on hand, or say how many there are of one.

    Example: crashworthy stock prop 12
    """
    with opened(data, store) as workshop:
        if item is not None and count is not None:
            workshop.set_stock(item, count)
        on_hand = workshop.stock()
    if as_json:
        print_json(on_hand)
    elif not on_hand:
        say("No spares are noted yet: `crashworthy stock ITEM COUNT`, with the items of `crashworthy kit`.")
    else:
        table(("item", "on hand"), sorted(on_hand.items()), right="lr")
