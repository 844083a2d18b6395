"""Spectra of the gyro: density, noise floor, the vibration that dose counts, and the Campbell map.

Densities are by Welch's method (Welch, IEEE Trans. Audio Electroacoust. 15, 1967), one-sided.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.orders import Shafts

    Floats = NDArray[np.float64]

__all__ = ["DOSE_BAND", "Campbell", "Spectrum", "campbell", "noise_floor", "spectrum", "v_rms"]

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
    from scipy.signal import welch

    stretches = [log.uniform(s) for s in log.segments()]
    longest = max((len(y) for y in stretches), default=0)
    points = min(points, longest)
    if points < 64:
        return None
    total, weight, f = np.zeros((points // 2 + 1, 3)), 0.0, np.empty(0)
    used = 0
    for y in stretches:
        if len(y) < points:
            continue
        f, density = welch(y, log.fs, nperseg=points, axis=0)
        total += len(y) * density
        weight += len(y)
        used += 1
    return Spectrum(f, total / weight, used, weight / log.fs)


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
    log: FlightLog,
    shafts: Shafts | None,
    blades: int,
    rows: int = 24,
    columns: int = 160,
    top: float = 1200.0,
) -> Campbell | None:
    """Short-time spectra averaged by mean motor speed, or by time without speeds; None when too short.

    Args:
        log: with gyro.
        shafts: speeds, or None.
        blades: of each prop, for the order lines.
        rows: most rows of the map.
        columns: most frequencies of the map.
        top: highest frequency, Hz.
    """
    points = 1 << max(5, int(np.log2(max(log.fs * 0.25, 32.0))))
    window = np.hanning(points)
    hop = points // 2
    at: list[float] = []
    power: list[Floats] = []
    norm = log.fs * float((window**2).sum()) / 2.0
    for s in log.segments():
        y = log.uniform(s)
        for a in range(0, len(y) - points + 1, hop):
            part = y[a : a + points] - y[a : a + points].mean(axis=0)
            p = np.abs(np.fft.rfft(part * window[:, None], axis=0)) ** 2
            power.append(p.sum(axis=1) / norm)
            at.append(float(log.t[s.start] + (a + hop) / log.fs))
    if len(at) < 4:
        return None
    density, t = np.array(power), np.array(at)
    f = np.fft.rfftfreq(points, 1 / log.fs)
    keep = f <= min(top, log.fs / 2)
    group = max(1, -(-int(keep.sum()) // columns))
    n = int(keep.sum()) // group * group
    density = density[:, :n].reshape(len(t), -1, group).max(axis=2)
    f = f[:n].reshape(-1, group).mean(axis=1)
    kind, key = "time", t
    if shafts is not None:
        _, speed, known = shafts.at(t)
        density, key, kind = density[known], speed[known].mean(axis=1), "speed"
        if len(key) < 4 or np.ptp(key) < 1.0:
            return None
    edges = np.linspace(key.min(), key.max(), min(rows, max(4, len(key) // 2)) + 1)
    place = np.clip(np.searchsorted(edges, key, side="right") - 1, 0, len(edges) - 2)
    filled = np.unique(place)
    level = np.array([density[place == r].mean(axis=0) for r in filled])
    middle = 0.5 * (edges[filled] + edges[filled + 1])
    db = 10 * np.log10(np.maximum(level * np.degrees(1.0) ** 2, 1e-12))
    return Campbell(kind, middle, f, db, (1.0, 2.0, float(blades)))
