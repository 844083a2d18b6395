"""`crashworthy new` and `build`: start a build sheet, see what it describes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad

__all__ = ["build", "new"]


def new(
    sheet: Annotated[
        Path | None,
        typer.Argument(
            help="The sheet file: made when absent, else taken into the fleet; or a shared page (*.html)."
        ),
    ] = None,
    name: Annotated[
        str | None, typer.Option("--name", help="Name of the quad in a new sheet, or of a shared build.")
    ] = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Ask a dozen questions; so it does in a terminal without a sheet.")
    ] = False,
    given: Annotated[
        list[str] | None,
        typer.Option("--set", help="Answer a question beforehand, KEY=VALUE, such as wheelbase=226."),
    ] = None,
    drop: Annotated[
        list[Path] | None,
        typer.Option(
            "--drop", help="DXF of the bottom plate, or STL, 3MF, OBJ, STEP of a part; may be given often."
        ),
    ] = None,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Put this sheet in the place of the quad of its name; journal kept."),
    ] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Write a first build sheet; or, when the file is there, take its quad into the fleet.

    Example: crashworthy new myquad.toml --ask

    Example: crashworthy new myquad.toml --replace
    """
    import sys

    from crashworthy.cli import asking

    if sheet is not None and sheet.suffix.lower() in (".html", ".htm") and sheet.exists():
        _take_shared(sheet, name, data, store, as_json=as_json)
        return
    if sheet is None and not (ask or given or drop) and not sys.stdin.isatty():
        raise typer.BadParameter("name a sheet file, or add --ask to be asked", param_hint="SHEET")
    wanted = ask or bool(given) or bool(drop) or sheet is None
    if wanted and (sheet is None or not sheet.exists()):
        talk = ask or (sheet is None and sys.stdin.isatty())
        with opened(data, store) as workshop:
            asking.new_sheet(workshop, sheet, name, given or [], drop or [], talk=talk, as_json=as_json)
        return
    assert sheet is not None  # noqa: S101 - every way without one has left
    if wanted:
        raise typer.BadParameter(f"{sheet} is there already; take another name", param_hint="SHEET")
    if not sheet.exists():
        from crashworthy.build.starter import starter

        asking.write(sheet, starter(name or sheet.stem))
        if as_json:
            print_json({"sheet": str(sheet), "written": True})
        else:
            say(f"Wrote {sheet}: edit it, look with `crashworthy build {sheet}`,")
            say(f"then `crashworthy new {sheet}` takes the quad into the fleet.")
            say("To be asked instead of editing: `crashworthy new --ask`.")
        return
    from crashworthy.build.reading import read_text

    with opened(data, store) as workshop:
        take = workshop.replace_quad if replace else workshop.add_quad
        slug = take(read_text(sheet), sheet)
        quad = workshop.quad(slug)
    _taken(slug, quad, as_json=as_json)


def _taken(slug: str, quad: Quad, *, as_json: bool) -> None:
    if as_json:
        print_json({"quad": slug, **_facts(quad)})
    else:
        say(f"{quad.name} is in the fleet as {slug!r}. {_sentence(quad)}")
        say(f"Crash it: `crashworthy crash {slug}`. In the browser: `crashworthy serve`.")


def _take_shared(
    page: Path, name: str | None, data: Path | None, store: str | None, *, as_json: bool
) -> None:
    """A build that somebody shared as a page."""
    with opened(data, store) as workshop:
        slug = workshop.add_shared(page.read_bytes(), name)
        quad = workshop.quad(slug)
    _taken(slug, quad, as_json=as_json)


def build(
    quad: Annotated[
        str, typer.Argument(help="A sheet file (*.toml), or a quad of the fleet by its short name.")
    ],
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say what a build sheet describes: parts, mass, centre of gravity, inertia, what is missing.

    Example: crashworthy build examples/gannet.toml
    """
    if quad.endswith(".toml"):
        from crashworthy.build.assemble import load

        found = load(Path(quad))
    else:
        with opened(data, store) as workshop:
            found = workshop.quad(quad)
    if as_json:
        print_json(_facts(found))
        return
    say(_sentence(found))
    kinds: dict[str, list[float]] = {}
    for part in found.parts:
        kinds.setdefault(part.kind, []).append(part.mass * 1e3)
    table(
        ("kind", "parts", "g"),
        [(kind, len(m), f"{sum(m):.1f}") for kind, m in sorted(kinds.items(), key=lambda x: -sum(x[1]))],
        right="lrr",
    )
    for note in found.notes:
        say(f"- {note}")
    if quad.endswith(".toml"):
        say(f"Next: `crashworthy crash {quad}`; `crashworthy new {quad}` takes it into the fleet.")


def _sentence(quad: Quad) -> str:
    x, y, z = quad.mass_properties.cog * 1e3
    weighed = "" if quad.weighed is None else f" of {quad.weighed * 1e3:.0f} g weighed"
    return (
        f"{quad.name}: {quad.mass * 1e3:.0f} g{weighed} in {len(quad.pieces)} parts, "
        f"centre of gravity ({x:.1f}, {y:.1f}, {z:.1f}) mm."
    )


def _facts(quad: Quad) -> dict[str, Any]:
    body = quad.mass_properties
    return {
        "summary": _sentence(quad),
        "name": quad.name,
        "digest": quad.digest,
        "mass_g": round(body.mass * 1e3, 3),
        "weighed_g": None if quad.weighed is None else quad.weighed * 1e3,
        "missing_g": None if quad.missing is None else round(quad.missing * 1e3, 3),
        "cog_mm": [round(float(v) * 1e3, 3) for v in body.cog],
        "inertia_kg_mm2": [[round(float(v) * 1e6, 2) for v in row] for row in body.inertia],
        "contact_points": len(quad.points),
        "parts": [
            {"name": p.name, "label": p.label, "kind": p.kind, "mass_g": round(p.mass * 1e3, 3)}
            for p in quad.parts
        ],
        "joints": [{"name": j.name, "thread": j.thread, "screws": j.count} for j in quad.joints],
        "notes": list(quad.notes),
    }
