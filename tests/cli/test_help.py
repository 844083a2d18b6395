"""Every command tells its use in 80 columns with a real example, and answers machines with --json."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

import pytest
import typer

from crashworthy.cli.app import app
from crashworthy.cli.listing import DAY, JOURNAL, PEOPLE
from crashworthy.cli.output import folded

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT: Any = typer.main.get_command(app)

MACHINE_ALREADY = {("journal", "export")}
"""Prints one JSON event a line without being asked."""


def walked(command: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command and group below ``command``, with the words that reach it."""
    yield path, command
    for name, inner in getattr(command, "commands", {}).items():
        yield from walked(inner, (*path, name))


ALL = dict(walked(ROOT))
LEAVES = [path for path, command in ALL.items() if not hasattr(command, "commands")]


def examples(path: tuple[str, ...]) -> list[list[str]]:
    """The words of each example that a command's help shows."""
    lines = [" ".join(p.split()) for p in (ALL[path].help or "").split("\n\n")]
    told = [line.removeprefix("Example:").partition(">")[0] for line in lines if line.startswith("Example:")]
    return [shlex.split(line) for line in told]


@pytest.mark.parametrize("path", ALL, ids=lambda path: " ".join(path) or "crashworthy")
def test_help_fits_80_columns_and_is_not_cut(run, path) -> None:
    """No line of any help is wider than 80 columns, and no sentence of a list ends in dots."""
    said = run(*path, "--help")
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80, [x for x in said.out.splitlines() if len(x) > 80]
    if hasattr(ALL[path], "commands"):
        listed = said.out.partition("Options:")[2].splitlines()
        assert not [line for line in listed if line.rstrip().endswith("...")]


@pytest.mark.parametrize("path", ALL, ids=lambda path: " ".join(path) or "crashworthy")
def test_help_shows_an_example_that_the_command_takes(path) -> None:
    """Each has an example, and the parser takes its words: no option of old, no word too few."""
    found = examples(path)
    assert found, "no example"
    for words in found:
        assert words[0] == "crashworthy"
        command, context, rest = ROOT, None, words[1:]
        while hasattr(command, "commands"):
            context = command.make_context(words[0], rest, parent=context, resilient_parsing=True)
            name, command, rest = command.resolve_command(context, rest)
            assert command is not None, name
        assert not path or command is ALL[path] or hasattr(ALL[path], "commands")
        command.make_context(command.name, rest, parent=context)


@pytest.mark.parametrize("path", LEAVES, ids=" ".join)
def test_every_command_speaks_to_machines(path) -> None:
    """--json is there, or the command prints JSON lines anyway."""
    options = {o for p in ALL[path].params for o in p.opts}
    assert "--json" in options or path in MACHINE_ALREADY


@pytest.mark.parametrize(("group", "listed"), [((), DAY), (("journal",), JOURNAL), (("people",), PEOPLE)])
def test_every_command_is_listed_once_under_a_heading(group, listed) -> None:
    """No command is forgotten in the headings and none stands in two."""
    names = [n for heading in listed.values() for n in heading]
    assert sorted(names) == sorted(ALL[group].commands)


def test_a_quad_in_the_place_of_an_act_is_told_what_to_type(run) -> None:
    """`journal wren` says which acts there are instead of only that there is no such command."""
    said = run("journal", "wren")
    assert said.code == 2
    assert "journal pack wren" in said.err


def test_long_lines_fold_and_commands_stay_whole() -> None:
    """Words fold at 80 columns under their own indent; what stands in backticks is not torn."""
    text = "  Note: " + "a word " * 9 + "then `crashworthy new very-long-name.toml --replace` and so on"
    lines = folded(text).split("\n")
    assert max(map(len, lines)) <= 80
    assert any("`crashworthy new very-long-name.toml --replace`" in line for line in lines)
    assert all(line.startswith("  ") for line in lines)
    assert folded("x" * 200) == "x" * 200
