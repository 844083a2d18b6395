"""Print the commands of a README block, so that what is printed there is what is run.

A block is fenced as ``sh`` and preceded by ``<!-- run: NAME -->``.

    python tools/readme_commands.py demo
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"


def commands(name: str, text: str) -> list[str]:
    """Return the command lines of the block called ``name``.

    Raises:
        LookupError: there is no such block, or it is empty.
    """
    found = re.search(rf"<!-- run: {re.escape(name)} -->\n+```sh\n(.*?)```", text, re.DOTALL)
    lines = [line.split("  #")[0].strip() for line in found.group(1).splitlines()] if found else []
    lines = [line for line in lines if line and not line.startswith("#")]
    if not lines:
        raise LookupError(f"README.md has no runnable block called {name!r}")
    return lines


if __name__ == "__main__":
    print("\n".join(commands(sys.argv[1], README.read_text(encoding="utf-8"))))
