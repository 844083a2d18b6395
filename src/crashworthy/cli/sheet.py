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
        Path, typer.Argument(help="The sheet file: made when absent, else taken into the fleet.")
    ],
    name: Annotated[str | None, typer.Option("--name", help="Name of the quad in a new sheet.")] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Write a first build sheet to edit; or, when the file is there, take its quad into the fleet.

    Example: crashworthy new myquad.toml --name "My quad"
    """
    if not sheet.exists():
        from crashworthy.build.starter import starter

        text = starter(name or sheet.stem)
        try:
            sheet.parent.mkdir(parents=True, exist_ok=True)
            sheet.write_text(text, encoding="utf-8")
        except OSError as problem:
            raise typer.BadParameter(f"cannot write {sheet}: {problem.strerror}") from None
        if as_json:
            print_json({"sheet": str(sheet), "written": True})
        else:
            say(f"Wrote {sheet}: edit it, look with `crashworthy build {sheet}`,")
            say(f"then `crashworthy new {sheet}` takes the quad into the fleet.")
        return
    from crashworthy.build.reading import read_text

    with opened(data, store) as workshop:
        slug = workshop.add_quad(read_text(sheet), sheet)
        quad = workshop.quad(slug)
    if as_json:
        print_json({"quad": slug, **_facts(quad)})
    else:
        say(f"{quad.name} is in the fleet as {slug!r}. {_sentence(quad)}")


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


def _sentence(quad: Quad) -> str:
    x, y, z = quad.mass_properties.cog * 1e3
    weighed = "" if quad.weighed is None else f" of {quad.weighed * 1e3:.0f} g weighed"
    return (
        f"{quad.name}: {quad.mass * 1e3:.0f} g{weighed} in {len(quad.parts)} parts, "
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
