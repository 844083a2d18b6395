"""Electrical resistance of the pack from voltage and current in flight.

V(t) = OCV(t) - R0·I(t) - R1·(I after a first-order lag of τ), by linear least squares; the slowly falling
OCV is a chain of straight lines with a knot every 8 s. A plain line through V over I, or first
differences, are biased by that fall and by noise, and are not used. Model: one RC element (Thevenin model
of a cell, e.g. Plett, Battery Management Systems I, 2015, ch. 2).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["CAVEAT", "KNOT", "PackResistance", "pack_resistance", "why_not"]

KNOT: Final = 8.0
"""Distance of the knots of the open-circuit voltage, s."""

TAU: Final = 6.0
"""Relaxation time taken, s. Assumption: R0 moves by about 1 % when it is off by a factor of two."""

SWING: Final = 2.0
"""Least standard deviation of the current within 8 s, A."""

CAVEAT: Final = (
    "Leads, plug and sensor are included. Resistance falls by about 1 to 2 % for each degree warmer "
    "(from memory): "
    "compare packs at like temperature."
)
"""Words that go with every figure."""


@dataclass(frozen=True, slots=True)
class PackResistance:
    """Result of the regression.

    Attributes:
        r0: instant resistance, Ω.
        error: its standard error, Ω, widened for residuals that hang together.
        r1: slow resistance, Ω.
        tau: relaxation time taken, s.
        residual: standard deviation of the rest, V.
        lowest: lowest voltage, V.
        mean_current: A.
        used: charge drawn while logged, mAh.
        seconds: how long.
        cells: in series, from the highest voltage (4.2 V a full cell; a pack of more than a third used may be
            taken for one cell less), 0 when it cannot be told.
    """

    r0: float
    error: float
    r1: float
    tau: float
    residual: float
    lowest: float
    mean_current: float
    used: float
    seconds: float
    cells: int = 0

    def summary(self) -> str:
        """One sentence."""
        return f"Pack resistance {self.r0 * 1e3:.1f} ± {self.error * 1e3:.1f} mΩ."

    def to_json(self) -> dict[str, Any]:
        """Plain values, mΩ, V, A, mAh."""
        return {
            "r0_mohm": round(self.r0 * 1e3, 3),
            "error_mohm": round(self.error * 1e3, 3),
            "r1_mohm": round(self.r1 * 1e3, 3),
            "tau_s": self.tau,
            "residual_v": round(self.residual, 4),
            "lowest_v": round(self.lowest, 3),
            "mean_current_a": round(self.mean_current, 2),
            "used_mah": round(self.used, 1),
            "seconds": round(self.seconds, 1),
            "cells": self.cells,
            "lowest_cell_v": round(self.lowest / self.cells, 3) if self.cells else None,
            "caveat": CAVEAT,
        }


def _hats(t: Floats) -> Floats:
    knots = np.linspace(t[0], t[-1], max(2, round((t[-1] - t[0]) / KNOT) + 1))
    return np.column_stack([np.interp(t, knots, row) for row in np.eye(len(knots))])


def _lagged(t: Floats, current: Floats, tau: float) -> Floats:
    """Current after a first-order lag, on an uneven clock (exact for steps held between samples)."""
    out = np.empty_like(current)
    state = float(current[0])
    keep = np.exp(-np.diff(t) / tau).tolist()
    out[0] = state
    for k, (a, i) in enumerate(zip(keep, current[:-1].tolist(), strict=True), start=1):
        state = a * state + (1.0 - a) * i
        out[k] = state
    return out


def why_not(t: Floats, amps: Floats) -> tuple[str, str]:
    """Why the resistance cannot be told, and what would change it; two empty texts when it can."""
    span = float(t[-1] - t[0]) if len(t) else 0.0
    if len(t) < 50 or span < 10.0:
        return f"only {len(t)} readings over {span:.0f} s", "log at least 10 s and 50 readings"
    hats = _hats(t)
    rest = amps - hats @ np.linalg.lstsq(hats, amps, rcond=None)[0]
    if rest.std() < SWING:
        return (
            f"the current hardly changes (± {rest.std():.1f} A)",
            "fly with throttle changes, or mend the current sensor",
        )
    return "", ""


def pack_resistance(t: Floats, volts: Floats, amps: Floats, tau: float = TAU) -> PackResistance:
    """Fit the model.

    Args:
        t: (n,) s.
        volts: (n,) V.
        amps: (n,) A, positive when discharging.
        tau: relaxation time, s.
    """
    if len(t) > 30000:  # 50 readings a second for ten minutes; more add nothing
        group = -(-len(t) // 30000)
        n = len(t) // group * group
        t, volts, amps = (x[:n].reshape(-1, group).mean(axis=1) for x in (t, volts, amps))
    hats = _hats(t)
    x = np.column_stack([hats, -amps, -_lagged(t, amps, tau)])
    solution, *_ = np.linalg.lstsq(x, volts, rcond=None)
    rest = volts - x @ solution
    free = max(len(t) - x.shape[1], 1)
    inverse = np.linalg.pinv(x.T @ x)
    k = x.shape[1] - 2
    power = max(float(rest @ rest), 1e-300)
    rho = min(max(float(rest[1:] @ rest[:-1]) / power, 0.0), 0.98)
    # Residuals that follow one another carry less information: variance times (1+ρ)/(1-ρ), Bartlett 1946.
    variance = power / free * float(inverse[k, k]) * (1 + rho) / (1 - rho)
    step = np.diff(t)
    charge = float((0.5 * (amps[1:] + amps[:-1]) * step).sum() / 3.6)
    return PackResistance(
        r0=float(solution[k]),
        error=float(np.sqrt(variance)),
        r1=float(solution[k + 1]),
        tau=tau,
        residual=float(rest.std()),
        lowest=float(volts.min()),
        mean_current=float(amps.mean()),
        used=charge,
        seconds=float(t[-1] - t[0]),
        cells=_cells(volts + float(solution[k]) * amps),
    )


def _cells(rest: Floats) -> int:
    """Cells in series from the highest voltage without load: the count at which a cell has 3.7 to 4.25 V."""
    top = float(np.quantile(rest, 0.99))
    fits = [n for n in range(1, 15) if 3.7 <= top / n <= 4.25]
    return fits[0] if len(fits) == 1 else (min(fits, key=lambda n: abs(top / n - 4.1)) if fits else 0)
