"""`crashworthy crash`: crash a build many times and say what is hit and what breaks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.assumed import say_assumed
from crashworthy.cli.options import (
    Cluster,
    Data,
    Json,
    ScenarioName,
    Store,
    Strengths,
    Workers,
    opened,
    scenario_of,
)
from crashworthy.cli.output import print_json, progress_bar, say, table
from crashworthy.cli.watched import plus_minus, say_watched, share_of

if TYPE_CHECKING:
    from crashworthy.upkeep.learned import Learned

__all__ = ["crash"]

MOST = 16
"""Parts shown unless all are asked for."""


def crash(
    quad: Annotated[
        str, typer.Argument(help="A sheet file (*.toml), or a quad of the fleet by its short name.")
    ],
    n: Annotated[int, typer.Option("--n", "-n", help="How many crashes.")] = 2000,
    seed: Annotated[int, typer.Option("--seed", help="Same seed, same answer.")] = 1,
    scenario: ScenarioName = None,
    strengths: Strengths = "mine",
    fracture: Annotated[
        bool, typer.Option(help="Run the first crashes again with arms and props that break, to show both.")
    ] = True,
    worst: Annotated[
        str | None,
        typer.Option("--worst", help="List the worst crashes: for a part by name, 'all' or 'boards'."),
    ] = None,
    replay: Annotated[
        int | None,
        typer.Option("--replay", help="Bring one crash back by its number; seed and scenario as it was run."),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", help="With --replay: .json, .png or .svg of moments, .glb of the film."
        ),
    ] = None,
    strikes: Annotated[
        Path | None, typer.Option("--strikes", help="Write the strike map: .json, .png or .glb.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option("--report", help="Write the one-page report: .html or .pdf.")
    ] = None,
    watch: Annotated[
        list[str] | None,
        typer.Option(
            "--watch",
            help='A rare hit to know well: a part or kind ("lens", "antennas"), one by one obstacle '
            '("lens by spike"), or "rare" for the fragile parts seldom touched. May be repeated.',
        ),
    ] = None,
    until: Annotated[
        str,
        typer.Option(
            "--until", help='Stop when the answers are known to this, such as "5%"; then --n is the most.'
        ),
    ] = "",
    points: Annotated[
        int | None,
        typer.Option(
            "--points",
            min=50,
            max=20_000,
            help="Contact points of a sheet file: 1200 without; 300 is a quick draft.",
        ),
    ] = None,
    workers: Workers = None,
    cluster: Cluster = None,
    every_part: Annotated[bool, typer.Option("--all-parts", help="Show every part that is hit.")] = False,
    assumptions: Annotated[
        bool,
        typer.Option(
            "--assumptions",
            help="List what was taken for granted: the mix, the flight, each surface; sources.",
        ),
    ] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Crash a build in simulation: which part is hit, how hard, what breaks per hundred crashes.

    A quad of the fleet keeps its result for the other commands and the app; a sheet file stays out of the
    fleet. Finished chunks are kept in the data folder, so asking the same again is quick.

    Example: crashworthy crash examples/gannet.toml --n 2000 --seed 7 --report gannet.pdf

    Example: crashworthy crash examples/gannet.toml --watch rare --n 10000 --until 10%
    """
    from crashworthy.cli import crash_show
    from crashworthy.impact.assumptions import assumed

    if replay is None and output is not None:
        raise typer.BadParameter("-o belongs to --replay; use --report or --strikes for a whole campaign")
    crash_show.check_endings(output, strikes, report)
    if points is not None and not quad.endswith(".toml"):
        raise typer.BadParameter(
            "--points is for sheet files; a quad of the fleet is crashed at its own points"
        )
    told: dict[str, Any] = {}
    options: dict[str, Any] = {
        "fracture": fracture, "watch": tuple(watch or ()), "until": share_of(until), "workers": workers,
    }  # fmt: skip
    with opened(data, store, cluster) as workshop:
        mix = scenario_of(workshop, quad, scenario)
        build = workshop.find(quad, points)
        if replay is not None:
            crash_show.show_replay(build, replay, seed, mix, output, as_json=as_json)
            return
        learned = None
        with progress_bar("crashing") as progress:
            if quad.endswith(".toml"):
                batch, broken = workshop.crash_both(build, n, seed, mix, progress=progress, **options)
                summary = batch.summarise(broken=broken).to_json() | {"strengths": "tabled"}
                summary["assumed"] = assumed(mix, build).to_json()
                about = ["Strengths: as tabled (a sheet file has no journal)."]
            else:
                campaign = workshop.crash_test(quad, n, seed, mix, progress=progress, **options)
                summary = workshop.corrected_summary(campaign, strengths, progress=progress)
                batch = workshop.believed_batch(campaign)
                learned = workshop.learned(quad)
                about = [_strengths(learned, summary)]
                if scenario == "mine":
                    about.append(f"Scenario: mine. {workshop.mine(quad).summary()}")
        if worst is not None:
            told["worst"] = crash_show.worst_of(batch, worst)
        if strikes is not None or report is not None:
            told |= crash_show.write_files(build, batch, summary, mix, strikes, report, quad, scenario)
    if as_json:
        print_json(summary | told | ({} if learned is None else {"learned": learned.to_json()}))
        return
    _words(summary, every_part, about)
    say_assumed(summary["assumed"], whole=assumptions)
    crash_show.say_more(told)
    if not told:
        say(f"Next: `crashworthy improve {quad}` ranks what to change,")
        say(f"`crashworthy place {quad}` what to move,")
        say(f"`crashworthy torque {quad}` says how tight.")


def _strengths(learned: Learned, summary: dict[str, Any]) -> str:
    """On which strengths the answer stands, and how to have the others."""
    if summary["strengths"] == "tabled":
        other = " (--strengths mine takes what your crashes say)" if learned.kinds else ""
        return f"Strengths: as tabled{other}."
    return f"{learned.head[:1].upper()}{learned.head[1:]} (--strengths tabled leaves them out)."


def _words(summary: dict[str, Any], every_part: bool, about: Sequence[str]) -> None:
    say(str(summary["summary"]))
    for line in about:
        say(line)
    say_watched(summary)
    say()
    parts = [p for p in summary["parts"] if p["hit"] > 0 or p["breaks"] > 0]
    parts.sort(key=lambda p: (-p["breaks"], -p["hit"]))
    fracture = summary.get("fracture")
    both = {b["name"]: b for b in fracture["parts"]} if fracture else {}
    shown = parts if every_part else parts[:MOST]
    table(
        ("of 100", "hit", "first", "N 90 %", "load", "break", "interval", "fract."),
        [
            (
                p["label"],
                plus_minus(100 * p["hit"], 100 * p["hit_low"], 100 * p["hit_high"]),
                f"{100 * p['first']:.1f}",
                f"{p['force']['p90']:.0f}",
                f"{p['utilisation']['p90']:.2f}",
                f"{100 * p['breaks']:.2f}",
                f"{100 * p['breaks_low']:.2f}-{100 * p['breaks_high']:.2f}",
                f"{both[p['name']]['fracture']:.2f}" if p["name"] in both else "",
            )
            for p in shown
        ],
        right="lrrrrrrr",
    )
    if len(parts) > len(shown):
        say(f"... and {len(parts) - len(shown)} more parts that seldom break: --all-parts shows them.")
    say()
    limbs = summary.get("limbs", [])
    if limbs:
        table(
            ("antennas, leads, soft mounts", "load/str., 90 %", "99 %", "travel, mm", "break", "how"),
            [
                (
                    x["label"],
                    f"{x['utilisation']['p90']:.2f}",
                    f"{x['utilisation']['p99']:.2f}",
                    f"{x['travel']['p90']:.0f}",
                    f"{100 * x['breaks']:.2f}",
                    x["mode"],
                )
                for x in limbs
            ],
            right="lrrrrl",
        )
        say()
    shock = summary["shock"]
    say(
        f"Boards on their mount: {shock['p50']:.0f} g "
        f"({shock['p50_low']:.0f}-{shock['p50_high']:.0f}) in half of the crashes, "
        f"{shock['p99']:.0f} g ({shock['p99_low']:.0f}-{shock['p99_high']:.0f}) in one of 100."
    )
    say("Hit and g: with 95 % intervals of the sampling; those of first and N are in --json.")
    say("N 90 %: contact force that 9 of 10 hits stay below. Load: the same for load over strength.")
    say(f"Break: if nothing else broke; {summary['interval']}.")
    if fracture:
        say(f"Fract.: the same with fracture, over the first {fracture['n']} crashes. {fracture['summary']}")
        say(f"{fracture['meaning']}.")
        if fracture.get("strengths", "tabled") != summary["strengths"]:
            say("Fract. is at the strengths as tabled, break at those your crashes say.")
    say(summary["first_touch"]["summary"])
    say("Newtons are model values; trust the ranking and load over strength first.")
    if summary["missed"] > 0:
        say(f"In {100 * summary['missed']:.2f} % of the crashes nothing was touched; they count as crashes.")
    if summary["unreliable"] > 0:
        say(f"{100 * summary['unreliable']:.2f} % of the crashes did not close their energy audit.")
