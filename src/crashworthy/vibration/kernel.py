"""The one loop over every sample, compiled: each axis of the gyro brought down by every order of every shaft.

A line at order k of a shaft stands still after multiplication by e^{-jkθ}; what is near it is then kept by
sums over a few milliseconds with triangular weights (gain sinc², so lines that fold onto it are down by the
square of their distance), and everything later works on those few sums. Compiled code is kept on disk, named
by a digest of this file, so that only the first log after an install compiles (some seconds).
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from crashworthy.compiled import kept_in, place_for

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Singles = NDArray[np.float32]
    Pairs = NDArray[np.complex64]

__all__ = ["demodulate", "gather", "masked_sums", "rests"]

F = TypeVar("F", bound="Callable[..., Any]")


@lru_cache(maxsize=1)
def _cache_folder() -> Path:
    """Folder for compiled code."""
    return place_for("orders", (Path(__file__),))


def _compiled(function: F) -> F:
    return kept_in(_cache_folder(), function, fastmath=True)


@_compiled
def demodulate(
    t: Floats,
    y: Singles,
    size: int,
    clock: Floats,
    speed: Floats,
    turns: Floats,
    base: float,
    multiples: NDArray[np.int64],
    out: NDArray[np.float32],
) -> None:
    """Sums of y·e^{-j·2π·base·k·turns} over boxes of ``size`` samples, shared between neighbouring nodes.

    Args:
        t: (n,) s, rising.
        y: (n, 3) gyro.
        size: samples a box; node j lies between box j-1 and box j.
        clock: (k,) telemetry times.
        speed: (k, m) Hz.
        turns: (k, m).
        base: order of which all others are multiples.
        multiples: (o,) of the base, rising, at least 1.
        out: (boxes + 1, m, o, 3, 2) real and imaginary parts, zero on entry; filled.
    """
    motors = speed.shape[1]
    boxes = len(t) // size
    top = multiples[-1]
    c = np.empty((top + 1, size), dtype=np.float32)
    s = np.empty((top + 1, size), dtype=np.float32)
    k = np.empty(size, dtype=np.int64)
    later = np.empty(size, dtype=np.float32)
    rows = np.empty((3, size), dtype=np.float32)
    for i in range(size):
        later[i] = (i + 0.5) / size
    at = 0
    last = len(clock) - 2
    for b in range(boxes):
        first = b * size
        for i in range(size):
            while at < last and clock[at + 1] <= t[first + i]:
                at += 1
            k[i] = at
            for a in range(3):
                rows[a, i] = y[first + i, a]
        for m in range(motors):
            for i in range(size):
                q = k[i]
                width = clock[q + 1] - clock[q]
                u = t[first + i] - clock[q]
                bend = 0.5 * (speed[q + 1, m] - speed[q, m]) / width
                angle = base * (turns[q, m] + (speed[q, m] + bend * u) * u)
                # A quarter of the angle lies within ±π/4, where short series serve; squared twice after.
                x = np.float32(0.5 * np.pi * (angle - np.rint(angle)))
                xx = x * x
                cq = np.float32(1.0) - xx * (
                    np.float32(0.5)
                    - xx * (np.float32(1 / 24) - xx * (np.float32(1 / 720) - xx * np.float32(1 / 40320)))
                )
                sq = x * (
                    np.float32(1.0)
                    - xx
                    * (
                        np.float32(1 / 6)
                        - xx
                        * (np.float32(1 / 120) - xx * (np.float32(1 / 5040) - xx * np.float32(1 / 362880)))
                    )
                )
                for _ in range(2):
                    old = cq
                    cq = cq * cq - sq * sq
                    sq = np.float32(2.0) * old * sq
                c[1, i] = cq
                s[1, i] = sq
            for p in range(2, top + 1):
                for i in range(size):
                    c[p, i] = c[p - 1, i] * c[1, i] - s[p - 1, i] * s[1, i]
                    s[p, i] = c[p - 1, i] * s[1, i] + s[p - 1, i] * c[1, i]
            for o in range(len(multiples)):
                p = multiples[o]
                for a in range(3):
                    re = np.float32(0.0)
                    im = np.float32(0.0)
                    re2 = np.float32(0.0)
                    im2 = np.float32(0.0)
                    for i in range(size):
                        g = rows[a, i]
                        gc = g * c[p, i]
                        gs = g * s[p, i]
                        re += gc
                        im += gs
                        re2 += later[i] * gc
                        im2 += later[i] * gs
                    out[b, m, o, a, 0] += re - re2
                    out[b, m, o, a, 1] -= im - im2
                    out[b + 1, m, o, a, 0] += re2
                    out[b + 1, m, o, a, 1] -= im2


@_compiled
def masked_sums(
    power: Singles, low: NDArray[np.int64], high: NDArray[np.int64], total: Floats, seen: Floats
) -> None:
    """Add power bin by bin, leaving out the bins of each segment's order bands.

    Args:
        power: (s, bins, channels).
        low: (s, bands) first masked bin of each band.
        high: (s, bands) one past the last.
        total: (bins, channels), added to.
        seen: (bins,) how many segments counted, added to.
    """
    segments, bins, channels = power.shape
    open_ = np.empty(bins, dtype=np.bool_)
    for i in range(segments):
        open_[:] = True
        for b in range(low.shape[1]):
            for q in range(max(low[i, b], 0), min(high[i, b], bins)):
                open_[q] = False
        for q in range(bins):
            if open_[q]:
                seen[q] += 1.0
                for a in range(channels):
                    total[q, a] += power[i, q, a]


@_compiled
def gather(
    z: Pairs,
    order: int,
    unit: Pairs,
    omega: Singles,
    start: Ints,
    w: Singles,
    half: float,
    gram: NDArray[np.complex128],
    right: NDArray[np.complex128],
) -> None:
    """Normal equations of every block: ½ Σ w ω ω e^{j(θn - θm)} and Σ w ω y e^{-jθm}.

    Args:
        z: (n, m, k, 3) sums of the nodes.
        order: which of the k orders.
        unit: (n, m) e^{jθ}.
        omega: (n, m) weight of each motor's line, 1 where none is wanted.
        start: (b,) first node of each block.
        w: (k,) window.
        half: half the samples of a node.
        gram: (b, m, m), zero on entry; filled.
        right: (b, m, 3), zero on entry; filled.
    """
    motors = unit.shape[1]
    for b in range(len(start)):
        for i in range(len(w)):
            at = start[b] + i
            for m in range(motors):
                wm = w[i] * omega[at, m]
                p = unit[at, m]
                for a in range(3):
                    right[b, m, a] += wm * z[at, m, order, a]
                for n in range(m, motors):
                    gram[b, m, n] += half * wm * omega[at, n] * (p.conjugate() * unit[at, n])
        for m in range(motors):
            for n in range(m):
                gram[b, m, n] = gram[b, n, m].conjugate()


@_compiled
def rests(
    z: Pairs,
    order: int,
    unit: Pairs,
    omega: Singles,
    start: Ints,
    w: Singles,
    half: float,
    group: int,
    c: Pairs,
    out: Floats,
) -> None:
    """Power of what a fit leaves near each line: weighted rests summed over ``group`` nodes, squared, summed.

    Args:
        z: (n, m, k, 3) sums of the nodes.
        order: which of the k orders.
        unit: (n, m) e^{jθ}.
        omega: (n, m) weight of each motor's line.
        start: (b,) first node of each block.
        w: (k,) window.
        half: half the samples of a node.
        group: nodes that are summed; the width of the band is the rate of these groups.
        c: (b, m, 3) amplitudes that were fitted.
        out: (b, m, 3), zero on entry; filled.
    """
    motors = unit.shape[1]
    model = np.empty(3, dtype=np.complex64)
    held = np.empty((motors, 3), dtype=np.complex64)
    for b in range(len(start)):
        count = 0
        held[:] = 0.0
        for i in range(len(w)):
            at = start[b] + i
            model[:] = 0.0
            for n in range(motors):
                p = np.float32(half) * omega[at, n] * unit[at, n]
                for a in range(3):
                    model[a] += p * c[b, n, a]
            for m in range(motors):
                back = unit[at, m].conjugate()
                for a in range(3):
                    held[m, a] += w[i] * (z[at, m, order, a] - model[a] * back)
            count += 1
            if count == group or i == len(w) - 1:
                count = 0
                for m in range(motors):
                    for a in range(3):
                        out[b, m, a] += held[m, a].real ** 2 + held[m, a].imag ** 2
                held[:] = 0.0
