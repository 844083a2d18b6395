"""Fleet: which quads there are and what each of them asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from crashworthy.errors import CrashworthyError
from crashworthy.pictures.dues import HATCH, due_words
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, workshop
from crashworthy.web.words import plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.errors import Problem
    from crashworthy.workshop import QuadCard

router = APIRouter(include_in_schema=False)


def _sentence(cards: Sequence[QuadCard]) -> str:
    if not cards:
        return "No quad yet: twelve questions describe one in ten minutes, and it stands here."
    head = (
        f"{plural(len(cards), 'quad')}, {plural(sum(c.packs for c in cards), 'pack')} flown,"
        f" {plural(sum(c.crashes for c in cards), 'crash', 'crashes')}"
    )
    waiting = [(c, d) for c in cards for d in c.due if d.state in ("due", "now")]
    if not waiting:
        return f"{head}: nothing is due."
    first_card, first = waiting[0]
    rest = len(waiting) - 1
    more = f"; {plural(rest, 'more joint group is', 'more joint groups are')} due" if rest else ""
    return f"{head}: look at the {first.title.lower()} of {first_card.name} first{more}."


def _show(
    request: Request, *, text: str = "", problems: Sequence[Problem] = (), status: int = 200
) -> Response:
    cards = workshop(request).fleet()
    return page(
        request,
        "fleet.html",
        status=status,
        cards=cards,
        sentence=_sentence(cards),
        hatch=HATCH,
        due_words=due_words,
        text=text,
        problems=problems,
        touring=bool(workshop(request).tour_quad()),
    )


@router.get("/")
def fleet(request: Request) -> Response:
    """Every quad and what it asks for."""
    return _show(request)


@router.post("/quads")
def add(request: Request, text: Annotated[str, Form()]) -> Response:
    """Add a quad from its build sheet; a sheet with a problem comes back with what was typed."""
    try:
        slug = workshop(request).add_quad(text)
    except CrashworthyError as error:
        return _show(request, text=text, problems=error.problems, status=status_of(error))
    return RedirectResponse(f"/quads/{slug}/build", 303)


@router.get("/field")
def field(request: Request) -> Response:
    """Where the home screen leads: the field sheet of the quad used last."""
    names = workshop(request).names()
    last = request.cookies.get("quad", "")
    slug = last if last in names else next(iter(names), "")
    return RedirectResponse(f"/quads/{slug}/field" if slug else "/", 303)


@router.get("/quads/{slug}")
def quad(request: Request, slug: str) -> Response:
    """A quad's own address leads to its field sheet."""
    workshop(request).require(slug)
    return RedirectResponse(f"/quads/{slug}/field", 307)
