"""Picture and words of what is due: each joint group on its way to its best interval."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crashworthy.pictures import gauges

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.upkeep.due import Due

__all__ = ["HATCH", "due_bars", "due_words"]

HATCH: Final = {"fresh": "open", "soon": "sparse", "due": "dense", "now": "solid"}
"""The hatch of each state of a joint group."""


def due_words(due: Due) -> str:
    """The state of a joint group in a few words."""
    if due.forced:
        return f"due now: {due.forced}"
    if due.state == "now":
        return "overdue: look before you fly"
    if due.state == "due":
        return "due now"
    left = due.whole_packs_left
    return f"{'soon, ' if due.state == 'soon' else ''}in {left} pack{'' if left == 1 else 's'}"


def due_bars(dues: Sequence[Due]) -> str:
    """The due bars of one quad as SVG, or "" when it has no joint groups."""
    if not dues:
        return ""
    return gauges.due_bars(
        [
            gauges.DueBar(
                label=d.title,
                age=d.age,
                interval=d.tau,
                low=d.zone[0],
                high=d.zone[1],
                state=HATCH[d.state],
                words=due_words(d),
            )
            for d in dues
        ]
    )
