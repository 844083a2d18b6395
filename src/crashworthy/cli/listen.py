"""`crashworthy tap` and `crashworthy trend`: a recording of taps; what flights say together."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

__all__ = ["tap", "trend"]


def tap(
    file: Annotated[
        Path,
        typer.Argument(help="A recording of five taps on one arm, a second apart: WAV; FLAC with an extra."),
    ],
    first: Annotated[
        Path | None, typer.Option("--first", help="The first recording of the same arm, to compare with.")
    ] = None,
    quad: Annotated[
        str | None, typer.Option("--quad", help="A quad of the fleet: keep the taps with it.")
    ] = None,
    part: Annotated[str, typer.Option("--part", help="Which arm was tapped; needs --quad.")] = "",
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Read a recording of taps: frequency and damping, and stiffness against the first recording.

    Example: crashworthy tap rear-left.wav --quad gannet --part arm_rl
    """
    from crashworthy.vibration.sound import read_sound
    from crashworthy.vibration.tap import compare, tap_test

    if bool(quad) != bool(part):
        raise typer.BadParameter("--quad and --part go together")
    if quad:
        try:
            stream = file.open("rb")
        except OSError as problem:
            raise typer.BadParameter(f"{file}: {problem.strerror}") from None
        with stream, opened(data, store) as workshop:
            now, words = workshop.keep_taps(quad, part, file.name, stream)
    else:
        now, words = tap_test(*read_sound(file)), ""
    if first:
        words = compare(now, tap_test(*read_sound(first)))
    if as_json:
        print_json({**now.to_json(), "compared": words})
        return
    say(now.summary())
    table(
        ("tap at s", "Hz", "damping %", "over the rest dB"),
        [(f"{r.at:.2f}", f"{r.f:.1f}", f"{100 * r.damping:.2f}", f"{r.level:.0f}") for r in now.taps],
        right="rrrr",
    )
    if words:
        say(words)


def trend(
    quad: Annotated[str, typer.Argument(help="A quad of the fleet.")],
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say what slowly rises over the kept flights of a quad, and how its packs do.

    Example: crashworthy trend gannet
    """
    with opened(data, store) as workshop:
        found, packs = workshop.trends(quad), workshop.pack_healths(quad)
    if as_json:
        print_json({"trends": [t.to_json() for t in found], "packs": [p.to_json() for p in packs]})
        return
    if not found and not packs:
        say("No kept flight log with motor speeds yet: crashworthy log FILE --quad QUAD --keep keeps one.")
    for t in found:
        say(t.summary())
    for p in packs:
        say(p.text)
    if packs:
        from crashworthy.vibration.packs import CAUTIONS

        for line in CAUTIONS:
            say(f"- {line}")
