"""Build the wheel, install it where nothing else is, cut the network, and try what a pilot would.

    python tools/check_wheel.py                  build, install into a fresh venv, try
    python tools/check_wheel.py --python FILE    only try, with an interpreter that has crashworthy installed

Nothing of the source tree is within reach: the work is done in an empty folder, with a home of its own. The
network is cut by an audit hook in every Python that is started: a connection or a name that leaves this
machine is refused and reported, so that a page or command that would go out fails here, not at the field.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter, deque
from pathlib import Path
from urllib.error import HTTPError
from urllib.parse import urldefrag, urljoin, urlsplit
from urllib.request import urlopen

ROOT = Path(__file__).resolve().parents[1]
FIRST_PAGE_S = 600.0
"""The first start after an install compiles, and a busy machine is slow; how soon is another tool's check."""

MUST = (
    "/worker.js",
    "/manifest.webmanifest",
    "/static/view3d.js",
    "/static/vendor/three.min.js",
    "/static/plot.css",
    "/handbook",
    "/tour",
    "/evidence",
    "/openapi.json",
    "/quads/gannet/model.glb",
)
"""What no link of the first pages need name, but an installation must have."""

ALIKE = 3
"""How many pages that differ in their last word alone (parts, trials) are read: more show no other file."""

LINKS = re.compile(r"""(?:href|src|data-glb|hx-get)="([^"]+)"|url\(([^)]+)\)""")
"""What a page or a style sheet asks the browser to fetch."""

CUT = """
import os, sys
def _cut(event, args):
    if event == "socket.connect":
        host = args[1][0] if isinstance(args[1], tuple) else "127.0.0.1"
    elif event == "socket.getaddrinfo":
        host = args[0]
    else:
        return
    if isinstance(host, bytes):
        host = host.decode()
    if host not in (None, "", "127.0.0.1", "localhost", "::1", "0.0.0.0"):
        with open(os.environ["CUT_REPORT"], "a") as report:
            report.write(f"{event} {host} by {' '.join(sys.argv)}\\n")
        raise RuntimeError(f"the network is cut: {event} {host}")
sys.addaudithook(_cut)
"""


class Trial:
    """One installation, tried in an empty folder."""

    def __init__(self, python: Path, folder: Path) -> None:
        self.python, self.folder = python, folder
        self.problems: list[str] = []
        hook = folder / "hook"
        self.here = folder / "empty"
        for made in (hook, self.here, folder / "home"):
            made.mkdir()
        (hook / "sitecustomize.py").write_text(CUT, encoding="utf-8")
        self.report = folder / "went-out.txt"
        kept = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
        home = str(folder / "home")
        self.environment = {
            **kept,
            "HOME": home,
            "XDG_DATA_HOME": home,
            "CRASHWORTHY_DATA": str(folder / "data"),
            "PYTHONPATH": str(hook),
            "CUT_REPORT": str(self.report),
            "COLUMNS": "80",
        }

    def command(self, *words: str) -> list[str]:
        """The command line that starts crashworthy with these words."""
        script = self.python.parent / ("crashworthy.exe" if os.name == "nt" else "crashworthy")
        return [str(script), *words]

    def run(self, *words: str, holds: str = "", makes: str = "", stdin: str | None = None) -> str:
        """Run one command; a wrong exit status, a missing word or file becomes a problem."""
        began = time.monotonic()
        said = subprocess.run(
            self.command(*words),
            cwd=self.here,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=600,
            input=stdin,
            check=False,
        )
        name = f"crashworthy {' '.join(words)}"
        print(f"  {name}: {time.monotonic() - began:.1f} s")
        if said.returncode != 0:
            self.problems.append(f"{name}: exit {said.returncode}: {said.stderr.strip()[-800:]}")
        elif holds not in said.stdout:
            self.problems.append(f"{name}: {holds!r} is not in what it said: {said.stdout[:300]!r}")
        elif makes and not (self.here / makes).stat().st_size:
            self.problems.append(f"{name}: {makes} is empty")
        return said.stdout

    def demo(self) -> None:
        """Start the demo, read every page and file that its pages name, stop it."""
        data = self.folder / "data"
        with (self.folder / "said.txt").open("w+", encoding="utf-8") as said:
            process = subprocess.Popen(
                self.command("demo", "--no-browser", "--port", "0", "--data", str(data)),
                cwd=self.here,
                env=self.environment,
                stdout=said,
                stderr=subprocess.STDOUT,
            )
            try:
                address = self._address(process, said.name)
                if address:
                    self._read(address)
            finally:
                process.terminate()
                process.wait(30)

    def _address(self, process: subprocess.Popen[bytes], said: str) -> str:
        began = time.monotonic()
        while time.monotonic() - began < FIRST_PAGE_S:
            text = Path(said).read_text(encoding="utf-8")
            found = re.search(r"http://127\.0\.0\.1:\d+", text)
            if found:
                print(f"  crashworthy demo: its address after {time.monotonic() - began:.1f} s")
                return found.group()
            if process.poll() is not None:
                break
            time.sleep(0.2)
        self.problems.append(f"the demo printed no address: {Path(said).read_text(encoding='utf-8')[-800:]}")
        return ""

    def _read(self, address: str) -> None:
        """Every page, script, font, picture and model within reach of the first page."""
        began, seen, kinds, alike = time.monotonic(), set[str](), Counter[str](), Counter[str]()
        todo = deque([address + "/", *(address + path for path in MUST)])
        while todo:
            url = todo.popleft()
            if url in seen or not _worth(url, alike):
                continue
            seen.add(url)
            try:
                with urlopen(url, timeout=120) as answer:  # noqa: S310 - our own server
                    body, kind = answer.read(), answer.headers.get_content_type()
            except HTTPError as problem:
                words = problem.read().decode(errors="replace")
                if not (problem.code == 400 and url.endswith(".pdf") and "crashworthy[pdf]" in words):
                    self.problems.append(f"GET {url.removeprefix(address)}: {problem.code}")
                continue
            kinds[kind] += 1
            if kind in ("text/html", "text/css"):
                text = body.decode()
                links = LINKS.findall(text)
                for link in (a or b.strip("\"'") for a, b in links):
                    to = urldefrag(urljoin(url, link)).url
                    if to.startswith(address):
                        todo.append(to)
        shown = ", ".join(f"{n} {kind}" for kind, n in sorted(kinds.items()))
        print(f"  {len(seen)} pages and files in {time.monotonic() - began:.1f} s: {shown}")
        for kind in ("text/html", "text/javascript", "text/css", "image/png", "model/gltf-binary"):
            if not kinds.get(kind):
                self.problems.append(f"the demo's pages lead to no {kind}")

    def commands(self) -> None:
        """What a pilot does at the command line, on the demo's fleet and on a sheet of his own."""
        self.run("--version", holds="crashworthy ")
        self.run("new", "wren.toml", "--set", "name=Wren", "--set", "wheelbase=219", makes="wren.toml")
        self.run("new", "wren.toml", holds="wren")
        self.run("build", "wren", holds=" g")
        self.run(
            "crash",
            "gannet",
            "--n",
            "64",
            "--report",
            "gannet.html",
            holds="100 crashes",
            makes="gannet.html",
        )
        self.run("place", "gannet", holds="fragile parts")
        self.run("print", "camera-cradle", "gannet", "-o", "cradle.3mf", makes="cradle.3mf")
        self.run("share", "dunlin", "-o", "dunlin.html", makes="dunlin.html")
        self.run("torque", "gannet", holds="N m")
        self.run("due", "gannet")
        self.run("kit", "gannet")
        self.run(
            "log", str(self.folder / "data/simulated/bent-prop.csv"), "--quad", "gannet", holds="unbalance"
        )
        self.run("verify")
        outcome = json.loads(self.run("evidence", "strength", "--json") or '{"checks": []}')
        if len(outcome["checks"]) < 5:
            self.problems.append("hardly a check of strength was run")

    def verdict(self) -> int:
        """Say what was wrong, and 1 when anything was."""
        if self.report.exists():
            self.problems += self.report.read_text(encoding="utf-8").splitlines()
        for problem in self.problems:
            print(f"WRONG {problem}")
        print("the wheel has all it needs" if not self.problems else f"{len(self.problems)} problems")
        return 1 if self.problems else 0


def _worth(url: str, alike: Counter[str]) -> bool:
    """Whether a page can show a file that those read before it did not."""
    parts = urlsplit(url)
    if parts.path.startswith(("/static/", "/handbook")):
        return True
    kin = parts.path.rpartition("/")[0] if parts.path.count("/") > 3 else parts.path
    alike[kin] += 1
    return not parts.query and alike[kin] <= ALIKE


def build(folder: Path) -> Path:
    """The wheel of this source tree."""
    command = [sys.executable, "-m", "uv", "build", "--wheel", "-q", "-o", str(folder), str(ROOT)]
    subprocess.run(command, check=True)
    (wheel,) = folder.glob("crashworthy-*.whl")
    return wheel


def install(wheel: Path, folder: Path) -> Path:
    """The interpreter of a fresh venv with that wheel and the tested versions of what it needs."""
    uv = [sys.executable, "-m", "uv"]
    subprocess.run([*uv, "venv", "-q", str(folder)], check=True)
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    limits = ["-c", str(ROOT / "constraints.txt")]
    subprocess.run([*uv, "pip", "install", "-q", "-p", str(python), *limits, str(wheel)], check=True)
    return python


def main() -> int:
    """Return 0 when everything answered."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--python", type=Path, help="one with crashworthy installed; nothing is built")
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="crashworthy-wheel-"))
    try:
        python = asked.python
        if python is None:
            began = time.monotonic()
            python = install(build(folder / "dist"), folder / "venv")
            print(f"built and installed in {time.monotonic() - began:.1f} s")
        trial = Trial(python.absolute(), folder)
        trial.demo()
        trial.commands()
        return trial.verdict()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    raise SystemExit(main())
