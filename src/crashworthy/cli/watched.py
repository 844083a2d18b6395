"""How a crash command takes and tells rare hits that are watched, and campaigns that stop early."""

from __future__ import annotations

from typing import Any

from crashworthy.cli.output import say, table
from crashworthy.errors import Problem, ScenarioError

__all__ = ["plus_minus", "say_watched", "share_of"]


def share_of(text: str) -> float:
    """A precision such as "5%" or "0.05" as a share; 0 for none.

    Raises:
        ScenarioError: it is no number.
    """
    plain = text.strip()
    if not plain:
        return 0.0
    try:
        return float(plain.rstrip("% ")) / 100.0 if plain.endswith("%") else float(plain)
    except ValueError:
        raise ScenarioError(
            Problem(f"{text!r} is no precision", 'write it like "5%" or 0.05', field="until")
        ) from None


def plus_minus(value: float, low: float, high: float) -> str:
    """A number with half of its interval, "48.4±2.2"."""
    return f"{value:.1f}±{0.5 * (high - low):.1f}"


def say_watched(summary: dict[str, Any]) -> None:
    """Where the campaign stopped, the rare hits, and what watching them was worth."""
    if summary.get("until"):
        n, asked = summary["n"], summary["asked"]
        head = (
            f"Stopped after {n} of {asked} crashes" if n < asked else f"All {n} crashes run without reaching"
        )
        say(f"{head}: {summary['until_words']}.")
    if not summary.get("watched"):
        return
    say()
    table(
        ("watched", "hit in 100", "95 % interval", "error", "counted", "worth"),
        [
            (
                w["name"],
                f"{100 * w['share']:.3f}",
                f"{100 * w['low']:.3f}-{100 * w['high']:.3f}",
                f"{100 * w['error']:.0f} %" if w["counted"] else "",
                w["counted"],
                f"{w['effective']:.0f}",
            )
            for w in summary["watched"]
        ],
        right="lrrrrr",
    )
    say(
        f"{summary['drawn']} crashes drawn, {summary['n']} simulated: those likely to hit what is watched "
        "more often, and they count less. Worth: plain crashes that would tell the share as well. "
        f"All other answers are about as sure as with {summary['effective']:.0f} plain crashes."
    )
