"""Placement: what can touch each fragile part, what the camera sees, and where to move things."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, Problem, SheetError
from crashworthy.pictures import exploded, ramp, render
from crashworthy.pictures.hidden import loss_bars, share_bars
from crashworthy.placement.camera import CameraBench, Pose
from crashworthy.placement.printed import KINDS, export
from crashworthy.placement.trim import trims
from crashworthy.web.by_build import ByBuild
from crashworthy.web.pages.trials import job_of
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.placement.advice import Placement

router = APIRouter(include_in_schema=False)

TOP = 0.1
"""Share of first touches that gets the full shade: a fixed scale, so that two builds compare by eye."""


WORTH_A_ROW: Final = 1.0
"""Coins lost in 100 crashes from which on a hidden part stands in the table all the same."""


class _Same(ByBuild):
    """A quad with its placement; the key is the build and the directions."""

    __slots__ = ("found",)

    def __init__(self, quad: Quad, found: Placement, towards: str = "even") -> None:
        super().__init__(quad, towards)
        self.found = found


@lru_cache(maxsize=8)
def _camera(it: _Same) -> tuple[str, tuple[tuple[str, str], ...]]:
    """What the camera sees, and what to file off for a clear view."""
    if it.found.camera is None:
        return "", ()
    bench = CameraBench(it.quad)
    pose = Pose.of(bench.camera)
    picture = render.camera_svg(bench.view(pose, 320), it.found.camera.summary())
    return picture, tuple((t.label, render.trim_svg(t)) for t in trims(bench, pose)[:3])


@lru_cache(maxsize=8)
def _map(it: _Same) -> bytes:
    shares = {
        p.name: sum(hits[p.name] for hits in it.found.stopped[:5]) / 5 for p in it.quad.parts if len(p.faces)
    }
    return render.quad_png(it.quad, {n: ramp.on_log(s, TOP) for n, s in shares.items()}, width=640)


@lru_cache(maxsize=8)
def _joints(it: ByBuild) -> tuple[str, tuple[exploded.Balloon, ...]]:
    return exploded.joints_map(it.quad)


TOWARDS: Final = {
    "even": "everywhere alike",
    "everyday": "the everyday crashes",
    "campaign": "the newest crash test",
}
"""Where obstacles come from, in words."""


@router.get("/quads/{slug}/placement")
async def placement(request: Request, slug: str) -> Response:
    """Everything the placement room says of one build."""
    return await run_in_threadpool(show, request, slug)


def show(
    request: Request, slug: str, problem: CrashworthyError | None = None, *, refused: bool = False
) -> Response:
    """The page; with what went wrong on top, which is an answer and no failure when a print was refused."""
    shop = workshop(request)
    shop.require(slug)
    asked = request.query_params if request.method == "GET" else {}
    towards = asked.get("from", "even")
    try:
        if towards not in TOWARDS:
            raise SheetError(Problem(f"no directions are called {towards!r}", f"use {', '.join(TOWARDS)}"))
        quad, found = shop.quad(slug), shop.placement(slug, towards=towards)
    except CrashworthyError as error:
        return page(
            request,
            "placement.html",
            status=status_of(error),
            slug=slug,
            found=None,
            problems=error.problems,
        )
    same = _Same(quad, found)
    picture, cuts = _camera(same)
    return page(
        request,
        "placement.html",
        status=200 if problem is None or refused else status_of(problem),
        slug=slug,
        found=found,
        quad=quad,
        bars=svg(loss_bars(found) or share_bars(found)) if found.exposures else "",
        scale=svg(ramp.scale("0.1 %", "10 %", "touched first in this share of hits", [(0.5, "1 %")])),
        listed=[e for e in found.exposures if e.exposed or (e.loss or 0.0) >= WORTH_A_ROW],
        view=svg(picture),
        cuts=[(label, svg(cut)) for label, cut in cuts],
        moves={m.part: m for m in found.moves},
        kinds=KINDS,
        crashed=shop.printed_trials(slug),
        job=job_of(request, asked.get("job", "")),
        towards=towards,
        ways=TOWARDS,
        problems=() if problem is None else problem.problems,
    )


@router.get("/quads/{slug}/placement/map.png")
def exposure_map(request: Request, slug: str) -> Response:
    """The quad shaded by exposure."""
    shop = workshop(request)
    shop.require(slug)
    towards = request.query_params.get("from", "even")
    if towards not in TOWARDS:
        towards = "even"
    same = _Same(shop.quad(slug), shop.placement(slug, towards=towards), towards)
    return Response(_map(same), media_type="image/png")


@router.get("/quads/{slug}/placement/joints")
def joints(request: Request, slug: str) -> Response:
    """A piece of the page: the quad pulled apart with a balloon for each screw group."""
    shop = workshop(request)
    shop.require(slug)
    picture, balloons = _joints(ByBuild(shop.quad(slug)))
    return page(request, "placement_joints.html", slug=slug, picture=svg(picture), balloons=balloons)


@router.get("/quads/{slug}/placement/agreement")
def agreement(request: Request, slug: str) -> Response:
    """A piece of the page: first touches by geometry beside those of the newest crash test."""
    shop = workshop(request)
    shop.require(slug)
    return page(request, "placement_agreement.html", slug=slug, agreed=shop.known_agreement(slug))


@router.get("/quads/{slug}/placement/print/{kind}.{ending}")
def printed(request: Request, slug: str, kind: str, ending: str) -> Response:
    """A printed part as STL or 3MF, or the reason why not."""
    try:
        part = workshop(request).printed(slug, kind)
        data = export(part, ending)
    except SheetError as refusal:
        return show(request, slug, refusal, refused=ending in ("stl", "3mf"))
    return Response(
        data,
        media_type="model/3mf" if ending == "3mf" else "model/stl",
        headers={"Content-Disposition": f'attachment; filename="{slug}-{part.name}.{ending}"'},
    )
