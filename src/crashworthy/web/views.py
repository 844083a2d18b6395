"""From a template's name to a page: the one place that knows Jinja and the list of sheets."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse

from crashworthy.cautions import CAUTIONS
from crashworthy.pictures.svg import css
from crashworthy.release import release
from crashworthy.web import words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fastapi import Request
    from starlette.responses import Response

    from crashworthy.accounts.sessions import Guest
    from crashworthy.workshop import Workshop

__all__ = ["SHEETS", "bare", "guest", "lone", "page", "rendered", "svg", "workshop"]


@dataclass(frozen=True, slots=True)
class SheetLink:
    """One entry of the list of sheets.

    Attributes:
        key: last part of its address.
        title: its name.
        per_quad: whether it is about one quad.
    """

    key: str
    title: str
    per_quad: bool = True


SHEETS: Final = (
    SheetLink("", "Fleet", per_quad=False),
    SheetLink("field", "Field"),
    SheetLink("build", "Build"),
    SheetLink("crash", "Crash test"),
    SheetLink("placement", "Placement"),
    SheetLink("improve", "Improve"),
    SheetLink("bench", "Bench"),
    SheetLink("lives", "Lives"),
    SheetLink("flights", "Flights"),
    SheetLink("kit", "Kit"),
    SheetLink("journal", "Journal"),
    SheetLink("crew", "Crew", per_quad=False),
    SheetLink("evidence", "Evidence", per_quad=False),
)
"""The pages, numbered from 1 in this order."""


def workshop(request: Request) -> Workshop:
    """The workshop of whoever asks: the only one, or that of their crew.

    Raises:
        HTTPException: 401; there are accounts and the door let nobody in.
    """
    found: Workshop | None = request.scope.get("state", {}).get("workshop") or request.app.state.workshop
    if found is None:
        raise HTTPException(401)
    return found


def guest(request: Request) -> Guest:
    """Who is signed in.

    Raises:
        HTTPException: 401; nobody is.
    """
    found: Guest | None = request.scope.get("state", {}).get("guest")
    if found is None:
        raise HTTPException(401)
    return found


def svg(picture: str) -> Markup:
    """Mark a picture made by ``crashworthy.pictures`` (which escapes its words) as safe to put in a page."""
    return Markup(picture)  # noqa: S704 - made by our own escaping writer, never by a person


@lru_cache(maxsize=64)
def _asset_tag(name: str) -> str:
    if name == "plot.css":  # it lives beside the code that draws the pictures
        return hashlib.sha256(css().encode()).hexdigest()[:10]
    file = files(__package__).joinpath("static", *name.split("/"))
    return hashlib.sha256(file.read_bytes()).hexdigest()[:10]


def asset(name: str) -> str:
    """Address of a static file, with its digest, so that browsers may keep it for long."""
    return f"/static/{name}?{_asset_tag(name)}"


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader(__package__ or "crashworthy.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(sheets=SHEETS, version=release(), asset=asset, cautions=CAUTIONS)
    made.filters.update(words.FILTERS)
    return made


def _leaf(path: str) -> str:
    """The sheet a path belongs to: "flights" for one flight, so that another quad's list can be offered."""
    parts = path.split("/")
    known = [s.key for s in SHEETS if s.per_quad]
    return parts[3] if len(parts) > 3 and parts[3] in known else known[0]


def page(
    request: Request,
    template: str,
    *,
    status: int = 200,
    slug: str = "",
    headers: Mapping[str, str] | None = None,
    **context: Any,
) -> Response:
    """A page, or a piece of one, from a template.

    Args:
        request: the request it answers.
        template: its file name.
        status: of the answer.
        slug: of the quad it is about, or "".
        headers: further headers.
        **context: what the template needs.
    """
    quads = workshop(request).names()
    here = slug or request.cookies.get("quad", "")
    if here not in quads:
        here = next(iter(quads), "")
    text = (
        _environment()
        .get_template(template)
        .render(
            quads=quads,
            slug=slug,
            here=here,
            path=request.url.path,
            leaf=_leaf(request.url.path),
            quad_name=quads.get(slug, slug),
            guest=request.scope.get("state", {}).get("guest"),
            **context,
        )
    )
    answer = HTMLResponse(text, status, dict(headers or {}))
    if slug and slug in quads and request.cookies.get("quad") != slug:
        answer.set_cookie("quad", slug, max_age=31_536_000, httponly=True, samesite="lax")
    return answer


def rendered(template: str, **context: Any) -> str:
    """A template that needs no request, as text."""
    return _environment().get_template(template).render(**context)


def lone(
    request: Request,
    template: str,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
    **context: Any,
) -> Response:
    """A page for a stranger: it stands alone and shows nothing of any fleet."""
    return HTMLResponse(rendered(template, path=request.url.path, **context), status, dict(headers or {}))


def bare(request: Request, status: int, title: str, remedy: str) -> Response:
    """A page that says one thing and shows nothing of the fleet."""
    del request
    return HTMLResponse(rendered("bare.html", title=title, remedy=remedy, home=status >= 500), status)
