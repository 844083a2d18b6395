"""`crashworthy compare`: the same crashes for two builds, and what differs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

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

if TYPE_CHECKING:
    from crashworthy.impact.differences import Comparison, Difference

__all__ = ["compare"]


def compare(
    a: Annotated[str, typer.Argument(help="A sheet file (*.toml) or a quad of the fleet: as it is.")],
    b: Annotated[str, typer.Argument(help="A sheet file or quad to hold against it.")],
    n: Annotated[int, typer.Option("--n", "-n", help="How many crashes of each, at most.")] = 2000,
    seed: Annotated[int, typer.Option("--seed", help="Same seed, same answer.")] = 1,
    scenario: ScenarioName = None,
    strengths: Strengths = "mine",
    width: Annotated[
        float | None,
        typer.Option("--width", help="Stop when every interval is this narrow, breaks per 100 crashes."),
    ] = None,
    every_part: Annotated[bool, typer.Option("--all-parts", help="Show every part, not only kinds.")] = False,
    workers: Workers = None,
    cluster: Cluster = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Crash two builds with the same crashes: which breaks less, by how much, and is that sure.

    Example: crashworthy compare examples/gannet.toml examples/dunlin.toml --n 2000
    """
    with opened(data, store, cluster) as workshop, progress_bar("crashing both") as progress:
        found = workshop.compare_quads(
            a,
            b,
            n,
            seed,
            scenario_of(workshop, a, scenario),
            width=width,
            strengths=strengths,
            workers=workers,
            progress=progress,
        )
    if as_json:
        print_json(found.to_json())
        return
    _words(found, every_part)


def _words(found: Comparison, every_part: bool) -> None:
    from crashworthy.impact.differences import INTERVAL

    say(found.summary())
    say(f"{found.strengths[:1].upper()}{found.strengths[1:]}.")
    say()
    rows = [d for d in (found.parts if every_part else found.kinds) if max(d.a, d.b) >= 0.005]
    table(
        ("breaks in 100 crashes", _short(found.a), _short(found.b), "change", "90 % interval", "hits"),
        [_row(d) for d in rows],
        right="lrrrrr",
    )
    unknown = [d for d in found.kinds if not d.known and d.count_a and d.count_b and max(d.a, d.b) >= 0.005]
    for d in unknown[:4]:
        say(d.sentence(found.b))
    if found.arms is not None:
        say(found.arms.sentence(found.b))
    change = 1000.0 * (found.mass_b - found.mass_a)
    say(f"{found.b} weighs {abs(change):.0f} g {'more' if change >= 0 else 'less'}.")
    if found.n < found.asked:
        say(f"Stopped after {found.n} of {found.asked} crashes of each: the intervals were narrow enough.")
    say(f"Interval: {INTERVAL}.")
    say("hits: change of touches in 100 crashes.")


def _short(name: str) -> str:
    return name if len(name) <= 12 else name[:11] + "."


def _row(d: Difference) -> tuple[str, ...]:
    return (
        d.words,
        f"{d.a:.2f}" if d.count_a else "none",
        f"{d.b:.2f}" if d.count_b else "none",
        f"{d.change:+.2f}",
        f"{d.low:+.2f} to {d.high:+.2f}" if d.known else f"{d.low:+.2f} to {d.high:+.2f} ?",
        f"{d.hit_change:+.1f}",
    )
