"""The door of a server for crews: who asks, which fleet they get, and nothing at all for a stranger.

One ASGI wrapper in front of every page. It looks the token up, and gives the request the workshop of that
person's crew; pages know no other way to a workshop (``views.workshop``). What may be seen without an account
is the short list ``OPEN``.
"""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from crashworthy.errors import CrashworthyError
from crashworthy.web.problems import refuse, status_of

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from crashworthy.accounts.sessions import Guest
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.hall import Hall

__all__ = ["CREW_HEADER", "OPEN", "Door", "cookie_name", "token_of"]

OPEN: Final = ("/sign-in", "/join/", "/static/", "/manifest.webmanifest", "/worker.js")
"""Paths (or, with a slash at the end, beginnings of paths) that need no account."""

CREW_HEADER: Final = "x-crew"
"""Names the crew an entry belongs to; it was perhaps made while another one was looked at."""


def is_open(path: str) -> bool:
    """Whether a path needs no account."""
    return any(path == p or (p.endswith("/") and path.startswith(p)) for p in OPEN)


def cookie_name(scheme: str) -> str:
    """Name of the session's cookie; with the prefix, browsers take it only over TLS and for this host."""
    return "__Host-session" if scheme == "https" else "session"


def token_of(scope: Scope) -> str:
    """The token that came with a request, or ""."""
    headers = Headers(scope=scope)
    kind, _, token = headers.get("authorization", "").partition(" ")
    if kind.lower() == "bearer":
        return token.strip()
    try:
        cookies = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    found = cookies.get(cookie_name(scope.get("scheme", "http")))
    return found.value if found else ""


class Door:
    """The wrapper around the pages."""

    def __init__(self, app: ASGIApp, hall: Hall) -> None:
        """Guard ``app`` with the accounts of ``hall``."""
        self.app, self.hall = app, hall

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Find out who asks, then hand on or turn away."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        token = token_of(scope)
        crew = Headers(scope=scope).get(CREW_HEADER, "")
        try:
            guest = await run_in_threadpool(self.hall.accounts.who, token, crew) if token else None
            workshop = None if guest is None else await run_in_threadpool(self._fleet, guest)
        except CrashworthyError as error:  # the database is away: no page is asked, and nobody is signed out
            await refuse(Request(scope), status_of(error))(scope, receive, send)
            return
        if guest is not None:
            scope.setdefault("state", {}).update(guest=guest, workshop=workshop)
        elif not is_open(scope["path"]):
            await self._turned_away(Request(scope))(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _fleet(self, guest: Guest) -> Workshop:
        """The fleet of somebody's crew, whose unfinished jobs are taken up when it is first asked for."""
        workshop = self.hall.workshop_of(guest.crew)
        workshop.resume()
        return workshop

    @staticmethod
    def _turned_away(request: Request) -> Response:
        """The answer to a stranger: where to sign in, and nothing of what is inside."""
        path = request.url.path
        if request.method in ("GET", "HEAD") and not path.startswith("/api/"):
            back = quote(path, safe="/")
            if request.headers.get("hx-request") == "true":
                return Response(status_code=401, headers={"HX-Redirect": f"/sign-in?then={back}"})
            return RedirectResponse(f"/sign-in?then={back}", 303)
        return refuse(request, 401)
