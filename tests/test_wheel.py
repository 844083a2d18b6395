"""The check of the wheel can fail: it sees a file that is missing and a program that would go out."""

from __future__ import annotations

import functools
import http.server
import runpy
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest


@pytest.fixture
def trial(root, tmp_path):
    """A trial of the interpreter that runs the tests."""
    tool = runpy.run_path(str(root / "tools" / "check_wheel.py"))
    return tool["Trial"](Path(sys.executable), tmp_path)


@pytest.mark.parametrize(
    "line",
    [
        "socket.create_connection(('192.0.2.1', 80), 5)",  # an address that RFC 5737 keeps for documentation
        "socket.getaddrinfo('example.org', 80)",
    ],
)
def test_what_would_leave_the_machine_is_refused_and_reported(trial, line):
    """A connection to elsewhere fails at once, and the verdict names it even if the program hides it."""
    code = f"import socket\ntry:\n    {line}\nexcept RuntimeError as problem:\n    print(problem)"
    said = subprocess.run(
        [sys.executable, "-c", code],
        env=trial.environment,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert "the network is cut" in said.stdout
    assert trial.verdict() == 1


def test_this_machine_can_be_reached(trial):
    """The loopback stays open: the demo's own pages are read through it."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        code = f"import socket; socket.create_connection({listener.getsockname()}, 5).close()"
        subprocess.run([sys.executable, "-c", code], env=trial.environment, check=True, timeout=60)
    assert trial.verdict() == 0


def test_a_picture_that_is_not_there_is_named(trial, tmp_path):
    """A page that links to what the server cannot give is a problem with the address of what is missing."""
    pages = tmp_path / "pages"
    pages.mkdir()
    (pages / "index.html").write_text('<a href="/other.html">o</a>', encoding="utf-8")
    (pages / "other.html").write_text('<img src="/gone.png">', encoding="utf-8")

    class Quiet(http.server.SimpleHTTPRequestHandler):
        """Serves the folder without a line for each request."""

        def log_message(self, *_args):
            """Say nothing."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(pages)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        trial._read(f"http://127.0.0.1:{server.server_address[1]}")
    finally:
        server.shutdown()
        server.server_close()
    assert "GET /gone.png: 404" in trial.problems
    assert trial.verdict() == 1
