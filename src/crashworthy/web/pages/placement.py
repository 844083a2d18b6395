"""Placement: what can touch each fragile part, what the camera sees, and where to move things."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, SheetError
from crashworthy.pictures import plots, ramp, render
from crashworthy.placement.camera import CameraBench, Pose
from crashworthy.placement.printed import KINDS, export
from crashworthy.placement.trim import trims
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop
from crashworthy.web.words import percent

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.placement.advice import Placement

router = APIRouter(include_in_schema=False)

TOP = 0.1
"""Share of first touches that gets the full shade: a fixed scale, so that two builds compare by eye."""


def share_bars(found: Placement) -> str:
    """Share of first touches of each fragile part, props stopped, costliest first."""
    return plots.interval_bars(
        [
            plots.Bar(
                e.label,
                100 * e.share,
                100 * min(sum(h.values()) / len(h) for h in (e.spinning, e.stopped)),
                100 * max(sum(h.values()) / len(h) for h in (e.spinning, e.stopped)),
                percent(e.share),
                "dense" if e.exposed else "sparse",
            )
            for e in found.exposures[:12]
        ],
        title="Touched first in this share of hits",
        x_label="% of hits, from props spinning to props stopped",
    )


class _Same:
    """Carries a quad and its placement through a cache whose key is the digest of the build."""

    __slots__ = ("found", "quad")

    def __init__(self, quad: Quad, found: Placement) -> None:
        self.quad, self.found = quad, found

    def __hash__(self) -> int:
        return hash(self.quad.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.quad.digest == self.quad.digest


@lru_cache(maxsize=8)
def _camera(it: _Same) -> tuple[str, tuple[str, ...]]:
    """What the camera sees, and what to file off for a clear view."""
    if it.found.camera is None:
        return "", ()
    bench = CameraBench(it.quad)
    pose = Pose.of(bench.camera)
    picture = render.camera_svg(bench.view(pose, 320), it.found.camera.summary())
    return picture, tuple(render.trim_svg(t) for t in trims(bench, pose)[:3])


@lru_cache(maxsize=8)
def _map(it: _Same) -> bytes:
    shares = {
        p.name: sum(hits[p.name] for hits in it.found.stopped[:5]) / 5 for p in it.quad.parts if len(p.faces)
    }
    return render.quad_png(it.quad, {n: ramp.on_log(s, TOP) for n, s in shares.items()}, width=640)


@lru_cache(maxsize=8)
def _apart(it: _Same) -> bytes:
    return render.exploded_png(it.quad, width=640)


@router.get("/quads/{slug}/placement")
async def placement(request: Request, slug: str) -> Response:
    """Everything the placement room says of one build."""
    return await run_in_threadpool(_show, request, slug)


def _show(
    request: Request, slug: str, problem: CrashworthyError | None = None, *, refused: bool = False
) -> Response:
    """The page; with what went wrong on top, which is an answer and no failure when a print was refused."""
    shop = workshop(request)
    shop.require(slug)
    try:
        quad, found = shop.quad(slug), shop.placement(slug)
    except CrashworthyError as error:
        return page(
            request,
            "placement.html",
            status=status_of(error),
            slug=slug,
            found=None,
            problems=error.problems,
        )
    picture, cuts = _camera(_Same(quad, found))
    return page(
        request,
        "placement.html",
        status=200 if problem is None or refused else status_of(problem),
        slug=slug,
        found=found,
        quad=quad,
        bars=svg(share_bars(found)) if found.exposures else "",
        view=svg(picture),
        cuts=[svg(c) for c in cuts],
        moves={m.part: m for m in found.moves},
        kinds=KINDS,
        problems=() if problem is None else problem.problems,
    )


@router.get("/quads/{slug}/placement/{picture}.png")
def picture(request: Request, slug: str, picture: str) -> Response:
    """The quad shaded by exposure ("map"), or pulled apart at its joints ("apart")."""
    shop = workshop(request)
    shop.require(slug)
    it = _Same(shop.quad(slug), shop.placement(slug))
    return Response(_apart(it) if picture == "apart" else _map(it), media_type="image/png")


@router.post("/quads/{slug}/placement/try")
def try_move(request: Request, slug: str, key: Annotated[str, Form()]) -> Response:
    """Make a move on a copy of the sheet, take the copy into the fleet and show it."""
    try:
        copy = workshop(request).try_move_on_a_copy(slug, key)
    except CrashworthyError as error:
        return _show(request, slug, error)
    return RedirectResponse(f"/quads/{copy}/placement", 303)


@router.get("/quads/{slug}/placement/print/{kind}.{ending}")
def printed(request: Request, slug: str, kind: str, ending: str) -> Response:
    """A printed part as STL or 3MF, or the reason why not."""
    try:
        part = workshop(request).printed(slug, kind)
        data = export(part, ending)
    except SheetError as refusal:
        return _show(request, slug, refusal, refused=ending in ("stl", "3mf"))
    return Response(
        data,
        media_type="model/3mf" if ending == "3mf" else "model/stl",
        headers={"Content-Disposition": f'attachment; filename="{slug}-{part.name}.{ending}"'},
    )
