"""What every answer carries and every request must pass, before any page sees it.

One plain ASGI wrapper: the names the server answers to (against DNS rebinding), where a change may come from
(against cross-site requests), how large a body may be, and the headers that keep a page to its own origin.

The origin rule is the one browsers made possible with ``Sec-Fetch-Site`` (W3C Fetch Metadata Request
Headers): an unsafe method is refused unless the browser says same-origin or none. A browser sends that header
only on trustworthy origins, so the comparison of ``Origin`` with ``Host`` is the fallback; a client that
sends neither is no browser and carries no one's cookies.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["HEADERS", "LOCAL_HOSTS", "POLICY", "SMALL_LIMITS", "UPLOAD_LIMIT", "Guard", "host_name"]

LOCAL_HOSTS: Final = ("127.0.0.1", "localhost", "[::1]")
"""Names a loopback server answers to."""

UPLOAD_LIMIT: Final = 256 * 1024 * 1024
"""Largest request body, bytes."""

SMALL_LIMITS: Final = {
    "/sign-in": 64 * 1024,
    "/join/": 64 * 1024,
    "/api/photos": 21 * 1024 * 1024,
    "/api/": 4 * 1024 * 1024,
}
"""Smaller ones, by the beginning of the path: of a stranger, of a picture, of entries, which are text."""

POLICY: Final = (
    "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; form-action 'self';"
    " frame-ancestors 'none'"
)
"""Content-Security-Policy: nothing from elsewhere, no inline script or style; pictures may be inlined."""

HEADERS: Final = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""On every answer."""

_SAFE: Final = ("GET", "HEAD", "OPTIONS")


def host_name(host: str) -> str:
    """The name in a Host header without its port: "[::1]:8000" gives "[::1]"."""
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower()


class Guard:
    """The wrapper around the app."""

    def __init__(
        self,
        app: ASGIApp,
        refuse: Callable[[Request, int], Response],
        hosts: Iterable[str] = LOCAL_HOSTS,
        limit: int = UPLOAD_LIMIT,
    ) -> None:
        """Answer only to ``hosts`` (names without ports) and refuse bodies over ``limit`` bytes.

        Args:
            app: what to guard.
            refuse: makes the answer to a refused request from its status; must tell nothing of the fleet.
            hosts: names the server answers to.
            limit: largest body, bytes.
        """
        self.app = app
        self.refuse = refuse
        self.hosts = frozenset(h.lower() for h in hosts)
        self.limit = limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check, then hand on."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        small = (size for start, size in SMALL_LIMITS.items() if scope["path"].startswith(start))
        limit = min(self.limit, next(small, self.limit))
        refused = self._refusal(scope["method"], Headers(scope=scope), limit)
        received = 0

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > limit:
                raise HTTPException(413)
            return message

        async def marked(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    out.setdefault(name, value)
                if not scope["path"].startswith("/static/"):
                    out.setdefault("Cache-Control", "no-store")
            await send(message)

        if refused:
            await self.refuse(Request(scope), refused)(scope, receive, marked)
        else:
            await self.app(scope, counted, marked)

    def _refusal(self, method: str, headers: Headers, limit: int) -> int:
        """The status to refuse with, or 0."""
        host = headers.get("host", "")
        if host_name(host) not in self.hosts:
            return 421
        if method not in _SAFE and not self._own(headers, host):
            return 403
        size = headers.get("content-length", "0")
        if not size.isdigit():
            return 400
        return 413 if int(size) > limit else 0

    @staticmethod
    def _own(headers: Headers, host: str) -> bool:
        site = headers.get("sec-fetch-site")
        if site is not None:
            return site in ("same-origin", "none")
        origin = headers.get("origin")
        if origin is None:
            return True
        try:
            return urlsplit(origin).netloc.lower() == host.lower()
        except ValueError:  # an Origin that is no address, such as one with half an IPv6 bracket
            return False
