"""One demo fleet behind one app for the whole room: asked over HTTP and through a browser."""

from __future__ import annotations

import os
import shutil
import threading
import time
from typing import TYPE_CHECKING, Any

import httpx
import pytest

from crashworthy.web.app import create_app
from crashworthy.web.security import LOCAL_HOSTS
from crashworthy.web.serve import bind
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page, Playwright

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    # A name that is no loopback name to the browser: plain http there is not trusted, as on a phone.
    "--host-resolver-rules=MAP field.test 127.0.0.1",
)


@pytest.fixture(scope="session")
def shop(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A workshop on a copy of the demo fleet, shared by the whole room."""
    folder = tmp_path_factory.mktemp("web") / "data"
    shutil.copytree(demo_folder, folder)
    with Workshop(folder) as workshop:
        yield workshop


@pytest.fixture(scope="session")
def site(shop: Workshop) -> Iterator[str]:
    """Address of a real server over the same fleet, without a slash at its end."""
    import uvicorn

    listener = bind("127.0.0.1", 0)
    app = create_app(shop, (*LOCAL_HOSTS, "field.test"))
    config = uvicorn.Config(app, log_level="warning", lifespan="off", ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + 20
    while not server.started:
        assert thread.is_alive(), "the server ended before it answered"
        assert time.monotonic() < deadline, "the server did not start within 20 s"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=10)
    listener.close()


@pytest.fixture(scope="session")
def client(site: str) -> Iterator[httpx.Client]:
    """An HTTP client of that server that does not follow redirects."""
    # The server closes a connection after a fault or a refused body, as it should: never reuse one.
    no_reuse = httpx.Limits(max_keepalive_connections=0)
    with httpx.Client(base_url=site, timeout=60, follow_redirects=False, limits=no_reuse) as opened:
        yield opened


def _chromium() -> str:
    for name in ("chromium", "chromium-browser", "google-chrome", "chrome"):
        if found := shutil.which(name):
            return found
    reason = "no Chromium on PATH"
    if os.environ.get("CI"):
        pytest.fail(f"{reason}; CI must install it")  # a skip there would hide that nothing was tested
    pytest.skip(reason)
    return ""


@pytest.fixture(scope="session")
def play() -> Iterator[Playwright]:
    """What drives Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def chromium_options() -> dict[str, Any]:
    """How Chromium is started, for a browser as for a profile that stays on the disk."""
    return {"executable_path": _chromium(), "headless": True, "args": list(ARGUMENTS)}


@pytest.fixture(scope="session")
def browser(play: Playwright, chromium_options: dict[str, Any]) -> Iterator[Browser]:
    """Headless Chromium."""
    opened = play.chromium.launch(**chromium_options)
    yield opened
    opened.close()


class Watched:
    """A page that remembers what went wrong on it and where it asked."""

    def __init__(self, page: Page, site: str) -> None:
        self.page, self.site = page, site
        self.faults: list[str] = []
        self.outside: list[str] = []
        page.set_default_timeout(10_000)  # bounded, and long enough on two busy cores
        page.set_default_navigation_timeout(20_000)
        page.on("pageerror", lambda e: self.faults.append(f"{page.url}: {e}"))
        page.on("console", self._heard)
        page.on("request", self._asked)

    def _heard(self, message: Any) -> None:
        if message.type == "error":
            self.faults.append(f"{self.page.url}: {message.text}")

    def _asked(self, request: Any) -> None:
        if not request.url.startswith((self.site, "data:", "blob:")):
            self.outside.append(request.url)

    def go(self, path: str) -> Page:
        """Open a page of the site."""
        answer = self.page.goto(self.site + path)
        assert answer is not None
        assert answer.status == 200, f"{path}: {answer.status}"
        deadline = time.monotonic() + 60
        # It comes by itself; on the way there the page has no title.
        while not (title := self.page.title()) or title.startswith("Being worked out"):
            assert time.monotonic() < deadline, f"{path} never came"
            self.page.wait_for_timeout(100)
        self.page.wait_for_load_state()
        return self.page

    def clean(self) -> None:
        """No error was written to the console and nothing outside was asked for."""
        assert self.faults == []
        assert self.outside == []


@pytest.fixture
def watched(browser: Browser, site: str, request: pytest.FixtureRequest) -> Iterator[Watched]:
    """A fresh page of phone size; ``pytest.mark.parametrize`` it indirectly with (width, height, scheme)."""
    width, height, scheme = getattr(request, "param", (360, 740, "light"))
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    yield Watched(context.new_page(), site)
    context.close()
