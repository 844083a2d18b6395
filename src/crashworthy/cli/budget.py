"""`crashworthy budget`: what the build can do in the air, and what each gram costs."""

from __future__ import annotations

from typing import Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import caution, print_json, say, table

__all__ = ["budget"]


def budget(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    energy: Annotated[float | None, typer.Option("--energy", help="Energy of a full pack, Wh.")] = None,
    thrust: Annotated[
        float | None, typer.Option("--thrust", help="Greatest thrust of one motor on your bench, g.")
    ] = None,
    rpm: Annotated[float | None, typer.Option("--rpm", help="Speed at full throttle, rpm.")] = None,
    merit: Annotated[float | None, typer.Option("--merit", help="Figure of merit of the prop.")] = None,
    efficiency: Annotated[
        float | None, typer.Option("--efficiency", help="Efficiency of motor and controller, 0 to 1.")
    ] = None,
    usable: Annotated[float | None, typer.Option("--usable", help="Share of the pack flown, 0 to 1.")] = None,
    freestyle: Annotated[
        float | None, typer.Option("--freestyle", help="Mean freestyle power over hover power.")
    ] = None,
    height: Annotated[float, typer.Option("--height", help="Of the field above sea level, m.")] = 0.0,
    celsius: Annotated[float | None, typer.Option("--celsius", help="Air temperature of the day.")] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say how long the build hovers, on what power, and what each gram of armour costs in flight.

    Example: crashworthy budget gannet --thrust 1350 --rpm 29000
    """
    from crashworthy.cautions import CAUTIONS
    from crashworthy.quantities import G_N, GRAM, MM, RPM

    with opened(data, store) as workshop:
        found = workshop.flight_budget(
            quad,
            height=height,
            temperature=None if celsius is None else celsius + 273.15,
            energy=None if energy is None else energy * 3600.0,
            thrust=None if thrust is None else thrust * GRAM * G_N,
            speed=None if rpm is None else rpm * RPM,
            merit=merit,
            efficiency=efficiency,
            usable=usable,
            freestyle=freestyle,
        )
    if as_json:
        print_json(found.to_json())
        return
    say(found.summary())
    table(
        ("figure", "value", "how"),
        [(f.name, f.text(), f.why) for f in found.figures],
    )
    x, y, z = (v / MM for v in found.cog)
    say(f"Centre of gravity {x:.1f} mm forward, {y:.1f} mm left, {z:.1f} mm above the arms' underside.")
    say(
        f"Ten grams more: {10 * found.gram:.0f} s less hover, {10 * found.power_per_gram:.1f} W more; "
        "power goes with mass^1.5."
    )
    for text in found.missing:
        say(f"Not known: {text}.")
    for d in found.origin:
        say(f"  {d.name.replace('_', ' ')} {d.value:g} ({d.low:g}-{d.high:g}) {d.unit}: {d.source}".rstrip())
    caution(CAUTIONS["flying"].text)
