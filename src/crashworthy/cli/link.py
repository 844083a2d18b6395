"""`crashworthy link`: range of an antenna, two receivers, and places scored by survival and link."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from crashworthy.placement.budget import LinkSettings
    from crashworthy.workshop.seeing import AntennaReport

__all__ = ["link"]


def link(
    quad: Annotated[str, typer.Argument(help="A sheet file, or a quad of the fleet by its short name.")],
    antenna: Annotated[str | None, typer.Option("--for", help="Antenna; the first without.")] = None,
    distance: Annotated[float | None, typer.Option("--distance", help="Where margins are told, m.")] = None,
    power: Annotated[float | None, typer.Option("--power", help="Transmitter, dBm.")] = None,
    sensitivity: Annotated[float | None, typer.Option("--sensitivity", help="Receiver, dBm.")] = None,
    ground_gain: Annotated[
        float | None, typer.Option("--ground-gain", help="Antenna on the ground, dBi.")
    ] = None,
    reserve: Annotated[float | None, typer.Option("--reserve", help="Margin kept for fading, dB.")] = None,
    carbon: Annotated[float | None, typer.Option("--carbon", help="Loss through carbon, dB.")] = None,
    metal: Annotated[float | None, typer.Option("--metal", help="Loss through metal and pack, dB.")] = None,
    hand: Annotated[float | None, typer.Option("--hand", help="Most between opposite hands, dB.")] = None,
    cross: Annotated[float | None, typer.Option("--cross", help="Most between crossed antennas, dB.")] = None,
    ground: Annotated[
        str | None, typer.Option("--ground", help="On the ground: vertical, horizontal, lhcp or rhcp.")
    ] = None,
    towards: Annotated[
        str,
        typer.Option("--scenario", help="Where obstacles come from: even, everyday, campaign or a file."),
    ] = "even",
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say how far an antenna is heard, what a second receiver adds, and where it survives best.

    Every figure of the link is an assumption until you give yours.

    Example: crashworthy link examples/gannet.toml --for control_l --carbon 15
    """
    from crashworthy.placement.budget import LinkSettings

    whole = {
        "distance": distance, "power": power, "sensitivity": sensitivity, "ground_gain": ground_gain,
        "reserve": reserve,
    }  # fmt: skip
    losses = {"carbon": carbon, "metal": metal, "hand": hand, "cross": cross, "ground": ground}
    with opened(data, store) as workshop:
        rows = workshop.find(quad).sheet.antennas
        name = antenna if antenna is not None else next(iter(rows), None)
        settings = None
        if name in rows:
            usual = LinkSettings.of(rows[name])
            settings = replace(usual, losses=replace(usual.losses, **_given(losses)), **_given(whole))
        found = workshop.antenna(quad, name, settings, towards=towards)
    if as_json:
        print_json(found.to_json())
        return
    _words(found, found.link.settings)


def _given(values: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in values.items() if v is not None}


def _words(found: AntennaReport, s: LinkSettings) -> None:
    say(found.summary())
    say(found.link.summary())
    table(
        ("place", "touched first", "range", "margin", ""),
        [
            (
                p.words,
                f"{100 * p.share:.2f} %",
                f"{p.link.tenth:.0f} m",
                f"{p.link.margin:+.1f} dB",
                "no room" if not p.fits else "best" if p.best else "beaten",
            )
            for p in found.spots
        ],
        right="lrrrl",
    )
    for pair in (*found.pairs, *((found.second,) if found.second is not None else ())):
        say(pair.summary())
    say(
        f"Range: in nine directions of ten where the pilot is. Margin: at {s.distance:g} m, in the "
        "tenth worst."
    )
    say("Best: no other place with room is both touched less and heard farther.")
    say(
        f"Assumptions: {s.power:g} dBm, {s.sensitivity:g} dBm, ground {s.ground_gain:g} dBi, reserve "
        f"{s.reserve:g} "
        f"dB, carbon {s.losses.carbon:g}, metal {s.losses.metal:g}, hands {s.losses.hand:g}, crossed "
        f"{s.losses.cross:g} dB. Line of sight only."
    )
