"""Make the pictures of the pages in docs/pictures/ from a fresh demo fleet, by headless Chromium.

    python tools/screenshots.py [--data FOLDER] [--only NAME ...]
    python tools/screenshots.py --tour [--data FOLDER]

With --tour it walks the guided tour (``tools/tour_walk.py``) and takes the pictures of docs/tour.md on the
way; a folder given is changed by that, as by a pilot.

With --data the fleet in that folder is shown instead of a fresh demo; with --only these pictures are made.
Needs the groups test and docs, and Chromium on PATH. Pictures are reduced to a palette of 96 tones, each
under 200 kB.
"""

from __future__ import annotations

import argparse
import io
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from PIL import Image
from playwright.sync_api import Page, sync_playwright
from tour_walk import Walk

from crashworthy.demo.setup import set_up
from crashworthy.web.app import create_app
from crashworthy.web.serve import bind
from crashworthy.workshop import Workshop
from crashworthy.workshop.hall import Hall

PICTURES = Path(__file__).parents[1] / "docs/pictures"
LIMIT = 200_000
PHONE, DESK = (360, 740), (1280, 900)


def shots(workshop: Workshop) -> list[tuple[str, str, tuple[int, int], str]]:
    """Name, path, screen and colour scheme of each picture."""
    flights = [f"/quads/{s}/flights/{log.key}" for s in workshop.names() for log in workshop.logs(s)[:1]]
    return [
        ("fleet", "/", DESK, "light"),
        ("field", "/quads/gannet/field", PHONE, "light"),
        ("field-dark", "/quads/gannet/field", PHONE, "dark"),
        ("build", "/quads/gannet/build", DESK, "light"),
        ("new", "/new?name=Wren&wheelbase=219&arm_t=5&antenna=side&pack_mass=205", DESK, "light"),
        ("calibrate", "/quads/gannet/build/calibrate", DESK, "light"),
        ("crash", "/quads/gannet/crash", DESK, "light"),
        ("learning", "/quads/gannet/crash#v-moved", DESK, "light"),
        ("replay", "/quads/gannet/crash/replay", DESK, "light"),
        ("strikes", "/quads/gannet/crash/strikes", DESK, "light"),
        ("report", "/quads/gannet/crash/report.html", (900, 1250), "light"),
        ("torque-card", "/quads/gannet/bench/torque.html", (900, 900), "light"),
        ("improve", "/quads/gannet/improve", DESK, "light"),
        ("placement", "/quads/gannet/placement", DESK, "light"),
        ("placement-joints", "/quads/gannet/placement#v-apart", DESK, "light"),
        ("camera-view", "/quads/gannet/placement#v-camera", DESK, "light"),
        ("camera", "/quads/gannet/placement/camera", DESK, "light"),
        ("link", "/quads/gannet/placement/link?for=control_l", DESK, "dark"),
        ("flight", flights[0], DESK, "dark"),
        ("tap", "/quads/gannet/flights/tap", PHONE, "light"),
        ("bench", "/quads/gannet/bench", DESK, "light"),
        ("budget", "/quads/gannet/bench#v-fly", DESK, "light"),
        ("inspection", "/quads/gannet/bench/sheet", DESK, "light"),
        ("lives", "/quads/gannet/lives", DESK, "light"),
        ("journal", "/quads/gannet/journal", DESK, "light"),
        ("crew", "/crew", DESK, "light"),
        ("kit", "/quads/gannet/kit", DESK, "light"),
        ("evidence", "/evidence", DESK, "light"),
        ("people", "/people", DESK, "light"),
    ]


def crew(root: Path) -> tuple[Hall, str]:
    """A crew server over the fleet in ``root`` with three invented people, and the session of one."""
    hall = Hall(root)
    if hall.accounts.empty():
        home = hall.accounts.add_crew("Millrace")
        for name, role in (("robin", "lead"), ("wren", "pilot"), ("dipper", "pilot")):
            hall.accounts.add_person(name, f"{name} at the quarry", home, role)  # type: ignore[arg-type] # a role
    return hall, hall.accounts.sign_in("robin", "robin at the quarry", "127.0.0.1", "Laptop at home")


def served(app: object) -> tuple[uvicorn.Server, threading.Thread, str]:
    """The app on a port of its own: server, its thread, its address."""
    listener = bind("127.0.0.1", 0)
    config = uvicorn.Config(app, log_level="warning", lifespan="off", ws="none")  # type: ignore[arg-type] # an app
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    return server, thread, f"http://127.0.0.1:{listener.getsockname()[1]}"


def keep(page: Page, name: str) -> int:
    """Save what the page shows, reduced; returns its size in bytes."""
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    file = PICTURES / f"{name}.png"
    reduced = picture.quantize(96, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    reduced.save(file, optimize=True)
    return file.stat().st_size


TOUR = {
    "start": "",
    "crashed": "",
    "moved": "",
    "fewer": "#v-against",
    "kit-after": "",
    "packs": "",
    "log": "",
    "loose": "",
    "compared": "",
    "kit": "",
    "end": "",
}
"""Stops of the walk that get a picture, and what is brought into view first."""


def tour(page: Page, base: str, folder: Path) -> int:
    """Walk the tour and keep a picture at each stop; returns how many are too large."""
    too_large = 0
    for stop in Walk(page, base, folder).stops():
        if stop not in TOUR:
            continue
        page.wait_for_load_state("networkidle", timeout=60_000)
        if TOUR[stop]:
            page.locator(TOUR[stop]).evaluate("e => e.scrollIntoView()")
        page.wait_for_timeout(300)
        size = keep(page, f"tour-{stop}")
        too_large += size > LIMIT
        print(f"{size:>7} bytes  tour-{stop}.png")
    return too_large


def main() -> int:
    """Serve, look, save; exit 1 when a picture is too large."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--data", type=Path, help="show this fleet")
    parser.add_argument("--tour", action="store_true", help="walk the tour and make its pictures")
    parser.add_argument("--only", nargs="*", help="make these pictures only")
    asked = parser.parse_args()
    data = asked.data
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None:
        sys.exit("no Chromium on PATH")
    PICTURES.mkdir(parents=True, exist_ok=True)
    too_large = 0
    with tempfile.TemporaryDirectory() as temporary, Workshop(data or Path(temporary) / "demo") as workshop:
        if data is None:
            set_up(workshop)
        if not asked.tour and (not asked.only or "evidence" in asked.only):
            workshop.jobs.wait(workshop.start_evidence().id, 300)
        if not asked.tour and (not asked.only or "improve" in asked.only):
            workshop.jobs.wait(workshop.start_improvements("gannet", 1000, 7, sensitivity=False).id, 1800)
        hall, token = crew(workshop.folder.root)
        alone, together = served(create_app(workshop)), served(create_app(None, hall=hall))
        with sync_playwright() as play:
            browser = play.chromium.launch(
                executable_path=chromium, args=["--no-sandbox", "--enable-unsafe-swiftshader"]
            )
            if asked.tour:
                page = browser.new_context(accept_downloads=True).new_page()
                page.set_default_timeout(120_000)
                page.set_default_navigation_timeout(120_000)
                too_large = tour(page, alone[2], Path(temporary))
            for name, path, (width, height), scheme in () if asked.tour else shots(workshop):
                if asked.only and name not in asked.only:
                    continue
                context = browser.new_context(
                    viewport={"width": width, "height": height},
                    color_scheme=scheme,  # type: ignore[arg-type] # light or dark
                    device_scale_factor=2 if width < 500 else 1,
                )
                base = together[2] if path == "/people" else alone[2]
                if path == "/people":
                    context.add_cookies([{"name": "session", "value": token, "url": base}])
                page = context.new_page()
                page.goto(base + path)
                for _ in range(60):
                    if "Being worked out" not in page.title():
                        break
                    page.wait_for_timeout(1000)  # it looks again by itself
                if path.endswith(("/build", "/strikes", "/replay")) or path.startswith("/new"):
                    page.locator(".model[data-drawn]").wait_for(timeout=20_000)
                page.wait_for_load_state("networkidle", timeout=60_000)  # pieces that come later
                if "#" in path:
                    page.locator(path[path.index("#") :]).evaluate("e => e.scrollIntoView()")
                page.wait_for_timeout(500)
                size = keep(page, name)
                too_large += size > LIMIT
                print(f"{size:>7} bytes  {name}.png")
                context.close()
            browser.close()
        for server, thread, _ in (alone, together):
            server.should_exit = True
            thread.join(timeout=10)
        hall.close()
    return 1 if too_large else 0


if __name__ == "__main__":
    sys.exit(main())
