"""`crashworthy calibrate`: arm stiffness from a static pull and a tap, and what that moves."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.asking import write
from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import caution, print_json, progress_bar, say, table

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.workshop.building import Calibration

__all__ = ["calibrate"]

_PULL = re.compile(r"\s*([\d.]+)\s*,\s*([\d.]+)\s*")


def _pull(text: str, option: str) -> dict[str, Any]:
    match = _PULL.fullmatch(text)
    try:
        force, way = (float(x) for x in match.groups()) if match else ()  # type: ignore[misc] # two
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not N,MM, such as 9.81,0.8", param_hint=option) from None
    return {"n": force, "mm": way}


def _given(
    pulls: dict[str, str | None], taps: dict[str, float | None], prop: bool
) -> dict[str, dict[str, Any]]:
    """The tests of the command line, by key of the arms row."""
    found = {k: _pull(text, f"--{k.replace('_', '-')}") for k, text in pulls.items() if text is not None}
    return found | {k: {"hz": hz, "prop": prop} for k, hz in taps.items() if hz is not None}


def calibrate(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    pull_up: Annotated[
        str | None, typer.Option("--pull-up", help="Pull up at one motor, body held down: N,MM.")
    ] = None,
    pull_side: Annotated[
        str | None, typer.Option("--pull-side", help="Pull across the arm, sideways: N,MM.")
    ] = None,
    tap_up: Annotated[
        float | None, typer.Option("--tap-up", help="Tone of a tap from above beside the motor, Hz.")
    ] = None,
    tap_side: Annotated[
        float | None, typer.Option("--tap-side", help="Tone of a tap from the side, Hz.")
    ] = None,
    weighed: Annotated[
        float | None, typer.Option("--weighed", help="What the scales say, ready to fly, g; with --save.")
    ] = None,
    prop: Annotated[bool, typer.Option("--prop", help="The prop was on while tapping.")] = False,
    forget: Annotated[bool, typer.Option("--forget", help="Leave out what the sheet holds so far.")] = False,
    crashes: Annotated[
        int, typer.Option("--crashes", min=0, help="Crashes of each to see what it moves; 0 for none.")
    ] = 0,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="Write the calibrated sheet to this new file.")
    ] = None,
    save: Annotated[bool, typer.Option("--save", help="Write it into the sheet of the quad itself.")] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Correct the stiffness of the arms by a static pull and a tap: before, after, and what it moves.

    Example: crashworthy calibrate examples/dunlin.toml --pull-up 9.81,0.7 --tap-up 105 --crashes 200
    """
    if 0 < crashes < 16:
        raise typer.BadParameter("16 crashes are the fewest that tell anything", param_hint="--crashes")
    if weighed is not None and not save:
        raise typer.BadParameter("add --save: the weight is written into the sheet", param_hint="--weighed")
    caution("props off, pack out; the body held down, fingers clear of the arm.")
    scales: str = ""
    with opened(data, store) as workshop:
        if weighed is not None:
            scales = _scales(workshop.weigh(quad, weighed))
        tests = {} if forget else workshop.tests_of(quad)
        tests |= _given(
            {"pull_up": pull_up, "pull_side": pull_side}, {"tap_up": tap_up, "tap_side": tap_side}, prop
        )
        with progress_bar("crashing both") as progress:
            found = workshop.calibration(quad, tests, crashes, progress=progress)
        if output is not None:
            if output.exists():
                raise typer.BadParameter(f"{output} is there already", param_hint="-o")
            write(output, found.text)
        if save:
            if quad.endswith(".toml"):
                write(Path(quad), found.text)
            else:
                workshop.save_sheet(quad, found.text)
    if as_json:
        print_json(found.to_json())
    else:
        if scales:
            say(scales)
        _words(found, tests=bool(tests), quad=quad, output=output, save=save)


def _scales(quad: Quad) -> str:
    """What the parts explain of what the scales say."""
    gap = 1e3 * (quad.missing or 0.0)
    parts = (
        f"{quad.name}: the scales say {1e3 * (quad.weighed or 0.0):.0f} g, its parts {1e3 * quad.mass:.0f} g"
    )
    if abs(gap) < 0.5:
        return f"{parts}: they agree."
    if gap > 0:
        return f"{parts}: {gap:.0f} g are not described; as [loose] `undescribed = {gap:.0f}` they count."
    return f"{parts}: {-gap:.0f} g too much are described; a mass or a thickness is too large."


def _words(found: Calibration, *, tests: bool, quad: str, output: Path | None, save: bool) -> None:
    say(found.summary())
    table(("", "before", "after"), found.rows(), right="lrr")
    for doubt in found.after.belief.doubts:
        say(f"- {doubt[:1].upper()}{doubt[1:]}.")
    if not tests:
        say("Nothing was measured: give --pull-up N,MM or --tap-up HZ. docs/first-day.md shows how.")
    say("In brackets: 90 % range. The root factor takes what laminate and clamp give together.")
    if output is not None:
        say(f"Wrote {output}; its drawings are those of the first sheet, so keep it in the same folder.")
    if save:
        say(f"Written into the sheet of {quad}.")
    else:
        say("Not kept; add --save, or -o FILE for a copy. The camera: `crashworthy camera QUAD --mark ...`.")
