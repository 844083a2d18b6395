"""Crew: what several quads know together, each rate informed by the others; counts alone come and go."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response, UploadFile
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError
from crashworthy.pictures import plots
from crashworthy.upkeep.crew import read_counts
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.errors import Problem
    from crashworthy.upkeep.crew import CrewReport, QuadCounts

router = APIRouter(include_in_schema=False)

LIMIT = 2_000_000
"""Largest file of counts, bytes."""


def pooled_bars(report: CrewReport) -> str:
    """Pooled rates of what has broken, quad by quad, with the arrow from the quad's own in words."""
    rows = []
    for pool in report.items:
        if not sum(pool.breaks):
            continue
        for i, label in enumerate(pool.labels):
            own = pool.raw[i]
            rows.append(
                plots.Bar(
                    f"{pool.item.replace('_', ' ')}, {label}",
                    pool.pooled[i],
                    pool.low[i],
                    pool.high[i],
                    f"{'-' if own is None else f'{own:.2f}'} → {pool.pooled[i]:.2f}",
                    "dense" if pool.breaks[i] else "open",
                )
            )
    if not rows:
        return ""
    return plots.interval_bars(
        rows[:16], title="Breaks over simulated breaks", x_label="times as often as simulated"
    )


def _page(
    request: Request, others: Sequence[QuadCounts], problems: Sequence[Problem], status: int
) -> Response:
    shop = workshop(request)
    report = shop.crew(others) if shop.names() or others else None
    return page(
        request,
        "crew.html",
        report=report,
        bars=svg(pooled_bars(report)) if report else "",
        others=[q.label for q in others],
        problems=problems,
        status=status,
    )


@router.get("/crew")
def crew(request: Request) -> Response:
    """This fleet alone."""
    return _page(request, (), (), 200)


@router.post("/crew")
async def joined(request: Request, counts: list[UploadFile]) -> Response:
    """This fleet with the counts of others; they are shown and not kept."""
    texts = [(file.filename or "counts", await file.read(LIMIT + 1)) for file in counts]
    return await run_in_threadpool(_joined, request, texts)


def _joined(request: Request, texts: Sequence[tuple[str, bytes]]) -> Response:
    others: list[QuadCounts] = []
    problems: list[Problem] = []
    status = 200
    for name, data in texts:
        try:
            others += read_counts(data.decode("utf-8", "replace") if len(data) <= LIMIT else "", name)
        except CrashworthyError as error:
            problems += error.problems
            status = status_of(error)
    return _page(request, others, problems, status)


@router.get("/crew/counts.json")
def export(request: Request) -> Response:
    """This fleet's counts, and nothing else of it."""
    shop = workshop(request)
    rows = [shop.counts(slug).to_json() for slug in shop.names()]
    return Response(
        json.dumps(rows, indent=1),
        media_type="application/json",
        headers={"Content-Disposition": 'attachment; filename="counts.json"'},
    )
