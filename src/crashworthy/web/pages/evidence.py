"""Evidence: every outside check, run here and now, with its source and how the source was known."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from crashworthy.evidence.registry import all_checks
from crashworthy.web.views import page, workshop
from crashworthy.web.words import plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.evidence.registry import Outcome
    from crashworthy.jobs.runner import JobStatus

router = APIRouter(include_in_schema=False)

ACCESS_WORDS = {
    "read": "source read",
    "recalled": "from memory",
    "derived": "derived by hand",
    "computed": "computed by an independent library",
}
"""How an expected value was obtained, in words."""


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


def _context(request: Request) -> dict[str, Any]:
    shop = workshop(request)
    job = shop.evidence_job()
    outcomes = shop.evidence_outcomes()
    checks = all_checks()
    return {
        "rooms": [(room, list(rows)) for room, rows in itertools.groupby(checks, key=lambda c: c.room)],
        "by_id": {} if outcomes is None else {o.check.id: o for o in outcomes},
        "job": job,
        "sentence": _sentence(outcomes, job, len(checks)),
        "access_words": ACCESS_WORDS,
    }


@router.get("/evidence")
def evidence(request: Request) -> Response:
    """The table of checks, with outcomes once they have been run."""
    return page(request, "evidence.html", **_context(request))


@router.post("/evidence/run")
def run(request: Request) -> Response:
    """Run every check in the background."""
    workshop(request).start_evidence()
    return RedirectResponse("/evidence", 303)
