"""Tap test: record five taps on an arm, here or on a phone, and read how stiff the arm still is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, File, Form, Request, Response, UploadFile

from crashworthy.errors import CrashworthyError
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, workshop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.errors import Problem

router = APIRouter(include_in_schema=False)

CORNERS: Final = {"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}


def plain_corner(part: str) -> str:
    """An arm's name in words: "arm_fl" is "Arm front left"."""
    stem, _, corner = part.rpartition("_")
    return f"{stem.replace('_', ' ').capitalize()} {CORNERS.get(corner, corner)}".strip()


def _page(
    request: Request,
    slug: str,
    *,
    part: str = "",
    test: Any = None,
    compared: str = "",
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    shop = workshop(request)
    firsts = {p: shop.first_taps(slug, p) for p in shop.tap_parts(slug)}
    known = sum(f is not None for f in firsts.values())
    if test is not None:
        sentence = f"{plain_corner(part)}: {test.summary()} {compared}".strip()
    else:
        sentence = f"{known} of {len(firsts)} arms have a first recording to be compared with."
    return page(
        request,
        "tap.html",
        slug=slug,
        status=status,
        sentence=sentence,
        firsts=firsts,
        label=plain_corner,
        part=part,
        test=test,
        compared=compared,
        problems=problems,
    )


@router.get("/quads/{slug}/flights/tap")
def tap(request: Request, slug: str) -> Response:
    """What to do, a place to record or drop, and each arm's first recording."""
    return _page(request, slug)


@router.post("/quads/{slug}/flights/tap")
def upload(
    request: Request, slug: str, part: Annotated[str, Form()], file: Annotated[UploadFile, File()]
) -> Response:
    """Fit the taps of a recording and enter them."""
    try:
        test, compared = workshop(request).keep_taps(slug, part, file.filename or "taps.wav", file.file)
    except CrashworthyError as error:
        return _page(request, slug, part=part, problems=error.problems, status=status_of(error))
    return _page(request, slug, part=part, test=test, compared=compared)
