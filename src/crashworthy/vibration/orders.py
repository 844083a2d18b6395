"""Shaft angles, and least squares in the shaft-angle domain over short blocks.

In each block of a few tenths of a second the signal is fitted by cosines and sines of every motor's shaft
angle at once, Hann weighted. What a block needs is its Gram matrix and right side; amplitudes, energies
and the joint fit of unbalance all follow from those (order tracking by least squares: e.g. Randall,
Vibration-based Condition Monitoring, 2011, ch. 3).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = [
    "BLOCK",
    "HANN_LOSS",
    "Blocks",
    "Lag",
    "Shafts",
    "alias",
    "blocks",
    "lag_search",
    "order_tracks",
    "regressors",
    "speed_scale",
]

BLOCK: Final = 0.5
"""Length of a block, s: long enough to part speeds 2 Hz apart, short enough for a throttle move."""

HANN_LOSS: Final = 0.75
"""Mean w² over mean w of a Hann window: how much weighting raises the variance of a least-squares fit."""

LONGEST_LAG: Final = 0.024
"""Longest telemetry lag that is tried, s."""

CERTAIN: Final = 2.0
"""Standard errors by which the best lag must beat the worst. On simulated flights 1.8 to 8 where there is
a line to follow, under 1 where there is none."""


@dataclass(frozen=True, slots=True)
class Shafts:
    """Speed telemetry as shaft angles at any time.

    Speeds are joined by straight lines; the angle is their exact integral.

    Attributes:
        t: (k,) times of the updates, s, the lag taken off.
        speed: (k, m) turns a second.
        turns: (k, m) turns since the first update.
        hole: an interval longer than this is a hole in the telemetry, s.
    """

    t: Floats
    speed: Floats
    turns: Floats
    hole: float

    @classmethod
    def of(cls, t: Floats, speed: Floats, lag: float = 0.0, scale: float = 1.0) -> Shafts:
        """Integrate speeds (k, m) in Hz known at ``t`` that are ``lag`` seconds late."""
        speed = speed * scale
        step = np.diff(t)
        turns = np.zeros_like(speed)
        np.cumsum(0.5 * (speed[1:] + speed[:-1]) * step[:, None], axis=0, out=turns[1:])
        hole = max(4.0 * float(np.median(step)), 0.1) if len(step) else 0.0
        return cls(t - lag, speed, turns, hole)

    def at(self, t: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Angles (n, m) in turns, speeds (n, m) in Hz, and where both are known (n,)."""
        i = np.clip(np.searchsorted(self.t, t, side="right") - 1, 0, len(self.t) - 2)
        width = self.t[i + 1] - self.t[i]
        u = t - self.t[i]
        slope = (self.speed[i + 1] - self.speed[i]) / width[:, None]
        known = (u >= 0.0) & (u <= width) & (width <= self.hole)
        f = self.speed[i] + slope * u[:, None]
        return self.turns[i] + self.speed[i] * u[:, None] + 0.5 * slope * (u**2)[:, None], f, known


@dataclass(frozen=True, slots=True)
class Blocks:
    """Where the blocks lie.

    Attributes:
        start: (b,) index of each block's first sample.
        size: samples in a block.
        fs: samples a second.
    """

    start: Ints
    size: int
    fs: float

    def __len__(self) -> int:
        """How many blocks."""
        return len(self.start)


def blocks(log: FlightLog, seconds: float = BLOCK, overlap: float = 0.5) -> Blocks:
    """Blocks that lie whole between gaps of more than five samples."""
    size = max(round(seconds * log.fs), 8)
    hop = max(int(size * (1.0 - overlap)), 1)
    starts: list[Ints] = [np.arange(s.start, s.stop - size + 1, hop, dtype=np.int64) for s in log.segments()]
    start = np.concatenate(starts) if starts else np.empty(0, dtype=np.int64)
    return Blocks(start, size, log.fs)


def regressors(turns: Floats, orders: Sequence[float]) -> Floats:
    """Cosine and minus sine of each order of each shaft: (n, 2·m·k), shaft by shaft, order by order.

    A complex amplitude c then enters as Re c, Im c: Re(c e^{jθ}) = Re c cos θ - Im c sin θ.
    """
    n, m = turns.shape
    out = np.empty((n, m, len(orders), 2))
    for k, order in enumerate(orders):
        # Reduced to one turn in double, then single: error 2e-7, and several times quicker.
        angle = (2.0 * np.pi * np.mod(turns * order, 1.0)).astype(np.float32)
        out[:, :, k, 0] = np.cos(angle)
        np.negative(np.sin(angle), out=out[:, :, k, 1])
    return out.reshape(n, -1)


def hann(size: int) -> Floats:
    """Periodic Hann window."""
    return 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(size) + 0.5) / size)


@dataclass(frozen=True, slots=True)
class Piece:
    """One block ready to be fitted.

    Attributes:
        index: which block.
        x: (size, p) regressors.
        y: (size, 3) gyro less its straight line, rad/s.
        f: (m,) mean speeds, Hz.
        spread: (m,) range of the speeds within the block, Hz.
    """

    index: int
    x: Floats
    y: Floats
    f: Floats
    spread: Floats


def pieces(
    log: FlightLog, where: Blocks, shafts: Shafts, orders: Sequence[float], *, weighted: bool = False
) -> Iterator[Piece]:
    """Blocks in which every shaft turns and is known; ``weighted`` multiplies regressors by ω (unbalance)."""
    assert log.gyro is not None  # noqa: S101 - callers have checked; this tells the type checker
    line = np.linspace(-1.0, 1.0, where.size)
    for index, start in enumerate(where.start.tolist()):
        rows = slice(start, start + where.size)
        turns, f, known = shafts.at(log.t[rows])
        if not known.all() or f.min() < 20.0:
            continue
        y = log.gyro[rows].astype(np.float64)
        y -= y.mean(axis=0)
        y -= line[:, None] * (line @ y / (line @ line))
        x = regressors(turns, orders)
        if weighted:
            x *= np.repeat(2 * np.pi * f, 2 * len(orders), axis=1)
        yield Piece(index, x, y, f.mean(axis=0), np.ptp(f, axis=0))


def energy(log: FlightLog, where: Blocks, shafts: Shafts, order: float = 1.0) -> Floats:
    """Energy the order explains over the energy of the fast part, mean over axes, (b,); nan where unknown."""
    w = hann(where.size)[:, None]
    out = np.full(len(where), np.nan)
    for piece in pieces(log, where, shafts, [order]):
        xw = piece.x * w
        gram = xw.T @ piece.x
        right = xw.T @ piece.y
        gram[np.diag_indices_from(gram)] += 1e-6 * np.trace(gram) / len(gram)
        fast = np.diff(piece.y, axis=0)
        total = (fast**2).mean(axis=0) * where.size / 4.0
        share = (right * np.linalg.solve(gram, right)).sum(axis=0) / np.maximum(total, 1e-30)
        out[piece.index] = share.mean()
    return out


@dataclass(frozen=True, slots=True)
class Lag:
    """How late the speed telemetry is.

    Attributes:
        seconds: the lag that explains most.
        certainty: by how many standard errors it explains more than the worst lag tried, block by block.
        known: the certainty is over ``CERTAIN``.
        tried: (k,) lags, s.
        energy: (k,) energy explained.
    """

    seconds: float
    certainty: float
    known: bool
    tried: Floats
    energy: Floats


def _extract(where: Blocks, seconds: float) -> Blocks:
    """Every second block (no overlap), thinned to about ``seconds``, spread over the whole flight."""
    start = where.start[::2]
    most = max(int(seconds * where.fs / where.size), 1)
    if len(start) > most:
        start = start[np.linspace(0, len(start) - 1, most).astype(int)]
    return Blocks(start, where.size, where.fs)


def lag_search(
    log: FlightLog, *, longest: float = LONGEST_LAG, step: float = 0.001, seconds: float = 16.0
) -> Lag:
    """Find the telemetry's lag: the one at which order 1 explains most of the gyro.

    Args:
        log: with gyro and speed.
        longest: lags from 0 to this are tried, s.
        step: between them, s; the best is refined by a parabola.
        seconds: how much of the flight to use.
    """
    assert log.speed_t is not None  # noqa: S101 - callers have checked
    assert log.speed is not None  # noqa: S101 - callers have checked
    where = _extract(blocks(log), seconds)
    tried = np.arange(0.0, longest + step / 2, step)
    each = np.array([energy(log, where, Shafts.of(log.speed_t, log.speed, lag)) for lag in tried])
    each = each[:, np.isfinite(each).all(axis=0)]
    if each.shape[1] < 4:
        return Lag(0.0, 0.0, known=False, tried=tried, energy=np.zeros(len(tried)))
    got = each.mean(axis=1)
    k = int(np.argmax(got))
    best = float(tried[k])
    if 0 < k < len(tried) - 1:
        a, b, c = got[k - 1 : k + 2]
        bend = a - 2 * b + c
        best += float(0.5 * (a - c) / bend * step) if bend < 0 else 0.0
    # Relative gains, so that a loud block does not decide alone.
    gain = (each[k] - each[int(np.argmin(got))]) / np.maximum(each.mean(axis=0), 1e-30)
    certainty = float(gain.mean() / max(gain.std() / np.sqrt(len(gain)), 1e-9))
    return Lag(best, certainty, certainty > CERTAIN, tried, got)


def speed_scale(log: FlightLog, lag: float, scales: Sequence[float], seconds: float = 8.0) -> Floats:
    """Energy explained by order 1 when every speed is multiplied by each of ``scales`` (pole-pair check)."""
    assert log.speed_t is not None  # noqa: S101 - callers have checked
    assert log.speed is not None  # noqa: S101 - callers have checked
    where = _extract(blocks(log, 0.25), seconds)
    each = [energy(log, where, Shafts.of(log.speed_t, log.speed, lag, s)) for s in scales]
    return np.array([float(np.nanmean(e)) if np.isfinite(e).any() else 0.0 for e in each])


@dataclass(frozen=True, slots=True)
class Tracks:
    """Amplitude of each order of each motor in each block.

    Attributes:
        orders: (k,).
        t: (b,) middle of the blocks, s.
        f: (b, m) mean speeds, Hz.
        amplitude: (b, m, k, 3) complex, rad/s.
        noise: (b, m, k) what noise near the line adds to |amplitude|² summed over the axes, (rad/s)².
    """

    orders: tuple[float, ...]
    t: Floats
    f: Floats
    amplitude: NDArray[np.complex128]
    noise: Floats


def order_tracks(log: FlightLog, shafts: Shafts, orders: Sequence[float], seconds: float = BLOCK) -> Tracks:
    """Fit the orders of all shafts at once in every block, axis by axis."""
    where = blocks(log, seconds)
    w = hann(where.size)[:, None]
    m, count = shafts.speed.shape[1], len(orders)
    t: list[float] = []
    f: list[Floats] = []
    c: list[NDArray[np.complex128]] = []
    noise: list[Floats] = []
    for piece in pieces(log, where, shafts, orders):
        xw = piece.x * w
        gram = xw.T @ piece.x
        gram[np.diag_indices_from(gram)] += 1e-6 * np.trace(gram) / len(gram)
        a = np.linalg.solve(gram, xw.T @ piece.y)
        floor = floor_near(
            piece.y - piece.x @ a, w, where.fs, piece.f[:, None] * np.array(orders), piece.spread.max()
        )
        # Variance of a Hann-weighted fit of one line, real and imaginary part together: 2·0.75·σ²/(size/4).
        noise.append(8.0 * HANN_LOSS / where.size * floor.sum(axis=2))
        a = a.reshape(m, count, 2, 3)
        c.append(a[:, :, 0] + 1j * a[:, :, 1])
        f.append(piece.f)
        t.append(float(log.t[where.start[piece.index] + where.size // 2]))
    return Tracks(
        tuple(orders),
        np.array(t),
        np.array(f).reshape(-1, m),
        np.array(c, dtype=np.complex128).reshape(-1, m, count, 3),
        np.array(noise).reshape(-1, m, count),
    )


def floor_near(rest: Floats, window: Floats, fs: float, lines: Floats, spread: float) -> Floats:
    """Variance of white noise as dense as the residual within 25 Hz of each line, by axis.

    Args:
        rest: (size, 3) residual.
        window: (size, 1).
        fs: samples a second.
        lines: (...) frequencies, Hz; one above fs/2 is looked for where it folds to.
        spread: how much wider to look, Hz.

    Returns:
        (..., 3) variances in the residual's unit squared.
    """
    power = np.abs(np.fft.rfft(rest * window, axis=0)) ** 2 / (window**2).sum()
    f = np.fft.rfftfreq(len(rest), 1 / fs)
    shown = np.abs(lines - fs * np.round(lines / fs))
    total = np.concatenate((np.zeros((1, 3)), np.cumsum(power, axis=0)))
    low = np.searchsorted(f, np.maximum(shown - 25.0 - spread, 10.0))
    high = np.maximum(np.searchsorted(f, shown + 25.0 + spread, side="right"), low + 1)
    high = np.minimum(high, len(f))
    low = np.minimum(low, high - 1)
    out: Floats = (total[high] - total[low]) / (high - low)[..., None]
    return out


def alias(f: float, fs: float) -> float:
    """Where a line at ``f`` shows in a record of ``fs`` samples a second: |f - fs·round(f/fs)|, Hz.

    Source: sampling theorem (Shannon, Proc. IRE 37, 1949); the fold about fs/2.
    """
    return abs(f - fs * round(f / fs))
