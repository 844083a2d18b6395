"""`crashworthy journal show`, `import` and `export`: read the journal, move it between machines."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from crashworthy.upkeep.events import Event

__all__ = ["export", "import_", "said_of", "show"]


def show(
    quad: Annotated[str | None, typer.Argument(help="A quad; the whole fleet without.")] = None,
    limit: Annotated[int, typer.Option("--limit", min=1, help="How many of the latest.")] = 20,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Show the latest events, newest first.

    Example: crashworthy journal show gannet --limit 5
    """
    import json

    from crashworthy.upkeep.doubles import doubles
    from crashworthy.upkeep.lines import to_line

    with opened(data, store) as workshop:
        if quad is not None:
            workshop.require(quad)
        events = workshop.events(quad, limit)
    if as_json:
        print_json([json.loads(to_line(e)) for e in events])
        return
    if not events:
        what = quad or "QUAD"
        say(f"Nothing is entered yet. After a pack: `crashworthy journal pack {what}`; after a crash:")
        say(f"`crashworthy journal crash {what} hit`.")
        return
    table(
        ("when (UTC)", "quad", "what", "id ends in"),
        [(f"{e.occurred:%Y-%m-%d %H:%M}", e.quad, said_of(e), e.id.hex[-10:]) for e in events],
    )
    for pair in doubles(events):
        say(f"Entry ...{pair.second.hex[-10:]}: {pair.summary()}; `journal undo` takes one back.")


def import_(
    file: Annotated[Path, typer.Argument(help="A journal file: one JSON event a line, or a table (.csv).")],
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Take the events of a journal file; bad lines are told and left out. Exit status 1 when there were any.

    Example: crashworthy journal import friday.jsonl
    """
    with opened(data, store) as workshop:
        result, problems = workshop.import_journal(file)
    if as_json:
        print_json({**result.to_json(), "problems": [str(p) for p in problems]})
    else:
        say(f"{result.summary()}.")
        for problem in problems:
            typer.echo(f"  {problem}")
    if problems or result.rejected:
        raise typer.Exit(1)


def export(
    quad: Annotated[str | None, typer.Argument(help="A quad; the whole fleet without.")] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print a table (CSV) instead of JSON lines.")] = False,
    device: Annotated[
        list[str] | None, typer.Option("--device", help="Only what was entered with this device.")
    ] = None,
    person: Annotated[
        str, typer.Option("--person", help="Only what somebody with an account entered, by their name.")
    ] = "",
    crew: Annotated[str, typer.Option("--crew", help="Of this crew; needed when there are several.")] = "",
    data: Data = None,
    store: Store = None,
) -> None:
    """Print every event as one JSON line, for `journal import` on another machine; or as a table.

    Example: crashworthy journal export gannet > gannet.jsonl
    """
    if person or crew:
        from crashworthy.workshop.hall import Hall

        with Hall(data, store) as hall:
            for line in hall.entries_of(person, crew, device, quad, table=as_csv):
                typer.echo(line.rstrip("\r\n"))
        return
    with opened(data, store) as workshop:
        if quad is not None:
            workshop.require(quad)
        for line in workshop.export_journal(quad, table=as_csv, devices=device):
            typer.echo(line.rstrip("\r\n"))


def said_of(event: Event) -> str:
    """An event in a few words."""
    values = {k: v for k, v in event.payload.to_json().items() if v not in (None, "", [], False)}
    words = ", ".join(
        f"{k} {', '.join(map(str, v)) if isinstance(v, list) else v}" for k, v in values.items()
    )
    return f"{event.kind} {words}".strip()
