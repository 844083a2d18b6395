"""`crashworthy journal`: enter what happened, read it, take it back, move it between machines."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli import journal_file
from crashworthy.cli.journal_file import said_of
from crashworthy.cli.listing import JOURNAL, sections
from crashworthy.cli.options import Data, Json, Quad, Store, opened
from crashworthy.cli.output import caution, print_json, say

if TYPE_CHECKING:
    from crashworthy.upkeep.payloads import Payload

__all__ = ["app"]

app = typer.Typer(
    cls=sections("journal", JOURNAL),
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Enter what happened, read it, take it back, export and import.\n\n"
    "Example: crashworthy journal crash gannet hit --obstacle wall",
)

When = Annotated[
    str | None, typer.Option("--when", help="When it happened, like 2026-05-01T10:30:00Z; now without.")
]


def _enter(
    quad: str, payload: Payload, when: str | None, data: Path | None, store: str | None, as_json: bool
) -> None:
    """Record one payload and say what is due after it."""
    from crashworthy.upkeep.due import headline
    from crashworthy.upkeep.events import moment_rule
    from crashworthy.upkeep.rules import BrokenRuleError

    try:
        occurred = None if when is None else moment_rule(when)
    except BrokenRuleError as problem:
        raise typer.BadParameter(f"--when {' -> '.join(map(str, problem.args))}") from None
    with opened(data, store) as workshop:
        (event,) = workshop.record(quad, payload, occurred=occurred)
        dues = workshop.due(quad)
    if as_json:
        print_json({"id": str(event.id), "summary": headline(dues)})
        return
    say(f"Kept: {said_of(event)}. {headline(dues)}")


@app.command()
def pack(
    quad: Quad,
    minutes: Annotated[float | None, typer.Option("--minutes", help="Time in the air.")] = None,
    battery: Annotated[str, typer.Option("--battery", help="Which pack, as you mark them.")] = "",
    bent_prop: Annotated[
        bool, typer.Option("--bent-prop", help="Flown with a prop known to be bent.")
    ] = False,
    crashes: Annotated[
        int | None, typer.Option("--crashes", help="Crashes in this pack; 0 counts too.")
    ] = None,
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter a pack flown.

    Example: crashworthy journal pack gannet --minutes 3.5 --crashes 1
    """
    from crashworthy.upkeep.payloads import Pack

    payload = Pack(minutes=minutes, battery=battery, bent_prop=bent_prop, crashes=crashes)
    _enter(quad, payload, when, data, store, as_json)


@app.command()
def crash(
    quad: Quad,
    severity: Annotated[str, typer.Argument(help="scuff, hit or slam.")],
    obstacle: Annotated[str, typer.Option("--obstacle", help="What was hit.")] = "",
    hit: Annotated[str, typer.Option("--hit", help="The part that took it.")] = "",
    broke: Annotated[list[str] | None, typer.Option("--broke", help="A part seen broken; repeat it.")] = None,
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter a crash.

    Example: crashworthy journal crash gannet slam --obstacle wall --broke prop_fl
    """
    from crashworthy.cautions import CAUTIONS
    from crashworthy.upkeep.payloads import Crash

    payload = Crash(severity=severity, obstacle=obstacle, hit=hit, broke=tuple(broke or ()))
    _enter(quad, payload, when, data, store, as_json)
    if severity != "scuff":
        caution(CAUTIONS["crashed-pack"].text)


@app.command()
def check(
    quad: Quad,
    group: Annotated[str, typer.Argument(help="The joint group that was looked at.")],
    looked: Annotated[int | None, typer.Option("--looked", help="Screws tried; all of them without.")] = None,
    loose: Annotated[int, typer.Option("--loose", help="How many of them turned.")] = 0,
    missing: Annotated[int, typer.Option("--missing", help="How many were gone.")] = 0,
    grade: Annotated[str, typer.Option("--grade", help="The worst: how far it turned.")] = "",
    reason: Annotated[
        str, typer.Option("--reason", help="scheduled, suspicion or after-crash.")
    ] = "scheduled",
    tightened: Annotated[str, typer.Option("--tightened", help="all, loose or none.")] = "all",
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter a check of a joint group and what it found.

    Example: crashworthy journal check gannet arm --loose 1
    """
    from crashworthy.cautions import CAUTIONS
    from crashworthy.upkeep.payloads import Check

    if looked is None:
        with opened(data, store) as workshop:
            looked = workshop.quad(quad).joint(group).count
    payload = Check(group, looked, loose, missing, grade, reason, tightened)
    _enter(quad, payload, when, data, store, as_json)
    if loose or missing:
        caution(CAUTIONS["loose"].text)


@app.command()
def swap(
    quad: Quad,
    part: Annotated[str, typer.Argument(help="The part that was replaced.")],
    why: Annotated[str, typer.Option("--why", help="broke, worn or upgrade.")] = "broke",
    serial: Annotated[str, typer.Option("--serial", help="Mark of the new part.")] = "",
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter a part replaced.

    Example: crashworthy journal swap gannet arm_rl --why broke
    """
    from crashworthy.upkeep.payloads import Swap

    _enter(quad, Swap(part=part, why=why, serial=serial), when, data, store, as_json)


@app.command()
def tighten(
    quad: Quad,
    group: Annotated[str, typer.Argument(help="The joint group whose screws were all tightened.")],
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter that every screw of a group was tightened, without counting what was found.

    Example: crashworthy journal tighten gannet motor
    """
    from crashworthy.upkeep.payloads import Tighten

    _enter(quad, Tighten(group), when, data, store, as_json)


@app.command()
def tap(
    quad: Quad,
    part: Annotated[str, typer.Argument(help="The part that was tapped.")],
    hz: Annotated[list[float], typer.Argument(help="Frequency at each tap, Hz; five taps are best.")],
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter a tap test of a part: the same motor on it, its root screws tight, the quad held alike each time.

    Example: crashworthy journal tap gannet arm_fl 182 181 183 182 181
    """
    from crashworthy.upkeep.payloads import Tap

    _require_part(quad, part, data, store)
    _enter(quad, Tap(part, tuple(hz)), when, data, store, as_json)


@app.command()
def finding(
    quad: Quad,
    part: Annotated[str, typer.Argument(help="The part that was looked at.")],
    state: Annotated[str, typer.Argument(help="fine, worn or damaged.")],
    text: Annotated[str, typer.Option("--text", help="What was seen.")] = "",
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter what the eye says of a part.

    Example: crashworthy journal finding gannet arm_fl worn --text "white edge at the root"
    """
    from crashworthy.upkeep.payloads import Finding

    _require_part(quad, part, data, store)
    _enter(quad, Finding(part, state, text), when, data, store, as_json)


@app.command()
def photo(
    quad: Quad,
    file: Annotated[Path, typer.Argument(help="A JPEG, PNG or WebP picture, at most 20 MB.")],
    part: Annotated[str, typer.Option("--part", help="The part it shows.")] = "",
    text: Annotated[str, typer.Option("--text", help="What it shows.")] = "",
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Keep a picture in the data folder and enter it.

    Example: crashworthy journal photo gannet crack.jpg --part arm_fl
    """
    with opened(data, store) as workshop:
        event = workshop.keep_photo(quad, file, part, text)
    if as_json:
        print_json({"id": str(event.id), **event.payload.to_json()})
    else:
        say(f"Kept: {said_of(event)}.")


@app.command()
def tidy(
    days: Annotated[
        float, typer.Option("--days", min=0.0, help="Leave alone what is younger, or was taken back since.")
    ] = 30.0,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Take away pictures that no entry speaks of, or only entries that were taken back.

    `crashworthy verify` counts them first. Pictures that an entry speaks of are never touched. Where there
    are accounts, the fleet of every crew is tidied.

    Example: crashworthy journal tidy --days 30
    """
    from crashworthy.workshop.hall import Hall, has_accounts

    gone: list[tuple[str, int]] = []
    if has_accounts(data, store):
        with Hall(data, store) as hall:
            for crew in hall.accounts.crews():
                gone += hall.workshop_of(crew).tidy_photos(days)
    else:
        with opened(data, store) as workshop:
            gone += workshop.tidy_photos(days)
    if as_json:
        print_json([name for name, _ in gone])
    else:
        size = sum(size for _, size in gone) / 1e6
        what = "1 picture" if len(gone) == 1 else f"{len(gone)} pictures"
        say(f"Took away {what}, {size:.1f} MB." if gone else "Nothing to take away.")


def _require_part(quad: str, part: str, data: Path | None, store: str | None) -> None:
    """A tap or finding of a part that is not there helps nobody; repairs may name anything."""
    with opened(data, store) as workshop:
        workshop.require(quad)
        workshop.quad(quad).part(part)


@app.command()
def note(
    quad: Quad,
    text: Annotated[str, typer.Argument(help="The words.")],
    when: When = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Enter words to remember.

    Example: crashworthy journal note gannet "new motor screws, with thread locker"
    """
    from crashworthy.upkeep.payloads import Note

    _enter(quad, Note(text), when, data, store, as_json)


@app.command()
def undo(
    event: Annotated[str, typer.Argument(help="Id of the event or its end, as `journal show` prints it.")],
    why: Annotated[str, typer.Option("--why", help="In words.")] = "",
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Take an event back; both stay readable.

    Example: crashworthy journal undo 5ddf35e40edf1
    """
    with opened(data, store) as workshop:
        target = workshop.event_ending(event)
        taken = workshop.undo(target.id, why)
    if as_json:
        print_json({"id": str(taken.id), "target": str(target.id)})
    else:
        say(f"Taken back: {said_of(target)}.")


app.command("show")(journal_file.show)
app.command("import")(journal_file.import_)
app.command("export")(journal_file.export)
