"""Placement in depth: the camera's trade-off and pupil, and an antenna's link with its candidate places."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, Problem, SheetError
from crashworthy.pictures import places
from crashworthy.placement.budget import LinkSettings
from crashworthy.placement.link import POLARISATIONS
from crashworthy.placement.pupil import Mark
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.placement.budget import Link
    from crashworthy.placement.pupil import Corner
    from crashworthy.placement.tradeoff import TradeOff
    from crashworthy.placement.trim import Trim
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.seeing import AntennaReport

router = APIRouter(include_in_schema=False)

WHOLE: Final = ("distance", "power", "sensitivity", "ground_gain", "reserve")
LOSSES: Final = ("carbon", "metal", "hand", "cross")
MOST: Final = 12
"""Tilts or recesses a page tries at once."""


def _number(text: str, name: str, problems: list[Problem]) -> float:
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        problems.append(Problem(f"{text!r} is not a number", "write a number such as 20", field=name))
        return 0.0


def _list(text: str, name: str, problems: list[Problem]) -> tuple[float, ...] | None:
    """Numbers apart by spaces or semicolons; None for none."""
    parts = text.replace(";", " ").split()
    if len(parts) > MOST:
        problems.append(Problem(f"{len(parts)} {name} are too many", f"give up to {MOST}", field=name))
    return tuple(_number(p, name, problems) for p in parts[:MOST]) or None


@router.get("/quads/{slug}/placement/camera")
async def camera(request: Request, slug: str) -> Response:
    """Recess against tilt, what to trim, and the form that finds the pupil."""
    return await run_in_threadpool(_camera, request, slug, dict(request.query_params))


def _camera(
    request: Request,
    slug: str,
    asked: Mapping[str, str],
    problems: Sequence[Problem] = (),
    status: int = 200,
    marked: Mapping[str, str] | None = None,
) -> Response:
    shop = workshop(request)
    shop.require(slug)
    found: TradeOff | None = None
    cuts: tuple[Trim, ...] = ()
    corners: tuple[Corner, ...] = ()
    wrong = list(problems)
    try:
        tilts, recesses = (_list(asked.get(n, ""), n, wrong) for n in ("tilts", "recesses"))
        limit = _number(asked.get("view", "1"), "view", wrong) / 100
        if len(wrong) > len(problems):
            raise SheetError(*wrong[len(problems) :])
        found = shop.trade_off(slug, tilts, recesses, limit)
        cuts, corners = shop.trims(slug), shop.corners(slug)
    except CrashworthyError as error:
        wrong = [*problems, *error.problems]
        if asked:  # what the sheet does not say yet is no fault of whoever follows the link
            status = status_of(error)
    return page(
        request,
        "placement_camera.html",
        status=status,
        slug=slug,
        found=found,
        cage=svg(places.cage_plot(found)) if found else "",
        protection=svg(places.protection_plot(found)) if found else "",
        cuts=cuts,
        corners=corners,
        form={"tilts": "20 30 40", "recesses": "-4 -2 0 2 4 6", "view": "1", **asked},
        marked=dict(marked or {}),
        problems=wrong,
    )


@router.get("/quads/{slug}/placement/trim/{plate}.{ending}")
def trim(request: Request, slug: str, plate: str, ending: str) -> Response:
    """The trim outline of a plate, true to size."""
    try:
        name, data = workshop(request).trim_file(slug, ending, plate)
    except CrashworthyError as error:
        return _camera(request, slug, {}, error.problems, status_of(error))
    return Response(
        data,
        media_type="image/svg+xml" if ending == "svg" else "image/vnd.dxf",
        headers={"Content-Disposition": f'attachment; filename="{slug}-trim-{name}.{ending}"'},
    )


@router.post("/quads/{slug}/placement/pupil")
async def pupil(request: Request, slug: str) -> Response:
    """Find the pupil from a marked corner and take a copy of the quad with it into the fleet."""
    form = {k: v for k, v in (await request.form()).items() if isinstance(v, str)}
    return await run_in_threadpool(_pupil, request, slug, form)


def _pupil(request: Request, slug: str, form: Mapping[str, str]) -> Response:
    shop = workshop(request)
    problems: list[Problem] = []
    where = form.get("corner") or form.get("xyz", "")
    xyz = [_number(p, "corner", problems) for p in where.replace(";", " ").split()[:4]]
    numbers = {n: _number(form.get(n, ""), n, problems) for n in ("column", "row", "columns", "rows")}
    if len(xyz) != 3:
        problems.append(Problem("a corner has three numbers", "write x y z in mm", field="corner"))
    if not problems and not (1 < numbers["columns"] < 1e5 and 1 < numbers["rows"] < 1e5):
        problems.append(
            Problem("no picture is that size", "give its columns and rows of pixels", field="columns")
        )
    try:
        if problems:
            raise SheetError(*problems)
        mark = Mark(
            (xyz[0], xyz[1], xyz[2]),
            (numbers["column"], numbers["row"]),
            (int(numbers["columns"]), int(numbers["rows"])),
        )
        fit = shop.pupil(slug, [mark])
        copy = shop.add_copy(shop.with_pupil(slug, fit))
    except CrashworthyError as error:
        return _camera(request, slug, {}, error.problems, status_of(error), form)
    return RedirectResponse(f"/quads/{copy}/placement/camera", 303)


@router.get("/quads/{slug}/placement/link")
async def link(request: Request, slug: str) -> Response:
    """One antenna: margin by direction, range, two receivers, places on both axes."""
    return await run_in_threadpool(_link, request, slug, dict(request.query_params))


def _settings(usual: LinkSettings, asked: Mapping[str, str]) -> LinkSettings:
    """The usual settings with what was filled in.

    Raises:
        SheetError: a number is none, or out of range.
    """
    problems: list[Problem] = []
    given = {n: _number(asked[n], n, problems) for n in (*WHOLE, *LOSSES) if asked.get(n, "").strip()}
    if problems:
        raise SheetError(*problems)
    lost: dict[str, Any] = {n: v for n, v in given.items() if n in LOSSES}
    if asked.get("ground"):
        lost["ground"] = asked["ground"]
    whole = {n: v for n, v in given.items() if n in WHOLE}
    return replace(usual, losses=replace(usual.losses, **lost), **whole)


@lru_cache(maxsize=8)
def _report(
    shop: Workshop, digest: str, slug: str, name: str, settings: LinkSettings, towards: str
) -> AntennaReport:
    """An antenna's report; the digest of the build is part of what it is kept under."""
    del digest
    return shop.antenna(slug, name, settings, towards=towards)


def _link(request: Request, slug: str, asked: Mapping[str, str]) -> Response:
    shop = workshop(request)
    shop.require(slug)
    report: AntennaReport | None = None
    usual: LinkSettings | None = None
    status, problems, names = 200, tuple[Problem, ...](), tuple[str, ...]()
    labels: dict[str, str] = {}
    try:
        quad = shop.quad(slug)
        labels = {p.name: p.label for p in quad.parts}
        names = tuple(quad.sheet.antennas)
        name = asked.get("for") or next(iter(names), "")
        if name in quad.sheet.antennas:
            usual = LinkSettings.of(quad.sheet.antennas[name])
            usual = _settings(usual, asked)
            report = _report(shop, quad.digest, slug, name, usual, asked.get("from", "even"))
        elif names:
            raise SheetError(Problem(f"no antenna is called {name!r}", f"antennas: {', '.join(names)}"))
    except CrashworthyError as error:
        # What the sheet does not say yet is no fault of whoever follows the link; what was typed is.
        status, problems = status_of(error) if asked else 200, error.problems
    form = dict(asked)
    if usual is not None:
        form = {n: f"{getattr(usual, n):g}" for n in WHOLE} | {
            n: f"{getattr(usual.losses, n):g}" for n in LOSSES
        }
        form |= dict(asked)
    return page(
        request,
        "placement_link.html",
        status=status,
        slug=slug,
        report=report,
        names={n: labels.get(n, n) for n in names},
        name=asked.get("for") or next(iter(names), ""),
        form=form,
        grounds=POLARISATIONS,
        map=svg(places.margin_map(report.map, report.link)) if report else "",
        range=svg(places.range_plot(*_curves(report))) if report else "",
        chart=svg(places.spot_chart(report.spots)) if report else "",
        problems=problems,
    )


def _curves(report: AntennaReport) -> tuple[list[tuple[str, Link]], Link | None]:
    """The antenna's curve, and that of the better of two with its best partner."""
    if report.partner is None:
        return [(report.link.name, report.link)], None
    return [(report.link.name, report.link), (report.partner.name, report.partner)], report.both
