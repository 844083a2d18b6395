"""Spectra of the gyro: density, noise floor, the vibration that dose counts, and the Campbell map.

Densities are by Welch's method (Welch, IEEE Trans. Audio Electroacoust. 15, 1967), one-sided.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.vibration.shorttime import ShortTime, short_time

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.shafts import Shafts

    Floats = NDArray[np.float64]

__all__ = [
    "DOSE_BAND",
    "Campbell",
    "Spectrum",
    "campbell",
    "mean_spectrum",
    "noise_floor",
    "spectrum",
    "v_rms",
]

DOSE_BAND: Final = (100.0, 400.0)
"""Band of the vibration that dose counts, Hz: shaft speeds of a 5-inch quad, and within reach of any log
of 1000 samples a second, so that flights compare. Assumption."""

FLOOR_BAND: Final = (0.6, 0.9)
"""Where the noise floor is looked for, as a share of fs/2: above the lines, below the clock's edge."""


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Density of the three axes.

    Attributes:
        f: (k,) Hz.
        density: (k, 3) (rad/s)²/Hz.
        segments: how many stretches of the log were averaged.
        seconds: how much of the log went in.
    """

    f: Floats
    density: Floats
    segments: int
    seconds: float

    def to_json(self, most: int = 400) -> dict[str, Any]:
        """Root density in deg/s/√Hz, thinned to ``most`` points; each keeps its group's highest value."""
        group = max(1, -(-len(self.f) // most))
        n = len(self.f) // group * group
        root = np.degrees(np.sqrt(self.density[:n])).reshape(-1, group, 3)
        peak = root.max(axis=1)
        where = root.sum(axis=2).argmax(axis=1)
        f = self.f[:n].reshape(-1, group)[np.arange(len(where)), where]
        return {
            "unit": "deg/s/√Hz",
            "f_hz": [round(float(x), 2) for x in f],
            "roll": [float(f"{x:.4g}") for x in peak[:, 0]],
            "pitch": [float(f"{x:.4g}") for x in peak[:, 1]],
            "yaw": [float(f"{x:.4g}") for x in peak[:, 2]],
            "seconds": round(self.seconds, 2),
        }


def spectrum(log: FlightLog, points: int = 2048) -> Spectrum | None:
    """Welch density over every stretch without a gap of more than five samples; None when all are too short.

    Args:
        log: with gyro.
        points: samples a segment, fewer when the longest stretch is shorter.
    """
    short = short_time(log, points=points)
    return None if short is None else mean_spectrum(short)


def mean_spectrum(short: ShortTime) -> Spectrum:
    """Mean density of short-time spectra."""
    return Spectrum(short.f, short.density, short.stretches, short.seconds)


def noise_floor(s: Spectrum) -> Floats:
    """Median root density between 0.6 and 0.9 of fs/2, by axis, (rad/s)/√Hz."""
    top = s.f[-1]
    band = (s.f >= FLOOR_BAND[0] * top) & (s.f <= FLOOR_BAND[1] * top)
    out: Floats = np.sqrt(np.median(s.density[band], axis=0))
    return out


def v_rms(s: Spectrum, radius: float, band: tuple[float, float] = DOSE_BAND) -> float:
    """Vibration velocity at a rotor's radius, m/s rms: rates in the band, axes summed, times the radius.

    Args:
        s: density.
        radius: distance of the rotors from the centre, m.
        band: Hz.
    """
    inside = (s.f >= band[0]) & (s.f <= band[1])
    power = float(s.density[inside].sum() * (s.f[1] - s.f[0]))
    return float(np.sqrt(power)) * radius


@dataclass(frozen=True, slots=True)
class Campbell:
    """Density over motor speed (or over time, when no speed was logged) and frequency.

    Attributes:
        kind: "speed" or "time".
        rows: (r,) mean motor speed in Hz, or time in s.
        f: (k,) Hz.
        level: (r, k) density summed over the axes, dB re 1 (deg/s)²/Hz.
        orders: order lines worth drawing.
    """

    kind: str
    rows: Floats
    f: Floats
    level: Floats
    orders: tuple[float, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain values, levels to 0.1 dB."""
        return {
            "kind": self.kind,
            "row_unit": "Hz" if self.kind == "speed" else "s",
            "rows": [round(float(x), 2) for x in self.rows],
            "f_hz": [round(float(x), 2) for x in self.f],
            "level_db": [[round(float(x), 1) for x in row] for row in self.level],
            "level_unit": "dB re 1 (deg/s)²/Hz",
            "orders": list(self.orders),
        }


def campbell(
    short: ShortTime,
    shafts: Shafts | None,
    blades: int,
    rows: int = 24,
    columns: int = 160,
    top: float = 1200.0,
) -> Campbell | None:
    """Short-time spectra averaged by mean motor speed, or by time without speeds; None when too short.

    Args:
        short: the spectra.
        shafts: speeds, or None.
        blades: of each prop, for the order lines.
        rows: most rows of the map.
        columns: most frequencies of the map.
        top: highest frequency, Hz.
    """
    if len(short.t) < 4:
        return None
    f = short.f[short.f <= top]
    group = max(1, -(-len(f) // columns))
    n = len(f) // group * group
    density = short.total[:, :n].reshape(len(short.t), -1, group).max(axis=2)
    f = f[:n].reshape(-1, group).mean(axis=1)
    kind, key = "time", short.t
    if shafts is not None:
        _, speed, known = shafts.at(short.t)
        density, key, kind = density[known], speed[known].mean(axis=1), "speed"
        if len(key) < 4 or np.ptp(key) < 1.0:
            return None
    edges = np.linspace(key.min(), key.max(), min(rows, max(4, len(key) // 2)) + 1)
    place = np.clip(np.searchsorted(edges, key, side="right") - 1, 0, len(edges) - 2)
    filled = np.unique(place)
    level = np.array([density[place == r].mean(axis=0, dtype=np.float64) for r in filled])
    middle = 0.5 * (edges[filled] + edges[filled + 1])
    db = 10 * np.log10(np.maximum(level * np.degrees(1.0) ** 2, 1e-12))
    return Campbell(kind, middle, f, db, (1.0, 2.0, float(blades)))
