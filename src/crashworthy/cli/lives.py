"""`crashworthy lives` and `look`: what is worn, and where to look after a crash."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import caution, print_json, say, table

if TYPE_CHECKING:
    from crashworthy.upkeep.retire import PartWear

__all__ = ["lives", "look"]


def lives(
    quad: Annotated[str, typer.Argument(help="A quad of the fleet by its short name.")],
    every: Annotated[
        bool, typer.Option("--all", help="List every part, not only arms, motors and what is not to keep.")
    ] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say which parts to keep, watch or retire, what each has lived through, and why.

    Example: crashworthy lives gannet
    """
    from crashworthy.cautions import CAUTIONS

    with opened(data, store) as workshop:
        report = workshop.wear(quad)
    if as_json:
        print_json(report.to_json())
        return
    say(report.summary())
    rows = [p for p in report.parts if every or p.verdict != "keep" or p.kind in ("arm", "motor")]
    table(
        ("part", "verdict", "packs", "crash", "used", "left", "stiff", "in 20", "mend"),
        [
            (
                p.name,
                p.verdict,
                "-" if p.life is None else p.life.lived.packs,
                "-" if p.life is None else p.life.crashes,
                _used(p),
                "-" if p.worn is None else f"{100 * p.worn.left[1]:.0f}-{100 * p.worn.left[2]:.0f} %",
                _stiff(p),
                "-" if p.p_day is None else f"{100 * p.p_day:.0f} %",
                "-" if p.keep_cost is None else f"{p.keep_cost:.0f}",
            )
            for p in rows
        ],
        right="llrrrrrrr",
    )
    for p in rows:
        # What one quad's counts cannot say: a marked part carries its life from frame to frame.
        if p.life is not None and len({slug for slug, _ in p.life.places}) > 1:
            say(f"{p.label[:1].upper()}{p.label[1:]}: {p.life.summary()}.")
    for p in rows:
        if p.verdict != "keep":
            say(p.summary())
    for text in report.ageing.values():
        say(f"{text[:1].upper()}{text[1:]}.")
    if report.frame is not None:
        say(report.frame.summary())
    if not any(p.damage for p in report.parts):
        say("Damage and break rates need a crash test of this build: run `crashworthy crash`.")
    say("In 20: chance that it breaks in 20 crashes. Mend: bench minutes in 100 crashes if kept.")
    if any(p.worn for p in report.parts):
        say("Used, left (of its strength, 5-95 %), stiff: by its own crashes and taps together.")
    say("This is no statement that a part is safe: your own eyes and fingers come first.")
    caution(CAUTIONS["carbon"].text)


def _used(p: PartWear) -> str:
    damage = p.damage if p.worn is None else p.worn.damage
    if damage is None:
        return "-"
    return f"{100 * damage[0]:.0f} %" if damage[0] >= 0.005 else "< 1 %"


def _stiff(p: PartWear) -> str:
    if p.worn is not None and p.worn.stiffness is not None:
        return f"{100 * p.worn.stiffness[0]:.0f} %"
    return "-" if p.stiffness is None else f"{100 * p.stiffness.ratio:.0f} %"


def look(
    quad: Annotated[str, typer.Argument(help="A quad of the fleet by its short name.")],
    severity: Annotated[str, typer.Option("--severity", help="scuff, hit or slam; any without.")] = "",
    obstacle: Annotated[
        str, typer.Option("--obstacle", help="An obstacle of the crash test, such as wall; any without.")
    ] = "",
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """List what to look at first after a crash, from the simulated crashes of that kind.

    Example: crashworthy look gannet --severity slam --obstacle wall
    """
    from crashworthy.cautions import CAUTIONS
    from crashworthy.upkeep.crash_loads import screw_words

    with opened(data, store) as workshop:
        rows = workshop.look_first(quad, severity, obstacle)
        screws = workshop.screws_first(quad, severity, obstacle) if rows else ()
        head = workshop.learned(quad).head
    if as_json:
        print_json([{n: getattr(r, n) for n in r.__slots__} for r in rows])
        return
    if not rows:
        say(f"{quad} as it is now has not been crashed: run `crashworthy crash {quad}` first.")
        raise typer.Exit(1)
    kind = " ".join(x for x in (severity or "crash", f"into {obstacle}" if obstacle else "") if x)
    first = ", ".join(r.label for r in rows[:3])
    say(f"After a {kind} look here first: {first}; {rows[0].label} is {rows[0].why}.")
    table(
        ("look", "part", "hit", "half its strength", "past its strength"),
        [
            (
                number,
                r.label,
                f"{100 * r.hit:.0f} %",
                f"{100 * r.near:.0f} %",
                f"{100 * r.broken:.0f} %",
            )
            for number, r in enumerate(rows, start=1)
        ],
        right="rlrrr",
    )
    say(f"{head[:1].upper()}{head[1:]}.")
    say(screw_words(screws) or "Then the arm and motor screws.")
    say("A slam makes the arm and motor screws due.")
    caution(CAUTIONS["crashed-pack"].text)
