"""A second simulated flight, for whoever wants to drop a log: the front right prop is bent. Invented."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crashworthy.demo.flight import simulate_flight

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.demo.flight import SimulatedFlight

__all__ = ["BENT_TRACK", "BENT_UNBALANCE", "bent_flight"]

BENT_UNBALANCE: Final = (2.0, 14.0, 2.8, 2.4)
"""Unbalance by corner (front left, front right, rear left, rear right), g mm."""

BENT_TRACK: Final = (0.02, 0.25, 0.02, 0.02)
"""Once-a-turn thrust change by corner at 300 turns a second, N."""


def bent_flight(quad: Quad, seconds: float = 20.0, seed: int = 31) -> SimulatedFlight:
    """A flight with a bent prop front right that has lost a chip, the rest sound.

    Args:
        quad: whose inertia and motor places are used.
        seconds: how long.
        seed: of the random numbers.
    """
    motors = getattr(quad.sheet, "motors", None)
    return simulate_flight(
        quad,
        seconds,
        seed,
        BENT_UNBALANCE,
        track_n=BENT_TRACK,
        log_order=tuple(getattr(motors, "log_order", ("fl", "fr", "rl", "rr"))),
        spin=str(getattr(motors, "spin", "in")),
        blades=int(getattr(getattr(quad.sheet, "props", None), "blades", 3) or 3),
    )
