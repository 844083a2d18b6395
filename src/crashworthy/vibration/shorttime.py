"""Short-time spectra of the gyro in one pass: mean density, density by segment, density with orders left out.

Densities are by Welch's method (Welch, IEEE Trans. Audio Electroacoust. 15, 1967), one-sided, Hann window,
half overlap, the mean of each segment taken off.

Order-masked density: in each segment the bins that any order of any motor crosses are left out, and what is
left is averaged bin by bin. Fitted orders are not subtracted: fast throttle moves leave a rest that hides the
structure's resonances.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.airframe import Airframe
    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.shafts import Shafts

    Floats = NDArray[np.float64]
    Singles = NDArray[np.float32]

__all__ = ["CHANNELS", "MASKED_ORDERS", "ShortTime", "short_time"]

CHANNELS: Final = ("front left and rear right", "front right and rear left", "yaw")
"""What the masked density is told for: the pair of arms that bend about one diagonal, the other, and yaw."""

MASKED_ORDERS: Final = (0.5, 1.0, 1.5, 2.0, 3.0)
"""Orders left out of the masked density."""

SEGMENT: Final = 0.25
"""Length of a segment, s, to the nearest power of two of samples."""

EVEN: Final = 620.0
"""Up to here segments are evened out by their loudness, Hz."""


@dataclass(frozen=True, slots=True, eq=False)
class ShortTime:
    """Spectra of one flight.

    Attributes:
        f: (k,) Hz.
        t: (s,) middle of each segment, s.
        total: (s, k) density summed over the axes, (rad/s)²/Hz.
        density: (k, 3) mean density.
        masked: (k, 3) mean density with orders left out, by ``CHANNELS`` (the first two weighted by
            inertia, told as rates about the diagonal), or None without speeds or build.
        seen: (k,) how many segments stand behind each bin of it.
        stretches: stretches of the log that were used.
        seconds: how much of the log went in.
    """

    f: Floats
    t: Floats
    total: Singles
    density: Floats
    masked: Floats | None
    seen: Floats
    stretches: int
    seconds: float


def _bands(
    shafts: Shafts, begin: Floats, end: Floats, step: float, bins: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Masked bins of every segment, and which segments have every speed known."""
    at = np.linspace(0.0, 1.0, 6)
    times = begin[:, None] + (end - begin)[:, None] * at
    _, f, known = shafts.at(times.reshape(-1))
    f = f.reshape(len(begin), len(at), -1)
    k = np.array(MASKED_ORDERS)
    low = (f.min(axis=1)[:, :, None] * k).reshape(len(begin), -1)
    high = (f.max(axis=1)[:, :, None] * k).reshape(len(begin), -1)
    wide = 2.0 * step + 2.0
    first = np.ceil((low - wide) / step).astype(np.int64)
    last = np.floor((high + wide) / step).astype(np.int64) + 1
    good = known.reshape(len(begin), -1).all(axis=1) & (f.min(axis=(1, 2)) >= 20.0)
    return np.clip(first, 0, bins), np.clip(last, 0, bins), good


def _open(low: NDArray[np.int64], high: NDArray[np.int64], bins: int) -> NDArray[np.bool_]:
    """(s, bins) which bins no order crosses."""
    at = np.arange(bins, dtype=np.int32)
    out = np.ones((len(low), bins), dtype=np.bool_)
    for band in range(low.shape[1]):
        out &= (at < low[:, band, None].astype(np.int32)) | (at >= high[:, band, None].astype(np.int32))
    return out


def _evened(power: Singles, open_: NDArray[np.bool_], start: Floats) -> Floats:
    """Mean density as if every segment were equally loud.

    A bin is open when no motor turns at it, which is when the motors are louder or quieter than usual; a
    plain mean over the open segments therefore bends the spectrum and moves its peaks (by 0.4 % on simulated
    flights). Segments' levels and the spectrum are fitted in turn, P = level x spectrum.
    """
    spectrum = np.maximum(start, 1e-30)
    count = np.maximum(open_.sum(axis=0), 1)[:, None]
    weights = open_[:, :, None].astype(np.float32)
    bins = np.maximum(open_[:, 2:].sum(axis=1), 1)[:, None]
    masked = power * weights
    for _ in range(6):
        level = (masked[:, 2:] / spectrum[2:].astype(np.float32)).sum(axis=1) / bins
        level = np.maximum(level / level.mean(axis=0), 1e-3)
        spectrum = np.maximum((masked / level[:, None, :]).sum(axis=0, dtype=np.float64) / count, 1e-30)
    return spectrum


def short_time(
    log: FlightLog,
    shafts: Shafts | None = None,
    frame: Airframe | None = None,
    points: int = 0,
) -> ShortTime | None:
    """Compute them; None when no stretch of 64 samples is there.

    Args:
        log: with gyro.
        shafts: motor speeds, for the masked density.
        frame: inertia, for the masked density.
        points: samples a segment; a quarter of a second when 0, fewer when the longest stretch is shorter.
    """
    from scipy.fft import rfft

    spans = log.segments()
    longest = max((s.stop - s.start for s in spans), default=0)
    points = min(points or 1 << max(6, round(np.log2(max(log.fs * SEGMENT, 64.0)))), longest)
    if points < 64:
        return None
    hop = points // 2
    # Periodic Hann window: what the mean over half-overlapping segments wants.
    window = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(points) / points)).astype(np.float32)
    bins = points // 2 + 1
    norm = 2.0 / (log.fs * float((window.astype(np.float64) ** 2).sum()))
    density, count, used, stretches = np.zeros((bins, 3)), 0, 0, 0
    masked, seen = np.zeros((bins, 3)), np.zeros(bins)
    step = log.fs / points
    totals: list[Singles] = []
    kept: list[tuple[Singles, NDArray[np.bool_]]] = []
    even = int(np.searchsorted(np.arange(bins) * step, EVEN))
    at: list[Floats] = []
    mix = None
    if frame is not None:
        inertia = np.diag(frame.inertia)
        mean = 0.5 * (inertia[0] + inertia[1])
        roll, pitch = inertia[0] / mean / np.sqrt(2.0), inertia[1] / mean / np.sqrt(2.0)
        mix = (np.float32(roll), np.float32(pitch))
    for span in spans:
        y = log.uniform(span)
        if len(y) < points:
            continue
        stretches += 1
        used += len(y)
        start = np.arange(0, len(y) - points + 1, hop)
        rows = np.ascontiguousarray(y.T)
        view = np.lib.stride_tricks.sliding_window_view(rows, points, axis=1)[:, ::hop]
        for a in range(0, len(start), 128):
            part = view[:, a : a + 128].transpose(1, 0, 2)  # (s, 3, points)
            x = part - part.mean(axis=2, keepdims=True)
            x *= window
            z = rfft(x, axis=2, overwrite_x=True)
            power = (z.real**2 + z.imag**2) * np.float32(norm)
            density += power.sum(axis=0, dtype=np.float64).T
            totals.append(power.sum(axis=1))
            count += len(part)
            begin = log.t[span.start] + start[a : a + 128] / log.fs
            at.append(begin + hop / log.fs)
            if shafts is None or mix is None:
                continue
            from crashworthy.vibration.kernel import masked_sums

            low, high, good = _bands(shafts, begin, begin + points / log.fs, step, bins)
            u, v = z[:, 0] * mix[0], z[:, 1] * mix[1]
            own = np.empty((len(part), bins, 3), dtype=np.float32)
            for k, w in enumerate((u - v, u + v)):
                own[:, :, k] = (w.real**2 + w.imag**2) * np.float32(norm)
            own[:, :, 2] = power[:, 2]
            masked_sums(own[good], low[good], high[good], masked, seen)
            kept.append((own[good][:, :even], _open(low[good], high[good], even)))
    if not count:
        return None
    for total in totals:
        total[:, 0] *= 0.5
        if points % 2 == 0:
            total[:, -1] *= 0.5
    density[0] *= 0.5
    if points % 2 == 0:
        density[-1] *= 0.5
    there: Floats | None = (
        masked / np.maximum(seen, 1.0)[:, None] if shafts is not None and mix is not None else None
    )
    if there is not None and kept:
        there[:even] = _evened(
            np.concatenate([k[0] for k in kept]), np.concatenate([k[1] for k in kept]), there[:even]
        )
    return ShortTime(
        np.asarray(np.fft.rfftfreq(points, 1 / log.fs), dtype=np.float64),
        np.concatenate(at),
        np.concatenate(totals),
        density / count,
        there,
        seen,
        stretches,
        used / log.fs,
    )
