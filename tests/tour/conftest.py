"""A copy of the demo fleet behind a server of its own, and a browser to walk over it."""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
import threading
import time
from typing import TYPE_CHECKING, Any

import pytest

from crashworthy.web.app import create_app
from crashworthy.web.serve import bind

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Page

    from crashworthy.workshop import Workshop


@pytest.fixture
def base(workshop: Workshop) -> Iterator[str]:
    """Address of a server over the copy, without a slash at its end."""
    import uvicorn

    listener = bind("127.0.0.1", 0)
    config = uvicorn.Config(create_app(workshop), log_level="warning", lifespan="off", ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < deadline, "the server did not start within 20 s"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=10)
    listener.close()


@pytest.fixture
def page() -> Iterator[Page]:
    """A page of headless Chromium."""
    from playwright.sync_api import sync_playwright

    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if found is None and os.environ.get("CI"):
        pytest.fail("no Chromium on PATH; CI must install it")
    if found is None:
        pytest.skip("no Chromium on PATH")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=["--no-sandbox", "--disable-gpu"])
        opened = browser.new_context(accept_downloads=True).new_page()
        opened.set_default_timeout(90_000)  # bounded; the first look at two builds takes long on busy cores
        opened.set_default_navigation_timeout(120_000)
        yield opened
        browser.close()


@pytest.fixture(scope="session")
def walk(root: Path) -> Any:
    """The walk that the pictures are taken on, too."""
    spec = importlib.util.spec_from_file_location("tour_walk", root / "tools" / "tour_walk.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules["tour_walk"] = made  # its dataclass looks itself up
    spec.loader.exec_module(made)
    return made
