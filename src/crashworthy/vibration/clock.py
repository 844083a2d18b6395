"""Clocks of logs: their rate, ticks that several rows share, values held between updates, restarts."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["rate", "release_hold", "resets", "spread_ties"]


def rate(t: Floats) -> float:
    """Samples a second from the median step; 0 when there are fewer than two samples."""
    return float(1.0 / np.median(np.diff(t))) if len(t) > 1 else 0.0


def spread_ties(t: Floats) -> Floats:
    """Spread rows that share a tick of a coarse clock evenly up to the next tick.

    Done only when a fifth of the steps or more are zero and no tick holds more than four times as many
    rows as usual: a clock that merely stuck is left as it is.

    Args:
        t: (n,) s, finite or nan.
    """
    step = np.diff(t)
    if len(t) < 8 or (step == 0.0).mean() < 0.2 or not np.isfinite(t).all() or step.min() < 0.0:
        return t
    first = np.flatnonzero(np.concatenate(([True], step > 0.0)))
    rows = np.diff(np.append(first, len(t)))
    if len(first) < 3 or rows.max() > 4 * np.median(rows):
        return t
    tick = np.diff(t[first])
    # A tick that lasts much longer than usual is a gap: its rows keep the usual spacing.
    width = np.minimum(np.append(tick, np.median(tick)), 1.5 * np.median(tick))
    within = np.arange(len(t)) - np.repeat(first, rows)
    out: Floats = t + within * np.repeat(width / rows, rows)
    return out


def release_hold(t: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Undo sample-and-hold: a slow quantity repeated in every row becomes its true updates.

    Each column keeps the rows where it changed, is joined by straight lines, and is read at the union of the
    rows where any column changed. A value that stood still much longer than usual stays a step.

    Args:
        t: (n,) s.
        values: (n, m).

    Returns:
        Times (k,) and values (k, m), k <= n; the inputs when most rows differ.
    """
    if len(t) < 3:
        return t, values
    moved = np.diff(values, axis=0) != 0.0
    anywhere = moved.any(axis=1)
    if anywhere.mean() > 0.5:
        return t, values
    keep = np.flatnonzero(np.concatenate(([True], anywhere)))
    keep = np.unique(np.append(keep, len(t) - 1))
    usual = float(np.median(np.diff(t[keep]))) if len(keep) > 2 else 0.0
    out = np.empty((len(keep), values.shape[1]))
    for m in range(values.shape[1]):
        rows = np.concatenate(([0], np.flatnonzero(moved[:, m]) + 1))
        stood = np.flatnonzero(np.diff(t[rows]) > 4.0 * usual) + 1
        rows = np.unique(np.concatenate((rows, rows[stood] - 1, [len(t) - 1])))
        out[:, m] = np.interp(t[keep], t[rows], values[rows, m])
    return t[keep], out


def resets(t: Floats) -> tuple[list[slice], Ints]:
    """Stretches of rows between places where the clock starts again; and the rows that are out of order.

    A single row whose time leaps and comes back is out of order, not a new flight.

    Args:
        t: (n,) s; rows that are not finite belong to the stretch they stand in.
    """
    good = np.flatnonzero(np.isfinite(t))
    clock = t[good]
    back = np.flatnonzero(np.diff(clock) < 0.0) + 1
    cuts: list[int] = []
    stray: list[int] = []
    for i in back[:10_000].tolist():
        begun = cuts[-1] if cuts else 0
        leapt = i - 2 >= begun and clock[i] > clock[i - 2] and i - 1 > begun
        fell = i + 1 < len(clock) and clock[i + 1] > clock[i - 1]
        if leapt:
            stray.append(i - 1)
        elif fell:
            stray.append(i)
        else:
            cuts.append(i)
    edges = [0, *(int(good[c]) for c in cuts), len(t)]
    return [slice(a, b) for a, b in pairwise(edges) if b > a], good[np.array(stray, dtype=np.int64)]
