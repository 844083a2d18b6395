"""Crew: what several quads know together, each rate informed by the others; counts alone come and go."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request, Response, UploadFile
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, JournalError, Problem
from crashworthy.pictures import plots
from crashworthy.pictures.arrows import Arrow, arrows
from crashworthy.upkeep.counts import read_counts
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.upkeep.counts import QuadCounts
    from crashworthy.upkeep.crew import CrewReport

router = APIRouter(include_in_schema=False)

MOST_FILES = 30
"""Files of counts taken in at once."""

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


def grade_arrows(report: CrewReport) -> str:
    """Each pilot's own ratio over the crew's, and the grading left once parts and builds are allowed for."""
    pilots = [p for p in report.grading.pilots if p.raw]
    expected = sum(sum(i.as_named) for i in report.items)
    broken = sum(sum(i.breaks) for i in report.items)
    if len(pilots) < 2 or not broken or expected <= 0.0:
        return ""
    level = broken / expected
    return arrows(
        [
            Arrow(
                p.pilot,
                (p.raw or level) / level,
                p.factor,
                p.low,
                p.high,
                f"{(p.raw or level) / level:.2f} → {p.factor:.2f} ({p.low:.2f}–{p.high:.2f})",
            )
            for p in pilots
        ],
        title="Grading of each pilot against the crew",
        x_label="breaks at this pilot's grades, times the crew's",
        one="crew",
    )


def _page(
    request: Request,
    others: Sequence[QuadCounts] = (),
    problems: Sequence[Problem] = (),
    status: int = 200,
    *,
    source: str = "",
    said: str = "",
) -> Response:
    shop = workshop(request)
    given = shop.given()
    report = shop.crew(others) if shop.names() or others or given else None
    return page(
        request,
        "crew.html",
        report=report,
        bars=svg(pooled_bars(report)) if report else "",
        grades=svg(grade_arrows(report)) if report else "",
        others=[q.label for q in others],
        given=given,
        sources=list(dict.fromkeys(g.source for g in given)),
        source=source,
        said=said,
        problems=problems,
        status=status,
    )


@router.get("/crew")
def crew(request: Request, kept: str = "") -> Response:
    """This fleet with the counts of others that are kept; ``kept`` is the source just taken in."""
    given = [g for g in workshop(request).given() if kept and g.source == kept]
    return _page(request, said=f"Kept: {' '.join(g.summary() for g in given)}" if given else "")


@router.post("/crew")
async def joined(request: Request, counts: list[UploadFile], source: Annotated[str, Form()] = "") -> Response:
    """Take in counts of others under the name of ``source``; without one they are shown and not kept."""
    if len(counts) > MOST_FILES:
        what = f"{len(counts)} files at once"
        return _page(request, problems=(Problem(what, f"take {MOST_FILES} or fewer"),), status=413)
    texts = [(file.filename or "counts", await file.read(LIMIT + 1)) for file in counts]
    return await run_in_threadpool(_joined, request, texts, source.strip())


def _joined(request: Request, texts: Sequence[tuple[str, bytes]], source: str) -> Response:
    others: list[QuadCounts] = []
    problems: list[Problem] = []
    status = 200
    try:
        if source and len(texts) > 1:
            what = f"{source[:40]!r} gives {len(texts)} files"
            raise JournalError(Problem(what, "take one file for each name", field="source"))
        for name, data in texts:
            text = data.decode("utf-8", "replace") if len(data) <= LIMIT else ""
            if source:
                kept = workshop(request).take_counts(source, text, name)
                return RedirectResponse(f"/crew?kept={quote(kept[0].source)}#given", 303)
            others += [c.told_by(name) for c in read_counts(text, name)]
    except CrashworthyError as error:
        problems += error.problems
        status = status_of(error)
    return _page(request, others, problems, status, source=source)


@router.post("/crew/remove")
def removed(request: Request, source: Annotated[str, Form()]) -> Response:
    """Remove what a source gave."""
    workshop(request).drop_counts(source)
    return RedirectResponse("/crew#given", 303)


@router.get("/crew/counts.json")
def export(request: Request) -> Response:
    """This fleet's counts, and nothing else of it."""
    rows = [counts.to_json() for counts in workshop(request).nameless_counts()]
    return Response(
        json.dumps(rows, indent=1),
        media_type="application/json",
        headers={"Content-Disposition": 'attachment; filename="counts.json"'},
    )
