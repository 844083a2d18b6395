"""Motor speeds from commands and voltage, when none was logged: marked "inferred" wherever they are used.

A motor's speed is taken as κ V √command, 30 ms late (thrust, and so the square of speed, goes with the
command; assumption). κ of each motor drifts slowly; in segments of a quarter second it is the one at which
the spectrum has a line at that speed, with steps of at most 0.4 % a segment (Viterbi, IEEE Trans. Inf. Theory
13, 1967). What is left is read from how fast order 1 still turns. Works only when unbalance is visible.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.vibration.shafts import Shafts
from crashworthy.vibration.shorttime import short_time

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.shorttime import ShortTime

    Floats = NDArray[np.float64]

__all__ = ["best_path", "contrast", "infer_speeds"]

DELAY: Final = 0.030
"""Time by which a motor follows its command, s. Assumption."""

SPAN: Final = (110.0, 480.0)
"""Median motor speeds that are tried, Hz. Assumption: 5-inch quads."""

STEPS: Final = 480
CLOSE: Final = 0.05
"""Share by which one motor's constant may differ from the common one. Assumption."""

VISIBLE: Final = 3.0
"""Times the surrounding density at which a line is visible (median over the flight)."""


def _shape(log: FlightLog) -> tuple[Floats, Floats] | None:
    """Times and V √command after the delay, (k,), (k, m)."""
    if log.command is None or log.command_t is None or log.volts is None or log.power_t is None:
        return None
    t = np.arange(log.command_t[0], log.command_t[-1], 0.005)
    if len(t) < 400:
        return None
    volts = np.interp(t, log.power_t, log.volts)
    keep = np.exp(-0.005 / DELAY)
    out = np.empty((len(t), log.command.shape[1]))
    from scipy.signal import lfilter

    for m in range(out.shape[1]):
        raw = volts * np.sqrt(np.clip(np.interp(t, log.command_t, log.command[:, m]), 0.0, None))
        out[:, m] = lfilter([1 - keep], [1, -keep], raw, zi=[keep * raw[0]])[0]
    return t, out


def best_path(score: Floats, reach: int) -> NDArray[np.int64]:
    """Path of the highest sum through (s, k) with steps of at most ``reach``."""
    from scipy.ndimage import maximum_filter1d

    total = np.empty_like(score)
    total[0] = score[0]
    for s in range(1, len(score)):
        total[s] = score[s] + maximum_filter1d(total[s - 1], 2 * reach + 1, mode="nearest")
    path = np.empty(len(score), dtype=np.int64)
    path[-1] = int(np.argmax(total[-1]))
    for s in range(len(score) - 2, -1, -1):
        low = max(path[s + 1] - reach, 0)
        path[s] = low + int(np.argmax(total[s, low : path[s + 1] + reach + 1]))
    return path


def contrast(short: ShortTime) -> Floats:
    """Log density less its running median over 40 Hz, (s, k)."""
    from scipy.ndimage import median_filter

    level = np.log(np.maximum(short.total, 1e-30)).astype(np.float64)
    width = max(int(40.0 / short.f[1]) | 1, 5)
    out: Floats = level - median_filter(level, size=(1, width))
    return np.clip(out, -1.0, 5.0)


def infer_speeds(log: FlightLog) -> Shafts | None:
    """Work out the speeds; None when commands or voltage are missing or no line is visible.

    Args:
        log: with gyro, commands and voltage.
    """
    made = _shape(log)
    short = short_time(log)
    if made is None or short is None or log.fs < 900.0:
        return None
    t, shape = made
    m = shape.shape[1]
    at = np.column_stack([np.interp(short.t, t, shape[:, k]) for k in range(m)])
    turning = np.median(shape, axis=0).mean()
    if turning <= 0.0:
        return None
    level = contrast(short)
    bin_width = short.f[1]
    grid = np.exp(np.linspace(np.log(SPAN[0] / turning), np.log(SPAN[1] / turning), STEPS))
    step = np.log(grid[1] / grid[0])
    score = np.zeros((len(short.t), m, STEPS))
    rows = np.arange(len(short.t))[:, None]
    for k in range(m):
        f = at[:, k, None] * grid
        place = np.clip(f / bin_width, 0, len(short.f) - 2)
        low = place.astype(np.int64)
        part = place - low
        value = (1 - part) * level[rows, low] + part * level[rows, low + 1]
        score[:, k] = np.where(f > 60.0, value, 0.0)
    reach = max(1, round(0.004 / step))
    common = best_path(score.sum(axis=1), reach)
    wide = round(CLOSE / step)
    kappa = np.empty((len(short.t), m))
    seen = np.empty(m)
    for k in range(m):
        near = common[:, None] + np.arange(-wide, wide + 1)
        inside = np.clip(near, 0, STEPS - 1)
        own = score[rows, k, inside]
        path = best_path(own, reach)
        kappa[:, k] = grid[inside[np.arange(len(path)), path]]
        seen[k] = float(np.median(own[np.arange(len(path)), path]))
    if np.exp(seen.max()) < VISIBLE:
        return None
    speed = shape * np.column_stack([np.interp(t, short.t, kappa[:, k]) for k in range(m)])
    for _ in range(2):
        speed = speed * _left_over(log, t, speed)
    return Shafts.of(t, speed, inferred=True)


def _left_over(log: FlightLog, t: Floats, speed: Floats) -> Floats:
    """Factor on each speed from how fast order 1 still turns in blocks of a second, smoothed."""
    from scipy.fft import fft, fftfreq
    from scipy.ndimage import median_filter

    from crashworthy.vibration.orders import baseband, hann

    band = baseband(log, Shafts.of(t, speed), [1.0])
    start, nodes = band.blocks(1.0)
    if len(start) < 3:
        return np.ones_like(speed)
    index = start[:, None] + np.arange(nodes)
    w = hann(index.shape[1]).astype(np.float32)
    n = 1 << int(np.ceil(np.log2(4 * index.shape[1])))
    f = fftfreq(n, band.size / band.fs)
    near = np.abs(f) <= 4.0
    middle = band.t[index].mean(axis=1)
    out = np.ones_like(speed)
    for m in range(speed.shape[1]):
        z = band.z[index][:, :, m, 0] * w[:, None]
        power = (np.abs(fft(z, n=n, axis=1)) ** 2).sum(axis=2)[:, near]
        shift = f[near][power.argmax(axis=1)]
        shift = median_filter(shift, size=5, mode="nearest")
        mean = band.f[index][:, :, m].mean(axis=1)
        out[:, m] = np.interp(t, middle, 1.0 + shift / mean)
    return out
