"""Pin the versions that were tested: constraints.txt, and the same list where uv reads it.

    python tools/constraints.py

Resolves for every platform and supported Python. Only names, versions and markers are written, never the
address of an index.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def resolve(text: str) -> list[str]:
    """Return pinned lines for everything that ``pyproject.toml`` can install."""
    table = tomllib.loads(text)
    wanted = [*table["project"]["dependencies"]]
    for extra in table["project"]["optional-dependencies"].values():
        wanted += extra
    for group in table["dependency-groups"].values():
        wanted += [line for line in group if not line.startswith("crashworthy")]
    command = [sys.executable, "-m", "uv", "pip", "compile", "-", "--universal", "--python-version", "3.11"]
    command += ["--no-header", "--no-annotate", "--no-emit-index-url", "-q"]
    said = subprocess.run(command, input="\n".join(wanted), capture_output=True, text=True, check=True)
    return [
        line.strip() for line in said.stdout.splitlines() if line.strip() and not line.startswith(("#", "-"))
    ]


def main() -> None:
    """Write both lists."""
    project = ROOT / "pyproject.toml"
    text = project.read_text(encoding="utf-8")
    pinned = resolve(text)
    (ROOT / "constraints.txt").write_text("\n".join(pinned) + "\n", encoding="utf-8")
    rows = "".join(f"  {_quoted(line)},\n" for line in pinned)
    block = f"constraint-dependencies = [ # made by tools/constraints.py\n{rows}]\n"
    text = re.sub(r"constraint-dependencies = \[.*?\n\]\n", "", text, flags=re.DOTALL)
    text = text.replace("default-groups = []\n", f"default-groups = []\n{block}")
    project.write_text(text, encoding="utf-8")


def _quoted(line: str) -> str:
    return f"'{line}'" if '"' in line else f'"{line}"'


if __name__ == "__main__":
    main()
