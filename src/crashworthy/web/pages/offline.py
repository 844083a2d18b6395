"""What makes the field page open without a network: the service worker, and the app's card for a home screen.

A browser grants a service worker to trustworthy origins only (https, or this machine itself); everywhere else
the page keeps entries while it stays open, and says so.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from importlib.resources import files
from typing import Final

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response

from crashworthy.pictures.svg import css

router = APIRouter(include_in_schema=False)

SHELL: Final = (
    "app.css",
    "app.js",
    "field.js",
    "icon-192.png",
    "mark.svg",
    "offline.html",
    "offline.js",
    "outbox.js",
    "pictures.js",
    "plot.css",
    "vendor/htmx.min.js",
    "vendor/idb.js",
)
"""Static files that the field page needs; a test compares the list with what it loads."""


@lru_cache(maxsize=1)
def worker() -> str:
    """The worker's text, with the list of what it keeps and a version that changes with any of it."""
    static = files("crashworthy.web") / "static"
    text = (static / "worker.js").read_text(encoding="utf-8")
    digest = hashlib.sha256(text.encode())
    for name in SHELL:
        kept = css().encode() if name == "plot.css" else (static.joinpath(*name.split("/"))).read_bytes()
        digest.update(name.encode() + b"\0" + kept)
    paths = json.dumps([f"/static/{name}" for name in SHELL])
    return f'const VERSION = "{digest.hexdigest()[:12]}";\nconst SHELL = {paths};\n{text}'


@router.get("/worker.js")
def worker_script() -> Response:
    """The service worker; asked for anew each time, so that a new version is taken up at once."""
    return Response(worker(), media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@router.get("/manifest.webmanifest")
def manifest() -> JSONResponse:
    """The card by which a phone puts the app on its home screen."""
    icons = [
        {"src": "/static/mark.svg", "sizes": "any", "type": "image/svg+xml"},
        {"src": "/static/icon-192.png", "sizes": "192x192", "type": "image/png", "purpose": "any"},
        {"src": "/static/icon-512.png", "sizes": "512x512", "type": "image/png", "purpose": "any maskable"},
    ]
    card = {
        "id": "/",
        "name": "Crashworthy",
        "short_name": "Crashworthy",
        "description": "Packs, crashes and checks, with and without a network.",
        "start_url": "/field",
        "scope": "/",
        "display": "standalone",
        "background_color": "#f4f6f5",
        "theme_color": "#f4f6f5",
        "icons": icons,
    }
    return JSONResponse(card, media_type="application/manifest+json")
