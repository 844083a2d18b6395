"""Write docs/commands.md from the commands themselves, so that the page cannot fall behind.

python tools/commands_page.py          writes the page
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import typer

from crashworthy.cli.app import app

PAGE = Path(__file__).resolve().parents[1] / "docs" / "commands.md"

HEAD = """# Commands

Made from the commands' own help by `tools/commands_page.py`. Every command prints one sentence with numbers,
then a table that fits 80 columns; `--json` prints the same for machines. Progress and cautions go to standard
error.

Exit status: 0 when all went well; 1 when the answer is bad news (a check failed, lines of a journal file were
left out); 2 when something you gave cannot be used, with one line for each problem: where, what, what to do.

In the examples `examples/gannet.toml` stands for your own sheet; the file is in the repository, and its quad,
`gannet`, in every demo fleet.

Where data lies: `--data`, or the environment variable `CRASHWORTHY_DATA`, or your platform's folder for
application data. `--store postgresql://...` or `CRASHWORTHY_STORE` takes the journal to PostgreSQL (extra
`postgres`).
"""


def _row(param: Any) -> str:
    names = (
        ", ".join(f"`{o}`" for o in param.opts)
        if param.param_type_name == "option"
        else f"`{param.name.upper()}`"
    )
    help_text = getattr(param, "help", "") or ""
    default = param.default
    shown = "" if default in (None, False, "") or callable(default) else f" Default {default}."
    return f"| {names} | {help_text}{shown} |"


def page() -> str:
    """The whole page."""
    out = [HEAD]
    group: Any = typer.main.get_command(app)

    def one(name: str, command: Any) -> None:
        words, *examples = re.split(r"^\s*Example:", command.help or "", flags=re.MULTILINE)
        paragraphs = [" ".join(p.split()) for p in words.strip().split("\n\n")]
        out.append(f"\n## crashworthy {name}\n\n" + "\n\n".join(paragraphs) + "\n")
        if examples:
            out.append("```sh\n" + "\n".join(e.strip() for e in examples) + "\n```\n")
        rows = [_row(p) for p in command.params if "--help" not in p.opts]
        if rows:
            out.append("| | |\n|---|---|\n" + "\n".join(rows) + "\n")

    for name, command in group.commands.items():
        inner = getattr(command, "commands", None)
        if inner:
            for sub, subcommand in inner.items():
                one(f"{name} {sub}", subcommand)
        else:
            one(name, command)
    return "\n".join(out).replace("\n\n\n", "\n\n")


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
