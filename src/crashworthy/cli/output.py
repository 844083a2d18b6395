"""How results are printed: one sentence, then a table that fits 80 columns; or JSON for machines.

Results go to standard output, progress and cautions to standard error, so that ``--json`` can be piped.
"""

from __future__ import annotations

import json
import re
import sys
import textwrap
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

__all__ = ["WIDTH", "caution", "folded", "print_json", "progress_bar", "say", "table"]

_HELD = "\x1f"
"""Stands for a space that must not become the end of a line."""

WIDTH = 80
"""Columns that every printed answer fits."""


def print_json(value: Any) -> None:
    """Print JSON with a stable order of keys."""
    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n")


def folded(text: str, hang: str = "  ") -> str:
    """A text in lines of at most ``WIDTH`` columns; what stands in backticks is a command and stays whole.

    Args:
        text: one or more lines; a line that fits stays as it is.
        hang: what the second and later lines of a long one begin with, after its own indent.
    """
    return "\n".join(_folded(line, hang) for line in text.split("\n"))


def _folded(line: str, hang: str) -> str:
    if len(line) <= WIDTH:
        return line
    indent = line[: len(line) - len(line.lstrip())]
    held = re.sub(r"`[^`]{1,70}`", lambda m: m[0].replace(" ", _HELD), line)
    lines = textwrap.wrap(
        held, WIDTH, subsequent_indent=indent + hang, break_long_words=False, break_on_hyphens=False
    )
    return "\n".join(lines).replace(_HELD, " ")


def say(text: str = "") -> None:
    """Print a line of the answer, folded where it is longer than ``WIDTH``."""
    sys.stdout.write(folded(text, "") + "\n")


def caution(text: str) -> None:
    """Print a caution beside the act it concerns, on standard error."""
    sys.stderr.write(folded(f"Caution: {text}") + "\n")


def table(columns: Sequence[str], rows: Sequence[Sequence[object]], right: str = "") -> None:
    """Print a table; ``right`` has an "r" for each column that is set flush right, else "l"."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for number, name in enumerate(columns):
        grid.add_column(
            name, justify="right" if right[number : number + 1] == "r" else "left", overflow="fold"
        )
    for row in rows:
        grid.add_row(*(str(cell) for cell in row))
    console = Console(file=sys.stdout, highlight=False, markup=False)
    if not console.is_terminal:
        console.width = WIDTH  # a pipe has no width; every table is made to fit this one
    console.print(grid)


@contextmanager
def progress_bar(title: str) -> Iterator[Callable[[int, int], None]]:
    """Show a bar on standard error; gives the function to call with (done, total)."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(file=sys.stderr)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as bar:
        task = bar.add_task(title, total=None)

        def update(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total)

        yield update
