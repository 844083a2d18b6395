"""Build: what the quad is made of, in 3D, as a drawing and as a list; and the sheet it all comes from."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from crashworthy.errors import CrashworthyError, SheetError
from crashworthy.pictures import drawing, ramp
from crashworthy.pictures import glb as model
from crashworthy.strength.beam import arm_beam
from crashworthy.web.by_build import ByBuild
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop
from crashworthy.web.words import grams, percent

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.build.quad import Quad
    from crashworthy.errors import Problem
    from crashworthy.workshop import Campaign

router = APIRouter(include_in_schema=False)

HIT_TOP = 0.5
"""Hit share that gets the full shade: a fixed scale, so that two builds can be compared by eye."""


@lru_cache(maxsize=16)
def _plan(quad: ByBuild, shades: tuple[tuple[str, int], ...] | None) -> tuple[str, tuple[drawing.Item, ...]]:
    return drawing.plan(quad.quad, None if shades is None else dict(shades), link="#item-{}")


@lru_cache(maxsize=16)
def _glb(quad: ByBuild, shades: tuple[tuple[str, float], ...] | None) -> bytes:
    return model.glb(quad.quad, None if shades is None else dict(shades))


def hit_shares(campaign: Campaign | None) -> dict[str, float]:
    """Hit share by part name from the latest campaign of this very build; empty without one."""
    if campaign is None or campaign.stale:
        return {}
    return {str(p["name"]): float(p["hit"]) for p in campaign.summary["parts"]}


def places(shares: Mapping[str, float]) -> dict[str, float]:
    """Place on the ramp, 0 to 1, by part name."""
    return {name: ramp.on_log(share, HIT_TOP) for name, share in shares.items()}


def _sentence(quad: Quad) -> str:
    parts = len(quad.pieces)
    head = f"{quad.name} is {grams(quad.mass)} in {parts} parts"
    if quad.missing is None or quad.weighed is None:
        return f"{head}; put it on the scales and write the weight into the sheet to see what is missing."
    gap = abs(quad.missing) / quad.weighed
    if abs(quad.missing) < 0.5e-3:
        return f"{head}, and the scales agree."
    word = "missing from" if quad.missing > 0 else "too much in"
    amount = f"{grams(abs(quad.missing))} ({percent(gap)})"
    return f"{head}; the scales say {grams(quad.weighed)}, so {amount} is {word} the sheet."


@router.get("/quads/{slug}/build")
def build(request: Request, slug: str) -> Response:
    """The build sheet, drawn."""
    return _show(request, slug)


def _show(
    request: Request,
    slug: str,
    *,
    text: str | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    shop = workshop(request)
    sheet = shop.sheet(slug)
    try:
        quad = shop.quad(slug)
    except SheetError as error:
        return page(
            request,
            "build_broken.html",
            slug=slug,
            text=sheet.text if text is None else text,
            problems=problems or error.problems,
            status=status,
        )
    shares = hit_shares(shop.latest_campaign(slug))
    shades = {name: ramp.step(place) for name, place in places(shares).items()} if shares else None
    picture, items = _plan(ByBuild(quad), tuple(sorted(shades.items())) if shades else None)
    text_now = text if text is not None else sheet.text
    return page(
        request,
        "build.html",
        slug=slug,
        status=status,
        sentence=_sentence(quad),
        quad=quad,
        picture=svg(picture),
        items=items,
        shares=shares,
        share_words=json.dumps({n: f"hit in {percent(s)} of crashes" for n, s in shares.items()}),
        scale=svg(
            ramp.scale("0.1 %", "50 %", "hit in this share of crashes", [(0.37, "1 %"), (0.74, "10 %")])
        ),
        arms=arm_beam(quad.arms[0]).belief.summary(),
        text=text_now,
        is_draft=sheet.is_draft or text is not None,
        problems=problems or sheet.problems,
    )


@router.get("/quads/{slug}/model.glb")
def glb(request: Request, slug: str) -> Response:
    """The 3D model, shaded by hit share when this build was crashed."""
    shop = workshop(request)
    quad, shares = shop.quad(slug), hit_shares(shop.latest_campaign(slug))
    data = _glb(ByBuild(quad), tuple(sorted(places(shares).items())) if shares else None)
    return Response(data, media_type="model/gltf-binary")


@router.post("/quads/{slug}/sheet")
def save(request: Request, slug: str, text: Annotated[str, Form()]) -> Response:
    """Save the sheet; one with a problem comes back as it was typed, with every problem."""
    try:
        workshop(request).save_sheet(slug, text.replace("\r\n", "\n"))
    except CrashworthyError as error:
        return _show(request, slug, text=text, problems=error.problems, status=status_of(error))
    return RedirectResponse(f"/quads/{slug}/build?saved=1", 303)


@router.post("/quads/{slug}/drawings")
def upload(request: Request, slug: str, file: Annotated[UploadFile, File()]) -> Response:
    """Keep a drawing or body beside the sheet; says what it holds and the rows that name it."""
    shop = workshop(request)
    name = shop.add_drawing(slug, file.filename or "", file.file.read())
    return page(request, "drawing_kept.html", slug=slug, name=name, rows=shop.rows_for(slug, name))
