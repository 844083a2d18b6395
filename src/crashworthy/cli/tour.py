"""`crashworthy tour`: the loop from crash test to kit on the demo fleet, and how far you are."""

from __future__ import annotations

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say

__all__ = ["tour"]


def tour(data: Data = None, store: Store = None, as_json: Json = False) -> None:
    """List the steps of the guided tour, what each changed, and which is next.

    The pages it names are those of `crashworthy serve` over the same data folder.

    Example: crashworthy tour
    """
    with opened(data, store) as workshop:
        found = workshop.tour()
    if as_json:
        print_json(None if found is None else found.to_json())
        return
    if found is None:
        say("The tour walks over the invented demo fleet: start one with `crashworthy demo`.")
        return
    say(found.summary())
    for number, step in enumerate(found.steps, 1):
        word = "done" if step.done else "next" if number == found.next else "open"
        say(f"{number:>2} {step.title}: {word}. {step.changed or step.look}")
        say(f"   {step.links[0][1]}")
