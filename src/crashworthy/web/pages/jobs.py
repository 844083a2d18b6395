"""Long work: its progress as a piece of a page, asked for every second, and the button that stops it."""

from __future__ import annotations

import re

from fastapi import APIRouter, Request, Response

from crashworthy.web.views import page, workshop

router = APIRouter(include_in_schema=False)

_OWN_PATH = re.compile(r"/[a-z0-9/_-]*")


@router.get("/jobs/{job}")
def status(request: Request, job: str, then: str = "") -> Response:
    """How far a job is; once it is done the page is sent on to ``then``."""
    now = workshop(request).job(job)
    # Only addresses of this app: an address from elsewhere would make this an open redirect.
    onward = then if _OWN_PATH.fullmatch(then) and not then.startswith("//") else ""
    headers = {"HX-Redirect": onward} if now.state == "done" and onward else {}
    if now.state in ("failed", "cancelled", "interrupted"):
        # The piece replaces its asker, so that it stops asking.
        headers = {"HX-Reswap": "outerHTML"}
    return page(request, "job.html", job=now, headers=headers)


@router.post("/jobs/{job}/cancel")
def cancel(request: Request, job: str) -> Response:
    """Ask a job to stop; it does at the end of its chunk."""
    return page(request, "job.html", job=workshop(request).cancel(job))
