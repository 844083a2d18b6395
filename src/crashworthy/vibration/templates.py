"""What each cause does to the features of a flight: shifts of natural logarithms, for a usual case.

Set on simulated development flights (seeds below 100 000; see ``docs/verdict.md``): labelled assumptions, for
real quads may differ. Shifts scale with the strength of the case, spreads with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["CAUSES", "PRIOR_SD", "STRENGTHS", "TYPICAL", "Cause"]

STRENGTHS: Final = (0.4, 0.7, 1.0, 1.5)
"""Strengths of a case that are averaged over, 1 the usual one."""

PRIOR_SD: Final = MappingProxyType(
    {
        "unbalance": 0.12,
        "track": 0.25,
        "half": 0.25,
        "second": 0.25,
        "third": 0.25,
        "bearing": 0.20,
        "effort": 0.012,
        "arm_a": 0.003,
        "arm_b": 0.003,
        "floor": 0.05,
        "tone": 0.10,
        "stack": 0.12,
    }
)
"""Scatter between fine flights of one quad, natural logarithm. Assumption, pooled with the quad's own."""

TYPICAL: Final = MappingProxyType({"unbalance": (1.0, 0.45), "track": (-2.0, 0.6)})
"""Mean and scatter of a typical quad, for want of its own flights: 2.7 g mm, 0.14 N. Assumption."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause.

    Attributes:
        name: in words.
        own: whether it sits at one motor.
        moves: (shift, spread) by feature; "arm" is the resonance of the pair the motor's arm belongs to.
        needs: features of which at least one must be there.
        prior: odds against "fine" before looking (common practice, no source).
        most: "watch" when it may not be called without its own tone.
        look: what to look at.
    """

    name: str
    own: bool
    moves: Mapping[str, tuple[float, float]]
    needs: tuple[str, ...]
    prior: float
    look: str
    most: str = ""


CAUSES: Final = (
    Cause(
        "chipped prop",
        True,
        MappingProxyType(
            {
                "unbalance": (1.4, 0.35),
                "track": (0.1, 0.25),
                "second": (0.0, 0.1),
                "third": (0.0, 0.1),
            }
        ),
        ("unbalance",),
        0.02,
        "Look at the prop {where}: a chip or a crack; change it before flying on.",
    ),
    Cause(
        "bent prop",
        True,
        MappingProxyType(
            {
                "unbalance": (0.5, 0.3),
                "track": (2.2, 0.5),
                "second": (0.0, 0.1),
                "third": (0.0, 0.1),
            }
        ),
        ("track",),
        0.02,
        "Look at the prop {where} from the side while it is turned by hand: blades in one plane?",
    ),
    Cause(
        "loose motor screws",
        True,
        MappingProxyType(
            {
                "unbalance": (0.6, 0.4),
                "track": (0.0, 0.35),
                "half": (0.35, 0.3),
                "second": (2.0, 1.5),
                "third": (3.2, 1.0),
                "floor": (1.2, 0.5),
                "stack": (-0.8, 0.4),
                "bearing": (0.3, 0.3),
            }
        ),
        ("second", "third"),
        0.02,
        "Try the motor screws {where}, pack unplugged.",
    ),
    Cause(
        "loose arm screws",
        True,
        MappingProxyType(
            {
                "arm": (-0.042, 0.012),
                "track": (-0.1, 0.2),
                "unbalance": (0.0, 0.08),
            }
        ),
        (),
        0.02,
        "Try the arm screws {where} (or of the arm across), then tap the arms one by one.",
    ),
    Cause(
        "loose stack",
        False,
        MappingProxyType(
            {
                "stack": (2.4, 0.6),
                "all_unbalance": (-1.3, 0.5),
                "floor": (-0.3, 0.2),
                "tone": (0.6, 0.3),
            }
        ),
        ("stack",),
        0.01,
        "Try the stack's nuts and look at its soft mounts.",
    ),
    Cause(
        "worn bearing",
        True,
        MappingProxyType(
            {
                "bearing": (0.6, 0.25),
            }
        ),
        ("bearing",),
        0.01,
        "Spin the motor {where} by hand without its prop: grinding, or play of the bell?",
        "watch",
    ),
    Cause(
        "electrical noise",
        False,
        MappingProxyType(
            {
                "tone": (2.2, 0.8),
                "floor": (0.35, 0.3),
                "stack": (-0.2, 0.35),
            }
        ),
        ("tone", "floor"),
        0.01,
        "Look at the capacitor, the pack's solder joints and leads near the gyro.",
    ),
    Cause(
        "blades worn alike",
        True,
        MappingProxyType(
            {
                "effort": (0.03, 0.012),
                "unbalance": (0.0, 0.1),
            }
        ),
        ("effort",),
        0.01,
        "Compare the blades' length and edges {where} with a new prop.",
    ),
)
"""Every cause but "fine"."""
