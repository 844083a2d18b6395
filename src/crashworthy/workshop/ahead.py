"""Working out beforehand what pages will ask for, so that nobody waits for it."""

from __future__ import annotations

import os
import sys
import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from crashworthy.workshop import Workshop

__all__ = ["Ahead"]

QUIET: Final = 2.0
"""Seconds without a further change before the work begins: a burst of entries is worked out once."""


class Ahead:
    """One thread behind everything else; told which fleet changed, it works out the slow answers of it."""

    def __init__(self, quiet: float = QUIET) -> None:
        """Begin, with nothing to do yet."""
        self._quiet = quiet
        self._wake = threading.Event()
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._changed: list[Workshop] = []
        self._thread = threading.Thread(target=self._run, name="ahead", daemon=True)
        self._thread.start()

    def changed(self, workshop: Workshop) -> None:
        """Say that a fleet was opened, or that something in it changed."""
        with self._lock:
            if workshop not in self._changed:
                self._changed.append(workshop)
        self._wake.set()

    def close(self) -> None:
        """Stop after the step that is being done, and wait for it."""
        self._stop.set()
        self._wake.set()
        self._thread.join()

    def _run(self) -> None:
        if sys.platform == "linux":  # there a thread has a niceness of its own
            with suppress(OSError):
                os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), 10)
        while not self._stop.is_set():
            self._wake.wait()
            self._wake.clear()
            while not self._stop.is_set() and self._wake.wait(self._quiet):
                self._wake.clear()
            with self._lock:
                changed, self._changed = self._changed, []
            for workshop in changed:
                self._work_out(workshop)

    def _work_out(self, workshop: Workshop) -> None:
        from crashworthy.errors import CrashworthyError

        with suppress(CrashworthyError):  # whoever opens the page is told what is wrong
            for slug in workshop.names():
                known = workshop.latest_campaign(slug)
                if known is None or known.stale:
                    continue  # a page never starts a campaign unasked; neither does this
                # Last what may crash again: with fracture, at the strengths that were just learned.
                for step in (
                    workshop.learned,
                    workshop.wear,
                    workshop.mine,
                    workshop.placement,
                    lambda _, known=known: workshop.corrected_summary(known),
                ):
                    if self._stop.is_set():
                        return
                    with suppress(CrashworthyError):
                        step(slug)
            if not self._stop.is_set() and workshop.names():
                workshop.crew()
            for slug in workshop.names():
                if not self._stop.is_set():
                    with suppress(CrashworthyError):
                        workshop.strikes(slug)
