"""How long every page of the web app keeps a person waiting, and how much it weighs.

    python bench/pages.py [--data FOLDER] [--cold] [--browser] [--only TEXT]

A server in a process of its own shows a demo fleet on the loopback. For every page of the app (found from its
routes, none left out by hand): first request of the process ("first"), the same again ("warm": the middle of
three), bytes over the wire (gzip: HTML, styles, scripts and pictures named in the HTML; without the 3D view
and the plot library, which come after the page stands). With --cold each page is the first request of a fresh
process ("cold"). With --browser, headless Chromium tells the first contentful paint and the layout shift of
each page at 360 px and at 1280 px, warm. Prints a table in Markdown.
"""

from __future__ import annotations

import argparse
import contextlib
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import httpx

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fastapi import FastAPI
    from playwright.sync_api import Browser

    from crashworthy.workshop import Workshop

__all__ = ["LATER", "SHIFTS", "addresses", "weight"]

LATER = ("vendor/three", "vendor/uplot")
"""Files that come after the page stands: the 3D view and the zoomable plot."""

PIECES = tuple(
    f"/quads/{{slug}}/{p}"
    for p in ("field/now", "crash/replay/moments", "placement/joints", "placement/agreement")
)
"""Addresses of pieces that pages ask for once they stand."""

SHIFTS = """(() => {
  window.shift = 0; window.paint = 0;
  const watch = (type, each) => new PerformanceObserver((list) => list.getEntries().forEach(each))
    .observe({ type, buffered: true });
  watch('layout-shift', (e) => { if (!e.hadRecentInput) window.shift += e.value; });
  watch('paint', (e) => { if (e.name === 'first-contentful-paint') window.paint = e.startTime; });
})();"""
"""Script that adds up layout shifts and keeps the first contentful paint, milliseconds."""

SERVER = """
import sys
from pathlib import Path
from crashworthy.web.serve import serve
from crashworthy.workshop import Workshop
with Workshop(Path(sys.argv[1])) as workshop:
    serve(workshop, port=0, open_browser=False, ready=lambda address: print(address, flush=True))
"""


def _routes(app: FastAPI) -> list[str]:
    found = []
    for outer in app.routes:
        router = getattr(outer, "original_router", None)
        routes = router.routes if router else (outer,)
        found += [r.path for r in routes if "GET" in (getattr(r, "methods", None) or ())]
    return found


def addresses(app: FastAPI, shop: Workshop, slug: str = "gannet") -> list[str]:
    """Every page of one quad, and those of no quad, parameters filled in from the fleet.

    Left out: data and files (they are no pages); pages about a job, a photo or an invitation not there.
    """
    logs = shop.logs(slug)
    own = next(p for p in shop.quad(slug).parts if p.kind == "antenna").name
    other = next((s for s in shop.names() if s != slug), slug)
    fill = {
        "slug": slug,
        "key": logs[0].key if logs else "",
        "part": own,
        "name:path": "index",
        "other": other,
    }
    found = []
    for path in dict.fromkeys(_routes(app)):
        if path.startswith(("/api", "/static", "/jobs", "/photos")) or re.search(
            r"\.\w+$|\.\{ending\}", path
        ):
            continue
        if path in PIECES:
            continue
        filled = re.sub(r"\{([^}]+)\}", lambda m: fill.get(m[1], ""), path)
        if "//" not in filled and not (filled.endswith("/") and filled != "/"):
            found.append(filled)
    return found


def weight(client: httpx.Client, html: httpx.Response) -> int:
    """Bytes over the wire of a page with what it names, before the 3D view and the plots."""
    total = _bytes(client, str(html.url))
    for name in dict.fromkeys(re.findall(r'(?:src|href)="(/static/[^"]+)"', html.text)):
        if not any(part in name for part in LATER):
            total += _bytes(client, name)
    return total


def _bytes(client: httpx.Client, address: str) -> int:
    with client.stream("GET", address, headers={"Accept-Encoding": "gzip"}) as answer:
        return sum(len(piece) for piece in answer.iter_raw())


@contextlib.contextmanager
def served(data: Path) -> Iterator[httpx.Client]:
    """A server over ``data`` in a fresh process."""
    command = [sys.executable, "-c", SERVER, str(data)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        address = (process.stdout or sys.stdin).readline().strip()
        try:
            with httpx.Client(base_url=address, timeout=120) as client:
                yield client
        finally:
            process.terminate()
            process.wait(timeout=20)


def _timed(client: httpx.Client, path: str) -> tuple[float, httpx.Response]:
    began = time.perf_counter()
    with client.stream("GET", path) as answer:
        first = time.perf_counter() - began
        answer.read()
    return first, answer


def painted(browser: Browser, site: str, path: str, width: int) -> tuple[float, float]:
    """First contentful paint, milliseconds, and layout shift of a page."""
    context = browser.new_context(viewport={"width": width, "height": 800}, service_workers="block")
    page = context.new_page()
    page.add_init_script(SHIFTS)
    page.goto(site + path)
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(150)
    paint, shift = page.evaluate("[window.paint, window.shift]")
    context.close()
    return float(paint), float(shift)


def _demo(folder: Path) -> None:
    from crashworthy.demo.setup import set_up
    from crashworthy.workshop import Workshop

    with Workshop(folder) as workshop:
        set_up(workshop)


def _pages(data: Path) -> list[str]:
    from crashworthy.web.app import create_app
    from crashworthy.workshop import Workshop

    with Workshop(data) as workshop:
        return addresses(create_app(workshop), workshop)


def main() -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--data", type=Path, help="show this fleet instead of a fresh demo")
    parser.add_argument("--cold", action="store_true", help="each page in a fresh process, too")
    parser.add_argument("--browser", action="store_true", help="paint and layout shift, too")
    parser.add_argument("--only", default="", help="pages with this in their address")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary, contextlib.ExitStack() as stack:
        data = asked.data or Path(temporary) / "demo"
        if asked.data is None:
            _demo(data)
        pages = [p for p in _pages(data) if asked.only in p]
        cold = {}
        for path in pages if asked.cold else ():
            with served(data) as client:
                cold[path] = _timed(client, path)[0]
        client = stack.enter_context(served(data))
        browser = None
        if asked.browser:
            import shutil

            from playwright.sync_api import sync_playwright

            play = stack.enter_context(sync_playwright())
            browser = play.chromium.launch(
                executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
            )
        head = ["page", "cold s", "first s", "warm s", "kB", "paint ms (360, 1280)", "shift (360, 1280)"]
        print("|" + "|".join(head) + "|\n|---|" + "--:|" * (len(head) - 1))
        for path in pages:
            first, _ = _timed(client, path)
            again = [_timed(client, path) for _ in range(3)]
            cells = [path if again[0][1].status_code == 200 else f"{path} ({again[0][1].status_code})"]
            cells += [f"{cold[path]:.2f}" if path in cold else "", f"{first:.2f}"]
            cells += [
                f"{statistics.median(t for t, _ in again):.3f}",
                f"{weight(client, again[0][1]) / 1000:.0f}",
            ]
            if browser is not None:
                both = [painted(browser, str(client.base_url).rstrip("/"), path, w) for w in (360, 1280)]
                cells += [", ".join(f"{p:.0f}" for p, _ in both), ", ".join(f"{s:.3f}" for _, s in both)]
            print("|" + "|".join(cells + [""] * (len(head) - len(cells))) + "|", flush=True)
        if browser is not None:
            browser.close()


if __name__ == "__main__":
    main()
