"""Placement tried out: a move on a copy, before and after, and a printed part crashed in its place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, NotFoundError, Problem
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, workshop

if TYPE_CHECKING:
    from crashworthy.jobs.runner import JobStatus

router = APIRouter(include_in_schema=False)

CRASHES: Final = 400
"""Crashes of each build that one click asks for; the page of changes takes more."""


def job_of(request: Request, key: str) -> JobStatus | None:
    """A job by its key; None when there is none."""
    try:
        return workshop(request).job(key) if key else None
    except NotFoundError:
        return None


@router.post("/quads/{slug}/placement/try")
def try_move(
    request: Request,
    slug: str,
    key: Annotated[str, Form()],
    towards: Annotated[str, Form(alias="from")] = "even",
) -> Response:
    """Make a move on a copy of the sheet, take it into the fleet, crash both, show before and after."""
    from crashworthy.web.pages.placement import show

    shop = workshop(request)
    try:
        copy = shop.try_move_on_a_copy(slug, key, towards=towards)
        job = shop.start_trial(slug, copy, CRASHES, 1)
    except CrashworthyError as error:
        return show(request, slug, error)
    return RedirectResponse(f"/quads/{slug}/placement/trial/{copy}?job={job.id}", 303)


@router.post("/quads/{slug}/placement/fit")
def fit(request: Request, slug: str, kind: Annotated[str, Form()]) -> Response:
    """Put a printed part into a copy of the build in the fleet, crash both, show before and after."""
    from crashworthy.web.pages.placement import show

    shop = workshop(request)
    shop.require(slug)
    try:
        copy = shop.printed_on_a_copy(slug, kind)
        job = shop.start_trial(slug, copy, CRASHES, 1)
    except CrashworthyError as error:
        return show(request, slug, error, refused=not isinstance(error, NotFoundError))
    return RedirectResponse(f"/quads/{slug}/placement/trial/{copy}?job={job.id}", 303)


@router.get("/quads/{slug}/placement/trial/{other}")
async def trial(request: Request, slug: str, other: str, job: str = "") -> Response:
    """Two quads side by side; with their crashes once these are done."""
    return await run_in_threadpool(_trial, request, slug, other, job)


def _trial(request: Request, slug: str, other: str, job: str) -> Response:
    shop = workshop(request)
    shop.require(slug)
    shop.require(other)
    found, problems, status = None, tuple[Problem, ...](), 200
    try:
        found = shop.latest_trial(slug, other) or shop.trial(slug, other)
    except CrashworthyError as error:
        problems, status = error.problems, status_of(error)
    return page(
        request,
        "placement_trial.html",
        status=status,
        slug=slug,
        other=other,
        found=found,
        job=job_of(request, job),
        n=CRASHES,
        problems=problems,
    )


@router.post("/quads/{slug}/placement/trial/{other}")
def crash_both(request: Request, slug: str, other: str) -> Response:
    """Crash both builds in the background."""
    shop = workshop(request)
    shop.require(slug)
    shop.require(other)
    job = shop.start_trial(slug, other, CRASHES, 1)
    return RedirectResponse(f"/quads/{slug}/placement/trial/{other}?job={job.id}", 303)


@router.post("/quads/{slug}/placement/crash")
def crash_printed(request: Request, slug: str, kind: Annotated[str, Form()]) -> Response:
    """Put a printed part into the build and crash both in the background."""
    from crashworthy.web.pages.placement import show

    shop = workshop(request)
    shop.require(slug)
    try:
        job = shop.start_printed_trial(slug, kind, CRASHES, 1)
    except CrashworthyError as error:
        return show(request, slug, error, refused=not isinstance(error, NotFoundError))
    return RedirectResponse(f"/quads/{slug}/placement?job={job.id}", 303)
