"""Nobody waits before an empty screen: a page that takes long says so at once and follows by itself.

A page is asked of the app as ever. When it has not come within ``SOON`` the browser gets a page that says
that it is being worked out; it asks every second whether it is there, and is then sent to it. Only browsers
are treated so (they ask for text/html); programs wait for their answer.
"""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import Response

from crashworthy.web.views import page

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from crashworthy.workshop.ahead import Ahead

__all__ = ["ASK", "SOON", "Patience"]

SOON: Final = 0.35
"""Seconds that a page may take before the browser is told that it takes longer."""

ASK: Final = "/being-worked-out"
"""Where a waiting page asks."""

FRESH: Final = 10.0
"""Seconds that a page worked out is kept for whoever waits; later it is worked out anew."""

MOST: Final = 32
"""Pages being worked out at a time; further ones are waited for."""

Key = tuple[str, str, str]


@dataclass(slots=True)
class _Work:
    """A page on its way."""

    task: asyncio.Task[list[Message]]
    began: float = field(default_factory=time.monotonic)
    ended: float | None = None


class Patience:
    """ASGI middleware, inside the door: what it keeps is told apart by who asks, and by their cookies."""

    def __init__(self, app: ASGIApp, soon: float = SOON, ahead: Ahead | None = None) -> None:
        """Wrap an app.

        Args:
            app: the pages.
            soon: seconds before the browser is told that it takes longer.
            ahead: told of whatever may have changed a fleet.
        """
        self.app, self._soon, self._ahead = app, soon, ahead
        self._known: dict[Key, _Work] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or say that the answer follows."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if scope["method"] == "GET" and scope["path"] == ASK:
            await self._asked(scope, receive, send)
        elif scope["method"] == "GET" and self._is_page(scope, headers):
            await self._page(scope, receive, send)
        else:
            await self.app(scope, receive, send)
            if scope["method"] not in ("GET", "HEAD") and self._ahead is not None:
                workshop = scope.get("state", {}).get("workshop") or scope["app"].state.workshop
                if workshop is not None:
                    self._ahead.changed(workshop)

    def _is_page(self, scope: Scope, headers: Headers) -> bool:
        """Whether a person is about to look at it: no file, no data, no piece of a page that is there."""
        asks = "text/html" in headers.get("accept", "") and "hx-request" not in headers
        path: str = scope["path"]
        return asks and not path.startswith(("/static/", "/api/")) and "." not in path.rpartition("/")[2]

    @staticmethod
    def _key(scope: Scope, address: str = "") -> Key:
        query = scope["query_string"].decode("latin-1")
        address = address or scope["path"] + ("?" + query if query else "")
        cookies = dict(Request(scope).cookies)  # every one, whatever the session's is called
        if address.startswith("/quads/"):
            # The page of one quad does not hang on which was looked at last, and the waiting page sets that.
            cookies.pop("quad", None)
        # By who asks and for which crew too: a token may come in a header, and one person has several crews.
        guest = scope.get("state", {}).get("guest")
        who = "" if guest is None else f"{guest.session} {guest.crew.id}"
        return who, "; ".join(f"{k}={v}" for k, v in sorted(cookies.items())), address

    async def _page(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._forget()
        key = self._key(scope)
        work = self._known.pop(key, None)
        if work is None:
            if len(self._known) >= MOST:
                await self.app(scope, receive, send)
                return
            work = _Work(asyncio.create_task(self._collect(scope)))
        await asyncio.wait({work.task}, timeout=self._soon)
        if work.task.done():
            for message in work.task.result():
                await send(message)
            return
        self._known[key] = work
        work.task.add_done_callback(lambda _: setattr(work, "ended", time.monotonic()))
        request = Request(scope, receive)
        slug = scope["path"].split("/")[2] if scope["path"].startswith("/quads/") else ""
        at = key[-1]
        ask = f"{ASK}?at={quote(at, safe='')}"
        answer = await run_in_threadpool(
            page, request, "working.html", slug=slug, ask=ask, at=at, seconds=0.0,
            headers={"Cache-Control": "no-store"},
        )  # fmt: skip
        await answer(scope, receive, send)

    async def _collect(self, scope: Scope) -> list[Message]:
        """Everything the app answers, kept."""
        messages: list[Message] = []

        async def nothing() -> Message:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def keep(message: Message) -> None:
            messages.append(message)

        await self.app(scope, nothing, keep)
        return messages

    async def _asked(self, scope: Scope, receive: Receive, send: Send) -> None:
        at = Request(scope).query_params.get("at", "/")
        if not at.startswith("/") or at.startswith("//") or "\\" in at:
            at = "/"  # only addresses of this app
        work = self._known.get(self._key(scope, at))
        if work is None or work.task.done():
            answer = Response(status_code=204, headers={"HX-Redirect": quote(at, safe="/?&=%+,.:-_~")})
        else:
            seconds = time.monotonic() - work.began
            answer = Response(f"{seconds:.0f} s so far.", media_type="text/html")
        answer.headers["Cache-Control"] = "no-store"
        await answer(scope, receive, send)

    def _forget(self) -> None:
        """Drop what nobody came for."""
        now = time.monotonic()
        old = [k for k, w in self._known.items() if w.ended is not None and now - w.ended > FRESH]
        for key in old:
            work = self._known.pop(key)
            if not work.task.cancelled():
                work.task.exception()  # seen, so that the loop does not complain of it
