"""What the docs show can be typed: every command line in them is one that the program takes."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
import typer

from crashworthy.cli.app import app

ROOT = Path(__file__).parents[2]
GROUP = typer.main.get_command(app)
QUICK = ("build", "budget", "due", "stock", "tour", "journal pack", "journal crash", "journal check")
"""Commands whose own example is run as it stands, on the demo fleet."""


def shown(text: str):
    """The words after ``crashworthy`` of each command line in the code blocks of a page."""
    fenced = False
    for line in text.splitlines():
        if line.startswith("```"):
            fenced = not fenced
        elif fenced or line.startswith("    "):
            found = re.match(
                r"(?:\$ )?(?:python -m uv run |sudo -u \w+ )?(?:[A-Z_]+=\S+ )*crashworthy (.*)", line.strip()
            )
            if found:
                yield re.split(r"\s#|\s>", found[1])[0]


PAGES = [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]
SERVICE = (ROOT / "deploy" / "crashworthy.service").read_text(encoding="utf-8")
LINES = [
    *((page.name, line) for page in PAGES for line in shown(page.read_text(encoding="utf-8"))),
    *(("crashworthy.service", line) for line in re.findall(r"crashworthy ((?:serve|people) .*)", SERVICE)),
]


@pytest.mark.parametrize(("page", "line"), LINES)
def test_every_command_line_shown_is_one_the_program_takes(page, line):
    """Command, options and the number of arguments of each line are those of the program."""
    words = shlex.split(line)
    command = GROUP
    while words and hasattr(command, "commands") and not words[0].startswith("-"):
        assert words[0] in command.commands, f"{page}: crashworthy {line}"
        command = command.commands[words.pop(0)]
    if not hasattr(command, "commands"):
        command.make_context(command.name, list(words))  # raises what a person would read


def test_the_lines_are_found():
    """The docs show a good hundred lines, and a wrong option would be refused."""
    assert len(LINES) > 100
    assert sum(page == "crashworthy.service" for page, _ in LINES) == 2
    with pytest.raises(Exception, match="No such option"):
        GROUP.commands["due"].make_context("due", ["gannet", "--nothing"])


def test_quick_examples_of_the_help_do_what_they_show(demo, tmp_path):
    """The example in the help of each quick command ends well on the demo fleet."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    for name in QUICK:
        section = text.partition(f"## crashworthy {name}\n")[2].partition("\n## ")[0]
        (line, *_) = shown(section)
        said = demo(*shlex.split(line))
        assert said.code == 0, f"crashworthy {line}: {said.err}"
        assert said.out
