"""The errors a person can cause, each with what is wrong, where, and what to do.

    CrashworthyError
    ├── SheetError         a build sheet that cannot become a quad
    ├── DrawingError       a DXF, STL, 3MF or STEP file that cannot become a part
    ├── ScenarioError      a crash campaign asked for in a way that cannot be run
    ├── LogError           a flight log that cannot be read, or not for this question
    ├── JournalError       an event that cannot be accepted, or a journal file that cannot be read
    ├── StoreError         a database or data folder that cannot be used
    ├── AccessError        a sign-in, invitation or right that is refused
    └── NotFoundError      a quad, log, event or campaign that is not there

Faces print ``str(error)`` and exit 2 (command line) or answer 4xx (web); a traceback never reaches a person.
"""

from __future__ import annotations

import errno
from dataclasses import dataclass
from typing import Final

__all__ = [
    "DISK_FULL",
    "AccessError",
    "CrashworthyError",
    "DrawingError",
    "JournalError",
    "LogError",
    "NotFoundError",
    "Problem",
    "ScenarioError",
    "SheetError",
    "StoreError",
    "said_by_system",
]

DISK_FULL: Final = "the disk is full"
"""What is said when the system finds no room, whoever asked for it."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong.

    Attributes:
        what: what is wrong, in plain words.
        remedy: what to do about it; empty only when nothing can be done.
        file: the file as the person named it, or "".
        line: 1-based line in that file, or 0 when there is none.
        field: dotted path of the field ("camera.view.fov"), or "".
    """

    what: str
    remedy: str = ""
    file: str = ""
    line: int = 0
    field: str = ""

    def __str__(self) -> str:
        """Say where, what and what to do on one line."""
        place = ":".join(str(x) for x in (self.file, self.line) if x)
        head = ", ".join(x for x in (place, self.field) if x)
        text = f"{head}: {self.what}" if head else self.what
        return f"{text} -> {self.remedy}" if self.remedy else text


class CrashworthyError(Exception):
    """Something a person can mend; carries every problem found, not only the first."""

    def __init__(self, *problems: Problem | str) -> None:
        """Take one or more problems; a bare string becomes a problem without a place."""
        self.problems: tuple[Problem, ...] = tuple(
            p if isinstance(p, Problem) else Problem(what=p) for p in problems
        )
        super().__init__("\n".join(str(p) for p in self.problems))


class SheetError(CrashworthyError):
    """A build sheet that cannot become a quad."""


class DrawingError(CrashworthyError):
    """A drawing or model file that cannot become a part."""


class ScenarioError(CrashworthyError):
    """A crash campaign asked for in a way that cannot be run."""


class LogError(CrashworthyError):
    """A flight log that cannot be read, or not for this question."""


class JournalError(CrashworthyError):
    """An event that cannot be accepted, or a journal file that cannot be read."""


def said_by_system(problem: OSError, otherwise: str) -> str:
    """What the system says of a failed read or write, in words; ``otherwise`` when it says nothing."""
    if problem.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return DISK_FULL
    return problem.strerror or otherwise


class StoreError(CrashworthyError):
    """A database or data folder that cannot be used."""


class AccessError(CrashworthyError):
    """A sign-in, invitation or right that is refused."""

    def __init__(self, *problems: Problem | str, wait: float = 0.0) -> None:
        """Take the problems and the seconds to wait before trying again; 0 when waiting does not help."""
        super().__init__(*problems)
        self.wait = wait


class NotFoundError(CrashworthyError):
    """A quad, log, event or campaign that is not there."""
