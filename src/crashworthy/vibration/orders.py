"""Lines that follow the shafts: brought to rest, then least squares over all motors in short blocks.

The gyro is multiplied by e^{-jkθ} of every order k of every shaft and summed over about 4 ms (``kernel``). In
each block of half a second, Hann weighted, the complex amplitudes c of one order of all motors follow from

    Σ w y e^{-jθm} = ½ Σ_n c_n Σ w e^{j(θn - θm)}

the normal equations of fitting Re Σ c e^{jθ}, without the sums at twice the speed, which a Hann window leaves
nothing of (order tracking by least squares: e.g. Randall, Vibration-based Condition Monitoring, 2011, ch. 3).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.vibration.shafts import Shafts, alias

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Complexes = NDArray[np.complex128]

__all__ = [
    "BLOCK",
    "HANN_LOSS",
    "Baseband",
    "Blocks",
    "Shafts",
    "Tracks",
    "alias",
    "baseband",
    "blocks",
    "fit_tracks",
    "order_tracks",
]

BLOCK: Final = 0.5
"""Length of a block, s: long enough to part speeds 2 Hz apart, short enough for a throttle move."""

HANN_LOSS: Final = 0.75
"""Mean w² over mean w of a Hann window: how much weighting raises the variance of a least-squares fit."""

NODE_RATE: Final = 250.0
"""About how many sums a second are kept."""

SLOWEST: Final = 20.0
"""A shaft below this does not turn, Hz."""

NEAR: Final = 30.0
"""The noise of a line is looked for so near it, Hz."""


@dataclass(frozen=True, slots=True)
class Blocks:
    """Where the blocks of a log lie.

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


@dataclass(frozen=True, slots=True, eq=False)
class Baseband:
    """The gyro brought to rest at each order of each shaft.

    Attributes:
        orders: (k,) orders kept.
        t: (n,) times of the nodes, s.
        z: (n, m, k, 3) complex sums of ``size`` samples.
        turns: (n, m) shaft angles.
        f: (n, m) speeds, Hz.
        good: (n,) every speed is known and turns.
        runs: first node and number of nodes of each stretch without a gap.
        size: samples a node.
        fs: samples a second.
    """

    orders: tuple[float, ...]
    t: Floats
    z: NDArray[np.complex64]
    turns: Floats
    f: Floats
    good: NDArray[np.bool_]
    runs: tuple[tuple[int, int], ...]
    size: int
    fs: float

    def blocks(self, seconds: float = BLOCK, overlap: float = 0.5) -> tuple[Ints, int]:
        """First node of each block in which every shaft is known and turns, and the nodes of a block."""
        length = max(round(seconds * self.fs / self.size), 4)
        hop = max(round(length * (1.0 - overlap)), 1)
        # A node stands between two boxes: the outermost two of a block have no weight and are left out.
        starts = [np.arange(a, a + n - length + 2, hop, dtype=np.int64) for a, n in self.runs]
        start = np.concatenate(starts) if starts else np.empty(0, dtype=np.int64)
        bad = np.concatenate(([0], np.cumsum(~self.good)))
        return start[bad[start + length - 1] == bad[start]] if len(start) else start, length - 1

    def near(self, order: float) -> int:
        """Place of an order in ``orders``."""
        return self.orders.index(order)


def _spans(log: FlightLog, where: Blocks | None) -> list[slice]:
    if where is None:
        return list(log.segments())
    return [slice(a, a + where.size) for a in where.start.tolist()]


def baseband(
    log: FlightLog, shafts: Shafts, orders: Sequence[float], where: Blocks | None = None, base: float = 0.0
) -> Baseband:
    """Bring the gyro to rest at each order of each shaft.

    Args:
        log: with gyro.
        shafts: speeds.
        orders: multiples of ``base``, rising.
        where: only these stretches (not overlapping); the whole log by default.
        base: order of which the others are multiples; ½ when they are multiples of it, else the first order.
    """
    from crashworthy.vibration.kernel import demodulate

    assert log.gyro is not None  # noqa: S101 - callers have checked; this tells the type checker
    halves = all(abs(2 * k - round(2 * k)) < 1e-9 for k in orders)
    whole = all(abs(k - round(k)) < 1e-9 for k in orders)
    unit = base or (1.0 if whole else 0.5 if halves else float(orders[0]))
    multiples = np.array([round(k / unit) for k in orders], dtype=np.int64)
    size = max(round(log.fs / NODE_RATE), 1)
    m = shafts.speed.shape[1]
    z: list[NDArray[np.complex64]] = []
    times: list[Floats] = []
    runs: list[tuple[int, int]] = []
    first = 0
    for span in _spans(log, where):
        n = (span.stop - span.start) // size
        if n < 2:
            continue
        t = log.t[span][: n * size]
        out = np.zeros((n + 1, m, len(orders), 3, 2), dtype=np.float32)
        y = np.ascontiguousarray(log.gyro[span][: n * size])
        demodulate(t, y, size, shafts.t, shafts.speed, shafts.turns, unit, multiples, out)
        z.append(out[1:-1].view(np.complex64)[..., 0])
        edge = np.arange(1, n) * size
        times.append(0.5 * (t[edge - 1] + t[edge]))
        runs.append((first, n - 1))
        first += n - 1
    shape = (0, m, len(orders), 3)
    at = np.concatenate(times) if times else np.empty(0)
    turns, f, known = shafts.at(at)
    return Baseband(
        tuple(orders),
        at,
        np.concatenate(z) if z else np.empty(shape, dtype=np.complex64),
        turns,
        f,
        known & (f.min(axis=1, initial=np.inf) >= SLOWEST),
        tuple(runs),
        size,
        log.fs,
    )


def hann(nodes: int) -> Floats:
    """Weights of a block's nodes: a Hann window whose two zeros lie one node outside."""
    out: Floats = np.sin(np.pi * np.arange(1, nodes + 1) / (nodes + 1)) ** 2
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """What the fit of one order in every block needs.

    Attributes:
        gram: (b, m, m) ½ Σ w e^{j(θn - θm)}, Hermitian; weighted by ω of both when asked.
        right: (b, m, 3) Σ w y e^{-jθm}, weighted by ω when asked.
        order: place of the order in the baseband.
        unit: (n, m) e^{jkθ} at the nodes.
        omega: (n, m) the weight.
        start: (b,) first node of each block.
        window: (nodes,) of a block.
        f: (b, m) mean speeds.
        t: (b,) middle of the blocks.
    """

    gram: Complexes
    right: Complexes
    order: int
    unit: NDArray[np.complex64]
    omega: NDArray[np.float32]
    start: Ints
    window: NDArray[np.float32]
    f: Floats
    t: Floats


def _means(x: Floats, start: Ints, nodes: int) -> Floats:
    """Mean of each block's nodes."""
    total = np.concatenate((np.zeros_like(x[:1]), np.cumsum(x, axis=0)))
    out: Floats = (total[start + nodes] - total[start]) / nodes
    return out


def block_sums(band: Baseband, start: Ints, nodes: int, order: int, *, weighted: bool = False) -> Sums:
    """Sums of one order over blocks; ``weighted`` takes ω e^{jθ} instead of e^{jθ}."""
    from crashworthy.vibration.kernel import gather

    w = hann(nodes).astype(np.float32)
    turns = band.turns * band.orders[order]
    angle = (2 * np.pi * (turns - np.rint(turns))).astype(np.float32)
    unit = np.empty(angle.shape, dtype=np.complex64)
    unit.real, unit.imag = np.cos(angle), np.sin(angle)
    omega = (2 * np.pi * band.f).astype(np.float32) if weighted else np.ones_like(angle)
    m = angle.shape[1]
    gram = np.zeros((len(start), m, m), dtype=np.complex128)
    right = np.zeros((len(start), m, 3), dtype=np.complex128)
    gather(band.z, order, unit, omega, start, w, 0.5 * band.size, gram, right)
    return Sums(
        gram,
        right,
        order,
        unit,
        omega,
        start,
        w,
        _means(band.f, start, nodes),
        _means(band.t[:, None], start, nodes)[:, 0],
    )


def solve(sums: Sums) -> Complexes:
    """Amplitudes (b, m, 3), kept finite where motors cannot be parted."""
    m = sums.gram.shape[1]
    ridge = 1e-6 * np.trace(sums.gram, axis1=1, axis2=2).real[:, None, None] / m * np.eye(m)
    return np.asarray(np.linalg.solve(sums.gram + ridge, sums.right), dtype=np.complex128)


def residual_noise(band: Baseband, sums: Sums, c: Complexes, absorbed: float = 0.0) -> Floats:
    """Variance of white noise as dense as what is left within about 30 Hz of each line, (b, m, 3), (rad/s)².

    Args:
        band: where the sums come from.
        sums: of the order that was fitted.
        c: (b, m, 3) what was fitted.
        absorbed: real numbers that the fit took from each axis.
    """
    from crashworthy.vibration.kernel import rests

    group = max(round(band.fs / band.size / (2.0 * NEAR)), 1)
    out = np.zeros(c.shape)
    half = 0.5 * band.size
    rests(
        band.z,
        sums.order,
        sums.unit,
        sums.omega,
        sums.start,
        sums.window,
        half,
        group,
        c.astype(np.complex64),
        out,
    )
    count = len(sums.window) / group
    free = max(1.0 - absorbed / (2.0 * count / 1.5), 0.2)
    out /= float((sums.window.astype(np.float64) ** 2).sum()) * band.size * free
    return out


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
    amplitude: Complexes
    noise: Floats


def fit_tracks(band: Baseband, seconds: float = BLOCK) -> Tracks:
    """Fit each order of all shafts at once in every block, axis by axis.

    Orders are fitted one by one: others stand hundreds of bins away, where a Hann window leaves nothing.
    """
    start, nodes = band.blocks(seconds)
    m, count = band.f.shape[1], len(band.orders)
    t, f = np.empty(len(start)), np.empty((len(start), m))
    amplitude = np.zeros((len(start), m, count, 3), dtype=np.complex128)
    noise = np.zeros((len(start), m, count))
    for k in range(count if len(start) else 0):
        sums = block_sums(band, start, nodes, k)
        c = solve(sums)
        amplitude[:, :, k] = c
        # Variance of a Hann-weighted fit of one line, real and imaginary part together.
        line = 2.0 * HANN_LOSS / sums.gram[:, 0, 0].real
        noise[:, :, k] = line[:, None] * residual_noise(band, sums, c).sum(axis=2)
        t, f = sums.t, sums.f
    return Tracks(band.orders, t, f, amplitude, noise)


def order_tracks(log: FlightLog, shafts: Shafts, orders: Sequence[float], seconds: float = BLOCK) -> Tracks:
    """Bring down and fit the orders of all shafts."""
    return fit_tracks(baseband(log, shafts, orders), seconds)
