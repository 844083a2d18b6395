"""`crashworthy tap` and `crashworthy trend`: a recording of taps; what flights say together."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

__all__ = ["tap", "trend"]


def tap(
    file: Annotated[Path, typer.Argument(help="A WAV recording of five taps on one arm, a second apart.")],
    first: Annotated[
        Path | None, typer.Option("--first", help="The first recording of the same arm, to compare with.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Read a recording of taps: frequency and damping, and stiffness against the first recording.

    Example: crashworthy tap rear-left.wav --first rear-left-new.wav
    """
    from crashworthy.vibration.tap import compare, read_sound, tap_test

    now = tap_test(*read_sound(file))
    words = compare(now, tap_test(*read_sound(first))) if first else ""
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
