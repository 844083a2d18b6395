"""Speed telemetry as shaft angles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Shafts", "alias"]


@dataclass(frozen=True, slots=True)
class Shafts:
    """Speed telemetry as shaft angles at any time.

    Speeds are joined by straight lines; the angle is their exact integral.

    Attributes:
        t: (k,) times of the updates, s, the lag taken off.
        speed: (k, m) turns a second.
        turns: (k, m) turns since the first update.
        hole: an interval longer than this is a hole in the telemetry, s.
        inferred: whether the speeds were worked out from the motors' commands instead of measured.
    """

    t: Floats
    speed: Floats
    turns: Floats
    hole: float
    inferred: bool = False

    @classmethod
    def of(
        cls, t: Floats, speed: Floats, lag: float = 0.0, scale: float = 1.0, *, inferred: bool = False
    ) -> Shafts:
        """Integrate speeds (k, m) in Hz known at ``t`` that are ``lag`` seconds late."""
        speed = np.ascontiguousarray(speed * scale)
        step = np.diff(t)
        turns = np.zeros_like(speed)
        np.cumsum(0.5 * (speed[1:] + speed[:-1]) * step[:, None], axis=0, out=turns[1:])
        hole = max(4.0 * float(np.median(step)), 0.1) if len(step) else 0.0
        return cls(t - lag, speed, turns, hole, inferred)

    def at(self, t: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Angles (n, m) in turns, speeds (n, m) in Hz, and where both are known (n,)."""
        i = np.clip(np.searchsorted(self.t, t, side="right") - 1, 0, len(self.t) - 2)
        width = self.t[i + 1] - self.t[i]
        u = t - self.t[i]
        slope = (self.speed[i + 1] - self.speed[i]) / width[:, None]
        known = (u >= 0.0) & (u <= width) & (width <= self.hole)
        f = self.speed[i] + slope * u[:, None]
        return self.turns[i] + self.speed[i] * u[:, None] + 0.5 * slope * (u**2)[:, None], f, known


def alias(f: float, fs: float) -> float:
    """Where a line at ``f`` shows in a record of ``fs`` samples a second: |f - fs·round(f/fs)|, Hz.

    Source: sampling theorem (Shannon, Proc. IRE 37, 1949); the fold about fs/2.
    """
    return abs(f - fs * round(f / fs))
