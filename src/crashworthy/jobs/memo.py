"""What was worked out once and holds until what it follows from changes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

    T = TypeVar("T")

__all__ = ["Memo"]

KEEP: Final = 128
"""Answers kept; the one asked for longest ago goes first."""


class _Cell:
    """One answer, and the lock under which it is made."""

    __slots__ = ("lock", "stamp", "value")

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self.stamp: object = _Cell  # equal to no stamp that anybody gives
        self.value: Any = None


class Memo:
    """Answers by key, each with a stamp of what it follows from.

    While one thread works an answer out, others that want the same wait for it, and all else goes on.
    """

    def __init__(self, keep: int = KEEP) -> None:
        """Hold at most ``keep`` answers."""
        self._keep = keep
        self._lock = threading.Lock()
        self._cells: OrderedDict[Hashable, _Cell] = OrderedDict()

    def get(self, key: Hashable, stamp: object, make: Callable[[], T]) -> T:
        """The answer to ``key``; made when there is none, or when ``stamp`` is not that of the one kept.

        An error from ``make`` is handed on and nothing is kept.
        """
        with self._lock:
            cell = self._cells.setdefault(key, _Cell())
            self._cells.move_to_end(key)
            while len(self._cells) > self._keep:
                self._cells.popitem(last=False)
        with cell.lock:
            if cell.stamp != stamp:
                cell.value = make()
                cell.stamp = stamp
            return cast("T", cell.value)

    def kept(self) -> tuple[Hashable, ...]:
        """What is kept, the one asked for longest ago first."""
        with self._lock:
            return tuple(k for k, cell in self._cells.items() if cell.stamp is not _Cell)
