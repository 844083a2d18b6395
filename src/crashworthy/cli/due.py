"""`crashworthy due`: which screws to check now, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from crashworthy.upkeep.due import Due

__all__ = ["due"]


def due(
    quad: Annotated[
        str | None, typer.Argument(help="A quad by its short name; the whole fleet without.")
    ] = None,
    day: Annotated[
        int | None, typer.Option("--day", help="Plan the checks into a day of so many packs.")
    ] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say which joint groups are due for a check, and why.

    Example: crashworthy due gannet --day 18
    """
    from crashworthy.upkeep.due import headline

    with opened(data, store) as workshop:
        names = workshop.names()
        if quad is not None:
            workshop.require(quad)
            names = {quad: names[quad]}
        lists = {slug: workshop.due(slug) for slug in names}
        plans = {slug: workshop.plan_day(slug, day) for slug in names} if day is not None else {}
    if as_json:
        print_json(
            {
                slug: {
                    "summary": headline(dues),
                    "due": [d.to_json() for d in dues],
                    **({"day": plans[slug].to_json()} if plans else {}),
                }
                for slug, dues in lists.items()
            }
        )
        return
    if not lists:
        say("No quad in the fleet yet: add one with `crashworthy new`, or look at `crashworthy demo`.")
    for slug, dues in lists.items():
        say(f"{names[slug]}: {headline(dues)}")
        _table(dues)
        if plans:
            say(plans[slug].summary())
        for d in dues:
            if d.state != "fresh":
                say(f"  {d.title}: {d.reason}")
        say()


def _table(dues: tuple[Due, ...]) -> None:
    table(
        ("joint group", "state", "packs since", "check at", "left", "chance loose now"),
        [
            (
                d.title,
                d.state,
                f"{d.age:.1f}",
                "{}-{}".format(*d.whole_zone),
                d.whole_packs_left,
                f"{100 * d.p_loose_now:.0f} %",
            )
            for d in dues
        ],
        right="llrrrr",
    )
