"""Evidence: every outside check, run here and now, with its source and how the source was known."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from crashworthy.errors import NotFoundError, Problem
from crashworthy.evidence.registry import all_checks
from crashworthy.web.views import page, workshop
from crashworthy.web.words import plural, upfirst

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.evidence.registry import Check, Outcome
    from crashworthy.jobs.runner import JobStatus

router = APIRouter(include_in_schema=False)

ACCESS_WORDS = {
    "read": "source read",
    "recalled": "from memory",
    "derived": "derived by hand",
    "computed": "computed by an independent library",
}
"""How an expected value was obtained, in words."""

ROOM_WORDS: Final = {
    "build": "mass and shape of the build",
    "strength": "what parts, joints and motors bear",
    "impact": "the crash engine",
    "placement": "exposure, camera and antennas",
    "vibration": "flight logs",
    "upkeep": "statistics of journal and screws",
}
"""What the checks of each room are about."""


def _sentence(outcomes: Sequence[Outcome] | None, job: JobStatus | None, total: int) -> str:
    if job is not None and not job.ended:
        return f"{job.done} of {total} outside checks have run; this page shows their outcome at the end."
    if outcomes is None:
        return (
            f"{plural(total, 'outside check')} can be run here; none has been run since this program started."
        )
    good = sum(o.passed for o in outcomes)
    sources = sum(o.check.access == "read" for o in outcomes)
    bad = len(outcomes) - good
    read = f"{sources} rest on a source that was read"
    failed = f", {plural(bad, 'fails', 'fail')}" if bad else ""
    return f"{good} of {len(outcomes)} outside checks pass{failed}; {read}."


@dataclass(frozen=True, slots=True)
class Room:
    """One room's line in the overview.

    Attributes:
        key: its name.
        words: what its checks are about.
        checks: them.
        passed: how many pass, None when they have not been run.
        access: how many by how the expected value was obtained, in the order of ``ACCESS_WORDS``.
    """

    key: str
    words: str
    checks: tuple[Check, ...]
    passed: int | None
    access: tuple[int, ...]


def _rooms(outcomes: Sequence[Outcome] | None) -> tuple[Room, ...]:
    good = None if outcomes is None else {o.check.id for o in outcomes if o.passed}
    found = []
    for key, group in itertools.groupby(all_checks(), key=lambda c: c.room):
        rows = tuple(group)
        passed = None if good is None else sum(c.id in good for c in rows)
        access = tuple(sum(c.access == way for c in rows) for way in ACCESS_WORDS)
        found.append(Room(key, ROOM_WORDS[key], rows, passed, access))
    return tuple(found)


def _context(request: Request) -> dict[str, Any]:
    shop = workshop(request)
    job = shop.evidence_job()
    outcomes = shop.evidence_outcomes()
    rooms = _rooms(outcomes)
    return {
        "rooms": rooms,
        "room": None,
        "by_id": {} if outcomes is None else {o.check.id: o for o in outcomes},
        "failed": () if outcomes is None else tuple(o.check for o in outcomes if not o.passed),
        "job": job,
        "sentence": _sentence(outcomes, job, sum(len(r.checks) for r in rooms)),
        "access_words": ACCESS_WORDS,
    }


@router.get("/evidence")
def evidence(request: Request) -> Response:
    """The rooms and how many of their checks pass; those that fail stand here in full."""
    return page(request, "evidence.html", **_context(request))


@router.get("/evidence/{room}")
def one_room(request: Request, room: str) -> Response:
    """Every check of one room, with outcomes once they have been run.

    Raises:
        NotFoundError: no such room.
    """
    context = _context(request)
    found = next((r for r in context["rooms"] if r.key == room), None)
    if found is None:
        raise NotFoundError(Problem(f"no room is called {room!r}", f"rooms: {', '.join(ROOM_WORDS)}"))
    known = "none has been run yet" if found.passed is None else f"{found.passed} pass"
    sentence = f"{upfirst(found.words)}: {plural(len(found.checks), 'outside check')}, {known}."
    return page(request, "evidence.html", **context | {"room": found, "sentence": sentence})


@router.post("/evidence/run")
def run(request: Request) -> Response:
    """Run every check in the background."""
    workshop(request).start_evidence()
    return RedirectResponse("/evidence", 303)
