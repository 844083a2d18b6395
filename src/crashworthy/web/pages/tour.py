"""Tour: the loop from crash test to kit on the demo fleet, step by step, as far as the facts say."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse, JSONResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import NotFoundError, Problem
from crashworthy.web.views import page, workshop

router = APIRouter(include_in_schema=False)


@router.get("/tour")
async def tour(request: Request) -> Response:
    """The steps, those done ticked off."""
    return await run_in_threadpool(_tour, request)


def _tour(request: Request) -> Response:
    return page(request, "tour.html", tour=workshop(request).tour())


@router.get("/api/tour")
async def as_data(request: Request) -> Response:
    """The same as plain data; null outside of the demo."""
    found = await run_in_threadpool(workshop(request).tour)
    return JSONResponse(None if found is None else found.to_json())


@router.get("/tour/bent-prop.csv")
def log(request: Request) -> Response:
    """A simulated flight log to drop."""
    path = workshop(request).spare_log()
    if path is None:
        raise NotFoundError(Problem("only a demo has a log to drop", "start one with `crashworthy demo`"))
    return FileResponse(path, media_type="text/csv", filename=path.name)
