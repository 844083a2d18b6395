"""Two people, one pack: entries of different devices that are perhaps about the same thing.

They are marked and never dropped: only the people know. A battery lasts longer than ``APART``, so two packs
of one quad that end closer together than that, entered on two devices, are suspicious; so are two crashes
within a minute (both assumptions).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterable
    from uuid import UUID

    from crashworthy.upkeep.events import Event

__all__ = ["APART", "Double", "doubles"]

APART: Final = {"pack": timedelta(seconds=150), "crash": timedelta(seconds=60)}
"""Closest that two such entries of one quad can be when both are true (assumption)."""


@dataclass(frozen=True, slots=True)
class Double:
    """Two entries that are perhaps one.

    Attributes:
        first, second: their ids, in order of time.
        seconds: between them.
    """

    first: UUID
    second: UUID
    seconds: float

    def summary(self) -> str:
        """In words."""
        return f"perhaps the same as another device's entry {self.seconds:.0f} s before"

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {"first": str(self.first), "second": str(self.second), "seconds": self.seconds}


def doubles(events: Iterable[Event]) -> tuple[Double, ...]:
    """Pairs of entries that are perhaps one; those taken back are left out.

    Args:
        events: of any quads, in any order, each once or more.
    """
    listed = {e.id: e for e in events}
    gone = {e.payload.target for e in listed.values() if e.kind == "retraction"}  # type: ignore[attr-defined] # by its kind
    known = sorted(
        (e for e in listed.values() if e.kind in APART and e.id not in gone), key=lambda e: (e.occurred, e.id)
    )
    found: list[Double] = []
    last: dict[tuple[str, str], Event] = {}
    for event in known:
        before = last.get((event.quad, event.kind))
        if before is not None and before.device != event.device:
            apart = event.occurred - before.occurred
            if apart < APART[event.kind]:
                found.append(Double(before.id, event.id, apart.total_seconds()))
        last[event.quad, event.kind] = event
    return tuple(found)
