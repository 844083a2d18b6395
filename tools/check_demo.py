"""Run the README's demo command as a new user would and see that its first page is usable in time.

    python tools/check_demo.py FILE_WITH_COMMANDS

The install lines run first and are not timed. The last line is the demo: it gets a fresh data folder through
the environment, must print its address, and its first page must answer within 60 s.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

LIMIT_S = 60.0


def main(path: str) -> int:
    """Return 0 when the first page answered in time."""
    *install, demo = Path(path).read_text(encoding="utf-8").splitlines()
    for line in install:
        subprocess.run(line, shell=True, check=True)  # noqa: S602 - the README's own line, as a shell reads it
    subprocess.run("python -m uv run crashworthy --version", shell=True, check=True)  # noqa: S602 - installs
    with tempfile.TemporaryDirectory() as home, tempfile.TemporaryFile("w+") as said:
        # BROWSER=true: the command opens a browser; here that is a program that does nothing
        env = {**os.environ, "HOME": home, "XDG_DATA_HOME": home, "BROWSER": "true", "UV_CACHE_DIR": _cache()}
        began = time.monotonic()
        group = {"start_new_session": True} if os.name == "posix" else {}
        process = subprocess.Popen(demo, shell=True, env=env, stdout=said, stderr=subprocess.STDOUT, **group)  # noqa: S602 - as above
        try:
            return _wait_for_page(process, said, began)
        finally:
            if os.name == "posix":
                os.killpg(process.pid, signal.SIGINT)
            else:
                process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()


def _cache() -> str:
    return subprocess.run(
        ["python", "-m", "uv", "cache", "dir"], check=True, capture_output=True, text=True
    ).stdout.strip()


def _wait_for_page(process, said, began: float) -> int:
    """Wait for the printed address, then for its page."""
    while time.monotonic() - began < LIMIT_S:
        said.seek(0)
        text = said.read()
        if process.poll() is not None:
            print(text, f"the demo ended early with {process.returncode}", sep="\n")
            return 1
        found = re.search(r"http://\S+?:\d+", text)
        if found:
            with urllib.request.urlopen(found.group(), timeout=10) as page:  # noqa: S310 - printed by our own demo
                body = page.read().decode()
            took = time.monotonic() - began
            print(text, f"first page: {len(body)} bytes after {took:.1f} s (limit {LIMIT_S:.0f} s)", sep="\n")
            return 0 if "<h1" in body and took <= LIMIT_S else 1
        time.sleep(0.2)
    print(said.read(), "no address was printed in time", sep="\n")
    return 1


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1]))
