"""What `crashworthy crash --assumptions` lists: every number taken for granted, with its source."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from crashworthy.cli.output import say, table

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["say_assumed"]


def say_assumed(told: Mapping[str, Any], *, whole: bool) -> None:
    """The numbers with their sources, or one line that says how to see them.

    Args:
        told: ``Assumed.to_json()``.
        whole: list everything.
    """
    say(f"Assumed: {told['summary']}{'' if whole else ' --assumptions lists them.'}")
    if not whole:
        return
    say()
    table(
        ("of 100 crashes", "", "what", "sizes", "source"),
        [
            (r["name"], f"{100 * r['share']:.1f}", f"{r['kind']}, {r['surface']}", r["sizes"], r["source"])
            for r in told["mix"]
        ],
        right="lrlll",
    )
    say()
    table(("flight", "taken as", "source"), [(r["what"], r["how"], r["source"]) for r in told["flight"]])
    say()
    _surfaces("surface", told["surfaces"])
    if told["skins"]:
        say()
        _surfaces("skin of", told["skins"])
    say()
    say("GPa/m: stiffness, pressure for each metre pressed in. Rebound: restitution. Brackets: range.")
    if told["alike"]:
        say(f"Of all: {told['alike']}.")
    say(f"Contact: {told['together']}.")


def _surfaces(title: str, found: Sequence[Mapping[str, Any]]) -> None:
    met = any(s["share"] for s in found)
    table(
        (title, *(("of 100",) if met else ()), "GPa/m", "crush, MPa", "rebound", "friction"),
        [
            (s["name"], *((f"{100 * s['share']:.0f}",) if met else ()), *(n["figures"] for n in s["numbers"]))
            for s in found
        ],
        right="lrllll" if met else "lllll",
    )
    for s in found:
        say(f"{s['name']}: {s['sources']}.")
