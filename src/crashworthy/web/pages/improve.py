"""Improve: what is worth changing first, how sure that is, and a copy of the sheet to try it on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, NotFoundError, Problem, ScenarioError
from crashworthy.pictures.changes import difference_bars, pack_bars, rank_bars, tornado_bars
from crashworthy.upkeep.ranking import BY, INTERVAL, PACKS_INTERVAL
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.jobs.runner import JobStatus

router = APIRouter(include_in_schema=False)

DEFAULTS: Final = {"n": "800", "seed": "1", "by": "minutes"}
LEAST: Final = 64
MOST: Final = 20_000


def _asked(form: Mapping[str, str]) -> tuple[int, int, str]:
    problems: list[Problem] = []
    numbers = {}
    for name, low, high in (("n", LEAST, MOST), ("seed", 0, 2**64 - 1)):
        text = form.get(name, DEFAULTS[name]).strip()
        if not (text.isascii() and text.isdigit() and low <= int(text) <= high):
            problems.append(
                Problem(f"{text!r} will not do", f"write a whole number from {low} to {high}", field=name)
            )
        numbers[name] = int(text) if text.isascii() and text.isdigit() else 0
    by = form.get("by", DEFAULTS["by"])
    if by not in BY:
        problems.append(Problem(f"cannot rank by {by!r}", f"use one of {', '.join(BY)}", field="by"))
    if problems:
        raise ScenarioError(*problems)
    return numbers["n"], numbers["seed"], by


@router.get("/quads/{slug}/improve")
def improve(request: Request, slug: str, job: str = "") -> Response:
    """The latest ranking and comparison of this build, and the forms for the next."""
    return _show(request, slug, job=job)


def _show(
    request: Request,
    slug: str,
    *,
    job: str = "",
    typed: Mapping[str, str] | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    shop = workshop(request)
    shop.require(slug)
    ranking, found = shop.latest_ranking(slug), shop.latest_comparison(slug)
    swing = ranking.tornado if ranking is not None else None
    return page(
        request,
        "improve.html",
        slug=slug,
        status=status,
        sentence=ranking.summary() if ranking else _before(shop.changes(slug), shop.names()[slug]),
        ranking=ranking,
        comparison=found,
        job=_job(request, job),
        form={**DEFAULTS, **dict(typed or {})},
        measures=BY,
        problems=problems,
        bars=svg(rank_bars(ranking)) if ranking and ranking.rows else "",
        swing=svg(tornado_bars(swing)) if swing is not None and swing.bars else "",
        differences=svg(difference_bars(found)) if found else "",
        interval=INTERVAL,
        pack_bars=svg(pack_bars(ranking)) if ranking else "",
        packs_interval=PACKS_INTERVAL,
    )


def _before(changes: Sequence[object], name: str) -> str:
    return f"Not ranked yet: {len(changes)} single changes of {name} can be tried against the same crashes."


def _job(request: Request, key: str) -> JobStatus | None:
    try:
        return workshop(request).job(key) if key else None
    except NotFoundError:
        return None


@router.post("/quads/{slug}/improve")
async def start(request: Request, slug: str) -> Response:
    """Start a ranking, or a comparison with another quad, in the background."""
    form = {k: v for k, v in (await request.form()).items() if isinstance(v, str)}
    return await run_in_threadpool(_start, request, slug, form)


def _start(request: Request, slug: str, form: dict[str, str]) -> Response:
    shop = workshop(request)
    try:
        n, seed, by = _asked(form)
        against = form.get("against", "")
        job = (
            shop.start_comparison(slug, against, n, seed)
            if against
            else shop.start_improvements(slug, n, seed, by)
        )
    except CrashworthyError as error:
        return _show(request, slug, typed=form, problems=error.problems, status=status_of(error))
    return RedirectResponse(f"/quads/{slug}/improve?job={job.id}", 303)


@router.post("/quads/{slug}/improve/{key}")
def copy(request: Request, slug: str, key: str) -> Response:
    """Put a change on a copy of the sheet and go to the copy."""
    return RedirectResponse(f"/quads/{workshop(request).try_on_a_copy(slug, key)}/build", 303)
