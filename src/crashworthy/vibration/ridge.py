"""Motor speed from the spectrum alone, when neither speed nor command was logged.

A rotor leaves a comb: a line at its speed, at twice that, and at blade passing. In each short-time spectrum
the comb is laid at every speed, the log density over its surroundings is summed over the teeth, and the path
with the highest sum through the flight is taken (Viterbi, IEEE Trans. Inf. Theory 13, 1967). What is found is
the speed of the loudest comb, any motor's or several close together: no figure can be given to a motor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.shorttime import ShortTime

    Floats = NDArray[np.float64]

__all__ = ["Ridge", "ridge"]

SPAN: Final = (90.0, 520.0)
"""Speeds that are tried, Hz. Assumption: 5-inch quads."""

STEPS: Final = 300
MOST_STEP: Final = 0.08
"""Most that the speed changes from one segment to the next, as a share. Assumption."""

VISIBLE: Final = 0.7
"""Nats over the surroundings, mean over the teeth and the flight, from which a comb counts."""

WEIGHTS: Final = (0.5, 0.2, 0.3)
"""What the teeth at once, twice and blades times the speed count: unbalance is the surest. Assumption."""

CLEAR: Final = 0.3
"""Nats a tooth by which it must beat the combs at half, two thirds, 1.5 times and twice its speed."""


@dataclass(frozen=True, slots=True, eq=False)
class Ridge:
    """The loudest comb over a flight.

    Attributes:
        t: (s,) s.
        f: (s,) speed, Hz.
        error: standard error of one value, Hz, from how wide the comb is and how it scatters about its path.
        strength: nats over the surroundings, mean over teeth and flight.
        margin: nats a tooth by which it beats its next rival among simple ratios of its speed.
        rival: that ratio.
        blades: whose passing was among the teeth.
        moves: lines that stand still were taken off first; else a resonance of the frame can look alike.
    """

    t: Floats
    f: Floats
    error: float
    strength: float
    margin: float
    rival: float
    blades: int
    moves: bool

    @property
    def sure(self) -> bool:
        """Whether it moves with the throttle and no simple ratio of its speed does nearly as well."""
        return self.moves and self.margin >= CLEAR

    def summary(self) -> str:
        """One sentence."""
        low, middle, high = np.quantile(self.f, (0.05, 0.5, 0.95))
        text = (
            f"Loudest comb of lines at {middle:.0f} ± {self.error:.0f} Hz ({60 * middle:.0f} rpm), mostly "
            f"{low:.0f} to {high:.0f} Hz; which motor it is cannot be told."
        )
        if not self.moves:
            text += " It hardly moves, so it may be a resonance of the frame."
        elif not self.sure:
            text += f" It may as well be {self.rival:g} times that: the comb does not decide."
        return text

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "summary": self.summary(),
            "median_hz": round(float(np.median(self.f)), 2),
            "error_hz": round(self.error, 2),
            "strength_nats": round(self.strength, 3),
            "margin_nats": round(self.margin, 3),
            "rival": self.rival,
            "t_s": [round(float(x), 3) for x in self.t[:: max(1, len(self.t) // 400)]],
            "f_hz": [round(float(x), 2) for x in self.f[:: max(1, len(self.f) // 400)]],
        }


def _teeth(contrast: Floats, f: Floats, speed: Floats, orders: tuple[float, ...]) -> Floats:
    """Weighted mean contrast over the teeth of a comb at each speed, (s, k)."""
    out = np.zeros((len(contrast), len(speed)))
    step = f[1]
    weights = np.array(WEIGHTS[: len(orders)])
    for k, w in zip(orders, weights / weights.sum(), strict=True):
        place = np.clip(k * speed / step, 0, len(f) - 2)
        low = place.astype(np.int64)
        part = place - low
        out += w * ((1 - part) * contrast[:, low] + part * contrast[:, low + 1])
    return out


def _at(score: Floats, grid: Floats, f: Floats) -> Floats:
    """Score along a path, each segment at its own speed; nan outside the grid."""
    place = np.interp(np.log(f), np.log(grid), np.arange(len(grid)), left=np.nan, right=np.nan)
    good = np.isfinite(place)
    out = np.full(len(f), np.nan)
    rows = np.flatnonzero(good)
    out[rows] = score[rows, np.rint(place[rows]).astype(np.int64)]
    return out


def ridge(short: ShortTime, blades: int = 3) -> Ridge | None:
    """Follow the loudest comb; None when the log is too slow or short, or no comb stands out.

    Args:
        short: spectra, an axis wide enough for twice the speed.
        blades: of each prop.
    """
    from crashworthy.vibration.inferred import contrast

    if len(short.t) < 8 or short.f[-1] < 2.0 * SPAN[0]:
        return None
    level = contrast(short)
    # Lines that stand still are the frame's own, unless the whole flight was flown at one throttle.
    found = _follow(short, level - np.median(level, axis=0), blades, moves=True)
    return found or _follow(short, level, blades, moves=False)


def _follow(short: ShortTime, level: Floats, blades: int, *, moves: bool) -> Ridge | None:
    from crashworthy.vibration.inferred import best_path

    top = min(SPAN[1], 0.95 * short.f[-1])
    orders = tuple(k for k in (1.0, 2.0, float(blades)) if k * 0.6 * top <= short.f[-1])
    grid = np.exp(np.linspace(np.log(SPAN[0]), np.log(top), STEPS))
    score = _teeth(level, short.f, grid, orders)
    step = float(np.log(grid[1] / grid[0]))
    path = best_path(score, max(1, round(MOST_STEP / step)))
    rows = np.arange(len(path))
    f = grid[path]
    strength = float(score[rows, path].mean())
    if strength < VISIBLE:
        return None
    # Rivals: the same path at a simple ratio of the speed.
    wide = np.exp(np.linspace(np.log(0.45 * SPAN[0]), np.log(2.2 * top), STEPS * 2))
    every = _teeth(level, short.f, wide, orders)
    margins: dict[float, float] = {}
    for ratio in (0.5, 2.0 / 3.0, 1.5, 2.0):
        along = _at(every, wide, ratio * f)
        inside = np.isfinite(along) & (ratio * f * max(orders) < short.f[-1])
        if inside.mean() > 0.5 and SPAN[0] * 0.8 < ratio * float(np.median(f)) < SPAN[1] * 1.2:
            margins[ratio] = float((score[rows, path] - along)[inside].mean())
    rival = min(margins, key=lambda k: margins[k]) if margins else 1.0
    # Width of the comb: second moment of the score around the path, over ± 8 %.
    reach = round(0.08 / step)
    near = np.clip(path[:, None] + np.arange(-reach, reach + 1), 0, STEPS - 1)
    weight = np.clip(score[rows[:, None], near], 0.0, None) ** 2 + 1e-12
    spread = np.sqrt((weight * (grid[near] - f[:, None]) ** 2).sum(axis=1) / weight.sum(axis=1))
    margin = margins.get(rival, np.inf)
    return Ridge(short.t, f, float(np.median(spread)), strength, margin, round(rival, 2), blades, moves)
