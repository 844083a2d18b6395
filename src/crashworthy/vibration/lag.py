"""How late the speed telemetry is, and whether its scale is right: by the energy that order 1 explains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.vibration.orders import Baseband, Blocks, baseband, block_sums, blocks, solve
from crashworthy.vibration.shafts import Shafts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog

    Floats = NDArray[np.float64]

__all__ = ["CERTAIN", "LONGEST_LAG", "Lag", "lag_search", "speed_scale"]

LONGEST_LAG: Final = 0.024
"""Longest telemetry lag that is tried, s."""

CERTAIN: Final = 2.0
"""Standard errors by which the best lag must beat the worst. On simulated flights 1.8 to 8 where there is
a line to follow, under 1 where there is none."""


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


def _fast_energy(log: FlightLog, where: Blocks) -> Floats:
    """Energy of each block's fast part by axis, (b, 3), (rad/s)² samples."""
    assert log.gyro is not None  # noqa: S101 - callers have checked
    rows = where.start[:, None] + np.arange(where.size)
    out: Floats = (np.diff(log.gyro[rows], axis=1) ** 2).mean(axis=1).astype(np.float64) * where.size / 4.0
    return np.maximum(out, 1e-30)


def _share(band: Baseband, total: Floats) -> Floats:
    """Energy that order 1 explains over the energy of the fast part, mean over axes, (b,)."""
    per = len(band.t) // max(len(total), 1)
    start = np.arange(len(total), dtype=np.int64) * per
    sums = block_sums(band, start, per, 0)
    share = (solve(sums).conj() * sums.right).real.sum(axis=1) / total
    bad = np.concatenate(([0], np.cumsum(~band.good)))
    share[bad[start + per] > bad[start]] = np.nan
    out: Floats = share.mean(axis=1)
    return out


def _late(band: Baseband, shafts: Shafts, lag: float) -> Baseband:
    """The same sums as if the telemetry were ``lag`` seconds late: every node turned by what is missing."""
    turns, f, known = shafts.at(band.t + lag)
    turn = turns - band.turns
    back = np.exp(-2j * np.pi * band.orders[0] * (turn - np.rint(turn))).astype(np.complex64)
    good = known & (f.min(axis=1, initial=np.inf) >= 20.0)
    return Baseband(
        band.orders, band.t, band.z * back[:, :, None, None], turns, f, good, band.runs, band.size, band.fs
    )


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
    none = Lag(0.0, 0.0, known=False, tried=tried, energy=np.zeros(len(tried)))
    if not len(where):
        return none
    total = _fast_energy(log, where)
    shafts = Shafts.of(log.speed_t, log.speed)
    # Brought down at the middle lag, so that no node has to be turned by more than half the range.
    middle = 0.5 * longest
    band = baseband(log, Shafts.of(log.speed_t, log.speed, middle), [1.0], where)
    each = np.array([_share(_late(band, shafts, lag), total) for lag in tried])
    each = each[:, np.isfinite(each).all(axis=0)]
    if each.shape[1] < 4:
        return none
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
    total = _fast_energy(log, where)
    out = []
    for scale in scales:
        band = baseband(log, Shafts.of(log.speed_t, log.speed, lag, scale), [1.0], where)
        share = _share(band, total)
        out.append(float(np.nanmean(share)) if np.isfinite(share).any() else 0.0)
    return np.array(out)
