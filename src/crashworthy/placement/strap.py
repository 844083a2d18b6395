"""The pack's strap: what friction holds, and what simulated crashes ask of it.

The strap's friction is the lashing formula over the top (as EN 12195-1 writes it, recalled): two legs of
tension T press pack on pad and strap on pack, so F = 2 T (mu_pad + mu_strap).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.cautions import CAUTIONS

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from crashworthy.build.quad import Quad
    from crashworthy.strength.capacity import Capacity

__all__ = ["MU_PAD", "MU_STRAP", "TENSION", "StrapDemand", "strap_demand"]

MU_PAD: Final = 0.6
"""Friction of a pack on a rubber pad (assumption; about 0.3 on bare carbon)."""

MU_STRAP: Final = 0.3
"""Friction of a strap on a pack's wrap (assumption)."""

TENSION: Final = 60.0
"""Pull in one leg of a strap drawn tight by hand, N (assumption)."""


@dataclass(frozen=True, slots=True)
class StrapDemand:
    """What many crashes ask of the strap.

    Attributes:
        n: crashes.
        quantiles: pull that half, nine in ten and ninety-nine in a hundred crashes stay below, N.
        friction: what a strap drawn tight by hand holds by friction alone, N.
        beyond: share of crashes that ask for more than that.
        tension: pull in each leg whose friction would hold nine crashes in ten, N.
        median: pull that throws half of such packs, N (an assumption of the strength tables).
        thrown: packs thrown in 100 crashes.
    """

    n: int
    quantiles: tuple[float, float, float]
    friction: float
    beyond: float
    tension: float
    median: float
    thrown: float

    @property
    def caution(self) -> str:
        """The fire caution that belongs beside a thrown pack."""
        return CAUTIONS["crashed-pack"].text

    def summary(self) -> str:
        """One sentence."""
        half, most, rare = self.quantiles
        return (
            f"Strap: half of {self.n} simulated crashes pull it with less than {half:.0f} N, nine in "
            "ten with less "
            f"than {most:.0f} N, one in a hundred with more than {rare:.0f} N; {100 * self.beyond:.0f} "
            "% ask for more "
            f"than the {self.friction:.0f} N that friction holds ({self.tension:.0f} N in each leg "
            "would hold nine "
            f"in ten, or something to lean on); "
            f"{self.thrown:.1f} packs are thrown in 100 crashes."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data, N."""
        return {
            "n": self.n,
            "pull_N": dict(zip(("p50", "p90", "p99"), (round(q, 1) for q in self.quantiles), strict=True)),
            "friction_N": round(self.friction, 1),
            "beyond_friction_share": round(self.beyond, 4),
            "tension_each_leg_N": round(self.tension, 1),
            "strength_median_N": round(self.median, 1),
            "thrown_per_100": round(self.thrown, 2),
            "summary": self.summary(),
            "caution": self.caution,
        }


def strap_demand(
    quad: Quad,
    pulls: ArrayLike,
    strength: Capacity,
    tension: float = TENSION,
    mu_pad: float = MU_PAD,
    mu_strap: float = MU_STRAP,
) -> StrapDemand | None:
    """The distribution of what crashes ask of the strap; None without pack or strap.

    Args:
        quad: the build.
        pulls: (n,) peak pull on the strap of each crash, N.
        strength: the strap's failure mode.
        tension: pull in one leg as drawn tight, N.
        mu_pad: friction of pack on pad.
        mu_strap: friction of strap on pack.
    """
    from scipy.special import ndtr

    pull = np.asarray(pulls, dtype=float)
    if not len(pull) or not any(p.kind == "strap" for p in quad.parts):
        return None
    friction = 2.0 * tension * (mu_pad + mu_strap)
    with np.errstate(divide="ignore"):
        chance = ndtr(np.log(pull / strength.median) / strength.beta)
    half, most, rare = (float(q) for q in np.quantile(pull, (0.5, 0.9, 0.99)))
    return StrapDemand(
        len(pull),
        (half, most, rare),
        friction,
        float((pull > friction).mean()),
        most / (2.0 * (mu_pad + mu_strap)),
        strength.median,
        100.0 * float(chance.mean()),
    )
