"""Pictures of what happened: taken with the phone or chosen, entered, shown."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Final

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import FileResponse, RedirectResponse

from crashworthy.errors import NotFoundError, Problem, StoreError
from crashworthy.web.views import workshop

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from crashworthy.upkeep.history import PhotoRow
    from crashworthy.workshop import Workshop

router = APIRouter(include_in_schema=False)

MOST: Final = 12
"""Pictures taken at once."""

_PHOTO: Final = re.compile(r"[0-9a-f]{16}\.(jpg|png|webp)")
_TYPES: Final = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as a page shows it.

    Attributes:
        file: its name.
        occurred: when.
        part, text: what it shows, or "".
        width, height: pixels.
    """

    file: str
    occurred: datetime
    part: str
    text: str
    width: int
    height: int


def shown(shop: Workshop, rows: Iterable[PhotoRow]) -> list[Shown]:
    """Those pictures that are here, newest first."""
    found = []
    for row in rows:
        size = shop.photo_size(row.file)
        if size is not None:
            found.append(Shown(row.file, row.occurred, row.part, row.text, *size))
    return found[::-1]


@router.post("/quads/{slug}/photos")
def taken(
    request: Request,
    slug: str,
    files: Annotated[list[UploadFile] | None, File()] = None,
    part: Annotated[str, Form(max_length=80)] = "",
    text: Annotated[str, Form(max_length=4000)] = "",
    back: Annotated[str, Form(max_length=20)] = "journal",
) -> Response:
    """Keep pictures and enter each; back to the page they came from."""
    shop = workshop(request)
    shop.require(slug)
    chosen = [f for f in files or () if f.filename]
    if not chosen or len(chosen) > MOST:
        what = f"{len(chosen)} pictures came" if chosen else "no picture came"
        raise StoreError(Problem(what, f"take or choose 1 to {MOST}", field="files"))
    for file in chosen:
        event = shop.keep_photo(slug, file.file, part, text, file.filename or "picture")
    if back == "lives":
        return RedirectResponse(f"/quads/{slug}/lives#p-{part}" if part else f"/quads/{slug}/lives", 303)
    return RedirectResponse(f"/quads/{slug}/journal#e-{event.id}", 303)


@router.get("/photos/{name}")
def photo(request: Request, name: str) -> Response:
    """A picture kept in the data folder."""
    path = workshop(request).photo(name) if _PHOTO.fullmatch(name) else None
    if path is None:
        raise NotFoundError(
            Problem("this picture is not here", "copy the folder photos along with a journal")
        )
    kept = {"Cache-Control": "private, max-age=31536000, immutable"}
    return FileResponse(path, media_type=_TYPES[path.suffix[1:]], headers=kept)
