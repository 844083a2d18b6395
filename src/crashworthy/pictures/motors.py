"""Picture of a flight log's four motors: unbalance and verdict of each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from crashworthy.pictures import gauges

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["STATES", "motor_card"]

CORNERS: Final = {"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}
STATES: Final = {
    "stands out": "dense",
    "in line": "open",
    "no reference": "sparse",
    "not separable": "sparse",
}


def motor_card(report: Mapping[str, Any]) -> str:
    """The four-motor picture of a report, or "" when it has no four cards."""
    cards = {m["corner"]: m for m in report["motors"]}
    if set(cards) != set(CORNERS):
        return ""
    return gauges.motor_card(
        [
            gauges.MotorSpot(
                corner=words,
                value="not told"
                if cards[c]["unbalance_g_mm"] is None
                else f"{cards[c]['unbalance_g_mm']:.1f} g mm",
                words=cards[c]["verdict"],
                state=STATES.get(cards[c]["verdict"], "sparse"),
            )
            for c, words in CORNERS.items()
        ],
        title="Apparent unbalance of the four motors",
    )
