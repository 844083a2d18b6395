"""`crashworthy camera`: recess against tilt, what to trim, and the pupil from one picture."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import caution, print_json, say, table

if TYPE_CHECKING:
    from crashworthy.placement.pupil import Corner, Mark
    from crashworthy.placement.tradeoff import TradeOff
    from crashworthy.workshop import Workshop

__all__ = ["camera"]

MARK = re.compile(r"\s*([-\d.]+),([-\d.]+),([-\d.]+)@([-\d.]+),([-\d.]+)\s*")


def camera(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    tilt: Annotated[
        list[float] | None, typer.Option("--tilt", help="Tilt to try, deg; may be given often (20, 30, 40).")
    ] = None,
    recess: Annotated[
        list[float] | None, typer.Option("--recess", help="Recess to try, mm; may be given often (-4 to 6).")
    ] = None,
    limit: Annotated[
        float, typer.Option("--view", help="Share of the picture the cage may cover, % (assumption 1).")
    ] = 1.0,
    trim: Annotated[
        Path | None,
        typer.Option("--trim", help="Write what to take off a plate, true to size: .svg or .dxf."),
    ] = None,
    plate: Annotated[
        str | None, typer.Option("--plate", help="Plate to trim; else the one that loses most.")
    ] = None,
    mark: Annotated[
        list[str] | None,
        typer.Option(
            "--mark",
            help=(
                "A corner seen in a picture, X,Y,Z@COLUMN,ROW (mm, pixels): finds the pupil. May be "
                "given often."
            ),
        ),
    ] = None,
    picture: Annotated[
        str, typer.Option("--picture", help="Size of that picture, COLUMNSxROWS.")
    ] = "1280x960",
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="Where --mark writes a copy of the sheet.")
    ] = None,
    corners: Annotated[
        bool, typer.Option("--corners", help="List corners of the frame worth marking.")
    ] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Trade the view against protection: what the cage takes of the picture and what can touch the glass.

    Example: crashworthy camera examples/gannet.toml --tilt 20 --tilt 30 --view 2
    """
    with opened(data, store) as workshop:
        if mark:
            _pupil(workshop, quad, [_mark(m, picture) for m in mark], output, as_json=as_json)
        elif corners:
            _corners(workshop.corners(quad), picture, as_json=as_json)
        elif trim is not None:
            _trim(workshop, quad, trim, plate, recess, tilt, as_json=as_json)
        else:
            found = workshop.trade_off(quad, tilt, recess, limit / 100)
            if as_json:
                print_json(found.to_json())
            else:
                _words(found)


def _size(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"(\d{2,5})[xX](\d{2,5})", text.strip())
    if match is None:
        raise typer.BadParameter("--picture is COLUMNSxROWS, such as 1280x960")
    return int(match.group(1)), int(match.group(2))


def _mark(text: str, picture: str) -> Mark:
    from crashworthy.placement.pupil import Mark

    match = MARK.fullmatch(text)
    try:
        x, y, z, column, row = (float(v) for v in match.groups()) if match else ()  # type: ignore[misc] # five
    except ValueError:
        raise typer.BadParameter(
            f"--mark {text!r} is not X,Y,Z@COLUMN,ROW, such as 79,10,32@115,188"
        ) from None
    return Mark((x, y, z), (column, row), _size(picture))


def _pupil(workshop: Workshop, quad: str, marks: list[Mark], output: Path | None, *, as_json: bool) -> None:
    fit = workshop.pupil(quad, marks)
    text = workshop.with_pupil(quad, fit)
    if output is not None:
        try:
            output.write_text(text, encoding="utf-8")
        except OSError as problem:
            raise typer.BadParameter(f"cannot write {output}: {problem.strerror}") from None
    if as_json:
        print_json({**fit.to_json(), "sheet": text})
        return
    say(fit.summary())
    table(("doubt from", "mm"), [(words, f"{sd:.2f}") for words, sd in fit.causes], right="lr")
    say(
        "Standard deviations put in (assumptions): mark 2 pixels, corner 0.3 mm, tilt 0.5 deg, focal "
        "length 2 %."
    )
    if output is not None:
        say(f"Wrote {output}; its drawings are those of the first sheet, so keep it in the same folder.")


def _corners(found: tuple[Corner, ...], picture: str, *, as_json: bool) -> None:
    width, height = _size(picture)
    rows = [
        (
            c,
            (c.place[0] + 1) / 2 * width - 0.5,
            (height - c.place[1] * width) / 2 - 0.5,
            c.shift * width / 2,
        )
        for c in found
    ]
    if as_json:
        print_json(
            {
                "corners": [
                    {
                        "part": c.label,
                        "at_mm": list(c.at),
                        "pixel": [round(a, 1), round(b, 1)],
                        "pixels_per_mm": round(s, 2),
                    }
                    for c, a, b, s in rows
                ]
            }
        )
        return
    if not rows:
        say("No corner of the frame is in the picture: tilt or recess the camera for this one picture.")
        return
    say(f"{len(rows)} corners of the frame are in the picture; mark one with --mark.")
    table(
        ("part", "x, y, z mm", "expected pixel", "moves per mm"),
        [
            (c.label, ",".join(f"{v:g}" for v in c.at), f"{a:.0f},{b:.0f}", f"{s:.0f} pixels")
            for c, a, b, s in rows
        ],
        right="lrrr",
    )


def _trim(
    workshop: Workshop,
    quad: str,
    file: Path,
    plate: str | None,
    recess: list[float] | None,
    tilt: list[float] | None,
    *,
    as_json: bool,
) -> None:
    from crashworthy.cautions import CAUTIONS

    kind = file.suffix.lower().lstrip(".")
    at = [None if v is None else v[0] for v in (recess, tilt)]
    name, written = workshop.trim_file(quad, kind, plate, *at)
    try:
        file.write_bytes(written)
    except OSError as problem:
        raise typer.BadParameter(f"cannot write {file}: {problem.strerror}") from None
    cuts = workshop.trims(quad, *at)
    if as_json:
        print_json({"file": str(file), "plate": name, "trims": [t.to_json() for t in cuts]})
        return
    say(f"Wrote {file}: plate {name}, true to size.")
    table(
        ("plate", "take off", "of it"),
        [(t.label, f"{t.area:.0f} mm²", f"{100 * t.share:.1f} %") for t in cuts],
        right="lrr",
    )
    caution(CAUTIONS["carbon"].text)


def _thick(radius: float) -> str:
    return f"{2e3 * radius:.0f} mm" if math.isfinite(radius) else "wall"


def _words(found: TradeOff) -> None:
    say(found.summary())
    if found.best.row is not None:
        say(f"There: {found.best.row.summary()}")
    say(found.doubt)
    table(
        ("tilt", "recess mm", "cage", "props", "other", "ball", "pole", "stub from", "wall off"),
        [
            (
                f"{r.tilt:g}",
                f"{r.recess:g}",
                f"{100 * r.cage:.1f} %",
                f"{100 * r.props:.1f} %",
                f"{100 * r.others:.1f} %",
                _thick(r.ball),
                _thick(r.pole),
                f"{100 * r.open:.1f} %",
                f"{1e3 * r.flat_gap:.0f} mm",
            )
            for r in found.rows
        ],
        right="rrrrrrrrr",
    )
    table(
        ("tilt", f"deepest, cage {100 * found.limit:g} %", "ball", "pole"),
        [
            (
                f"{d.tilt:g}",
                "none" if d.recess is None else f"{d.recess:.1f} mm",
                "" if d.row is None else _thick(d.row.ball),
                "" if d.row is None else _thick(d.row.pole),
            )
            for d in found.deepest
        ],
        right="rrrr",
    )
    say("Ball, pole: thickest that can touch the glass. Stub from: directions open to a 40 mm ball.")
