"""Starting the server: a taken port, a wrong address, and a real start and stop."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
import urllib.request
from typing import TYPE_CHECKING

import pytest

from crashworthy.errors import StoreError
from crashworthy.web.serve import bind

if TYPE_CHECKING:
    from pathlib import Path


def test_a_taken_port_gives_way_to_a_free_one() -> None:
    """With the wanted port in use another is taken."""
    first = bind("127.0.0.1", 0)
    taken = first.getsockname()[1]
    second = bind("127.0.0.1", taken)
    try:
        assert second.getsockname()[1] not in (0, taken)
    finally:
        first.close()
        second.close()


def test_an_exact_port_that_is_taken_is_refused_in_words() -> None:
    """Who asks for that port and no other is told that it cannot be had."""
    first = bind("127.0.0.1", 0)
    try:
        with pytest.raises(StoreError, match="--port"):
            bind("127.0.0.1", first.getsockname()[1], exact=True)
    finally:
        first.close()


def test_an_address_of_another_machine_is_refused_in_words() -> None:
    """An address this machine does not have is a clear message."""
    with pytest.raises(StoreError, match="cannot listen"):
        bind("192.0.2.1", 0)


PROGRAM = """
import sys
from pathlib import Path
from crashworthy.web.serve import serve
from crashworthy.workshop import Workshop
with Workshop(Path(sys.argv[1])) as workshop:
    serve(workshop, port=0, open_browser=False)
print("closed", flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C to a child is another thing on Windows")
def test_it_starts_prints_its_address_answers_and_stops(tmp_path: Path) -> None:
    """On an empty folder: address on standard output, the fleet page at it, a clean end on Ctrl-C."""
    errors = (tmp_path / "errors").open("w+")
    child = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(tmp_path / "data")],
        stdout=subprocess.PIPE,
        stderr=errors,
        text=True,
    )
    try:
        assert child.stdout is not None
        line = child.stdout.readline()
        address = line.split(" at ")[1].split(" ")[0]
        with urllib.request.urlopen(address, timeout=20) as answer:  # noqa: S310 - our own loopback server
            assert "No quad yet" in answer.read().decode()
        child.send_signal(signal.SIGINT)
        assert child.wait(timeout=20) == 0
        assert "closed" in child.stdout.read()
    finally:
        if child.poll() is None:
            child.kill()
            child.wait(timeout=5)
        time.sleep(0)
        errors.seek(0)
        assert "Traceback" not in errors.read()
        errors.close()
        if child.stdout:
            child.stdout.close()
