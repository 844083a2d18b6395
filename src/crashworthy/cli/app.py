"""The commands, each a verb of the pilot; registered here, written in the modules beside it."""

from __future__ import annotations

from typing import Annotated

import typer

from crashworthy.cli import (
    budget,
    calibrate,
    camera,
    compare,
    crash,
    crew,
    due,
    evidence,
    improve,
    journal,
    kit,
    learned,
    link,
    listen,
    lives,
    log,
    people,
    place,
    print_,
    serve,
    share,
    sheet,
    store,
    torque,
    tour,
)
from crashworthy.cli.listing import DAY, sections

__all__ = ["app"]

app = typer.Typer(
    name="crashworthy",
    cls=sections("crashworthy", DAY),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help starts in half the time
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)


def _version(wanted: bool) -> None:
    if wanted:
        from crashworthy.release import release

        typer.echo(f"crashworthy {release()}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Crash it in simulation, fly it, journal it, keep it tight.

    Your own quad: `crashworthy new --ask`, then `crashworthy crash FILE.toml`. `COMMAND -h` tells more.

    Example: crashworthy demo
    """


app.command("demo")(serve.demo)
app.command("serve")(serve.serve)
app.command("new")(sheet.new)
app.command("build")(sheet.build)
app.command("calibrate")(calibrate.calibrate)
app.command("crash")(crash.crash)
app.command("compare")(compare.compare)
app.command("improve")(improve.improve)
app.command("place")(place.place)
app.command("camera")(camera.camera)
app.command("link")(link.link)
app.command("print")(print_.print_part)
app.command("due")(due.due)
app.add_typer(journal.app, name="journal")
app.command("log")(log.log)
app.command("tap")(listen.tap)
app.command("trend")(listen.trend)
app.command("kit")(kit.kit)
app.command("stock")(kit.stock)
app.command("torque")(torque.torque)
app.command("share")(share.share)
app.command("budget")(budget.budget)
app.command("look")(lives.look)
app.command("learned")(learned.learned)
app.command("lives")(lives.lives)
app.command("tougher")(crew.tougher)
app.command("crew")(crew.crew)
app.add_typer(people.app, name="people")
app.command("tour")(tour.tour)
app.command("evidence")(evidence.evidence)
app.command("backup")(store.backup)
app.command("restore")(store.restore)
app.command("verify")(store.verify)
