"""Handbook: the docs inside the app."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse, RedirectResponse

from crashworthy.web import handbook
from crashworthy.web.views import page, svg, workshop

router = APIRouter(include_in_schema=False)


@router.get("/handbook")
def first() -> Response:
    """Its first page."""
    return RedirectResponse(f"{handbook.PREFIX}/index", 307)


@router.get("/handbook/pictures/{name}")
def picture(name: str) -> Response:
    """A picture of it."""
    return FileResponse(handbook.picture(name), headers={"Cache-Control": "no-cache"})


@router.get("/handbook/{name:path}")
def leaf(request: Request, name: str) -> Response:
    """One page of it."""
    found = handbook.leaf(name)
    touring = name in ("index", "tour") and bool(workshop(request).tour_quad())
    others = [n for n in handbook.leaves() if n.startswith("decisions/")] if name == "index" else []
    return page(
        request, "handbook.html", sheet=found, html=svg(found.html), decisions=others, touring=touring
    )
