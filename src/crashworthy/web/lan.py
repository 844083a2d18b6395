"""The page on plain http that tells a phone how to trust this laptop, and hands it the certificate.

It is the one thing that cannot be behind https yet. It serves two things, asks for nothing, and knows nothing
of the fleet; the fingerprint lets a careful person compare what arrived with what the laptop shows.
"""

from __future__ import annotations

import io
import threading
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from crashworthy.web.security import HEADERS
from crashworthy.web.views import rendered

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable

    import uvicorn
    from starlette.requests import Request

    from crashworthy.web.authority import Authority

__all__ = ["TrustServer", "qr_svg", "qr_text", "trust_app"]


def qr_text(address: str) -> str:
    """An address as a QR code (ISO/IEC 18004) of block characters, for a terminal."""
    import segno

    out = io.StringIO()
    segno.make(address, micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()


def qr_svg(address: str) -> str:
    """An address as a QR code in SVG, dark on light whatever the page's colours."""
    import segno

    code = segno.make(address, micro=False)
    drawn: str = code.svg_inline(scale=5, border=3, dark="#000", light="#fff", omitsize=True)
    return drawn


def trust_app(authority: Authority, address: str) -> Starlette:
    """The two things a phone needs once.

    Args:
        authority: whose certificate is handed out.
        address: where the app itself is ("https://192.168.1.5:8765/").
    """

    def page(request: Request) -> Response:
        del request
        text = rendered("trust.html", address=address, fingerprint=authority.fingerprint())
        return HTMLResponse(text, headers={**HEADERS, "Cache-Control": "no-store"})

    def certificate(request: Request) -> Response:
        del request
        shown = {"Content-Disposition": 'attachment; filename="crashworthy-authority.crt"'}
        return Response(
            authority.der(), media_type="application/x-x509-ca-cert", headers={**HEADERS, **shown}
        )

    def style(request: Request) -> Response:
        from importlib.resources import files

        del request
        text = (files("crashworthy.web") / "static" / "app.css").read_text(encoding="utf-8")
        return Response(text, media_type="text/css", headers=HEADERS)

    return Starlette(
        routes=[Route("/", page), Route("/authority.crt", certificate), Route("/static/app.css", style)]
    )


class TrustServer:
    """That page, served beside the app until it is closed."""

    def __init__(self, make: Callable[[], uvicorn.Config], listener: socket.socket) -> None:
        """Serve what ``make`` configures on ``listener``, in a thread."""
        import uvicorn

        self.listener = listener
        self._server = uvicorn.Server(make())
        arguments = {"sockets": [listener]}
        self._thread = threading.Thread(target=self._server.run, kwargs=arguments, name="trust", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop it."""
        self._server.should_exit = True
        self._thread.join(timeout=5)
        self.listener.close()
