"""Events of one quad side by side, as the fold reads them: a number for each thing said, not an object each.

What pilots say repeats itself: of 5 000 events some hundreds say something of their own. So each thing said
is kept once and events point to it; sums over packs and crashes then run over arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.upkeep.events import milliseconds
from crashworthy.upkeep.payloads import Crash, Retraction

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.upkeep.events import Event
    from crashworthy.upkeep.payloads import Payload

    Whole = NDArray[np.int64]

__all__ = ["Columns", "columns_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Events of one quad in order of time, then id, each id once.

    Attributes:
        occurred: (n,) ms since 1970 UTC.
        ids: n ids of 16 bytes.
        said: (n,) index in ``payloads``.
        payloads: the different things said, each once or more.
        devices: which device entered each crash, by the id of the crash: whose grading it is.
    """

    occurred: Whole
    ids: Sequence[bytes]
    said: Whole
    payloads: Sequence[Payload]
    devices: Mapping[bytes, str] = field(default_factory=dict)

    def active(self) -> Columns:
        """Without the retractions and what they took back."""
        back = {i for i, p in enumerate(self.payloads) if type(p) is Retraction}
        if not back:
            return self
        gone = {self.payloads[i].target.bytes for i in back}  # type: ignore[attr-defined] # by its type
        keep = np.array([key not in gone for key in self.ids]) & ~np.isin(self.said, list(back))
        ids = list(compress(self.ids, keep.tolist()))
        return Columns(self.occurred[keep], ids, self.said[keep], self.payloads, self.devices)

    def used(self) -> list[Payload]:
        """What is said by at least one of these events."""
        times = np.bincount(self.said, minlength=len(self.payloads))
        return [self.payloads[i] for i in np.flatnonzero(times).tolist()]


def columns_of(events: Sequence[Event]) -> Columns:
    """The columns of events that are in order already."""
    times = np.array([milliseconds(e.occurred) for e in events], dtype=np.int64)
    said = np.arange(len(events), dtype=np.int64)
    devices = {e.id.bytes: e.device for e in events if type(e.payload) is Crash}
    return Columns(times, [e.id.bytes for e in events], said, [e.payload for e in events], devices)
