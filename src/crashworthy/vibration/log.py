"""One flight log, whatever file it came from: arrays in SI with their own clocks, and what is known of them.

Axes are those of the quad: x forward, y left, z up. Nothing format-specific goes further than this class.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import LogError, Problem
from crashworthy.vibration.clock import rate, release_hold, resets, spread_ties

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Singles = NDArray[np.float32]

__all__ = [
    "BRIDGE",
    "DROPOUT",
    "FlightLog",
    "Gap",
    "LogMeta",
    "find_gaps",
    "make_log",
    "rate",
    "release_hold",
    "spread_ties",
]

BRIDGE: Final = 5
"""A gap of at most this many lost samples may be bridged by a straight line; a longer one splits the log."""

DROPOUT: Final = 1.5
"""A step longer than this many median steps counts as a dropout."""


@dataclass(frozen=True, slots=True)
class Gap:
    """Lost samples of the gyro.

    Attributes:
        start: time of the last sample before it, s.
        end: time of the first sample after it, s.
        samples: how many samples are missing, estimated from the median step.
    """

    start: float
    end: float
    samples: int


@dataclass(frozen=True, slots=True)
class LogMeta:
    """Where a log came from and how it was read.

    Attributes:
        source: file name.
        reader: name of the reader.
        units: unit in the file by quantity ("gyro": "deg/s").
        rates: updates a second by quantity ("gyro", "acc", "speed", "command", "power"), Hz.
        gaps: every dropout of the gyro, long ones and short ones.
        dropouts: rows or messages lost, as far as the file itself shows.
        jitter: standard deviation of the gyro's time step over its median, gaps left out.
        invented: the file says that it was simulated.
        notes: what a person should know about the reading, worst first.
        flight: which flight of the file this is, from 1.
        flights: how many the file holds.
        begins: where it begins in the file, s from the file's first sample; 0 where the clock starts anew.
    """

    source: str = ""
    reader: str = ""
    units: dict[str, str] = field(default_factory=dict)
    rates: dict[str, float] = field(default_factory=dict)
    gaps: tuple[Gap, ...] = ()
    dropouts: int = 0
    jitter: float = 0.0
    invented: bool = False
    notes: tuple[str, ...] = ()
    flight: int = 1
    flights: int = 1
    begins: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Plain values; at most the 50 longest gaps."""
        longest = sorted(self.gaps, key=lambda g: -g.samples)[:50]
        return {
            "source": self.source,
            "reader": self.reader,
            "units": dict(self.units),
            "rates_hz": {k: round(v, 3) for k, v in self.rates.items()},
            "gap_count": len(self.gaps),
            "gaps": [{"start_s": g.start, "end_s": g.end, "samples": g.samples} for g in longest],
            "dropouts": self.dropouts,
            "jitter": round(self.jitter, 5),
            "invented": self.invented,
            "notes": list(self.notes),
            "flight": self.flight,
            "flights": self.flights,
            "begins_s": round(self.begins, 3),
        }


@dataclass(frozen=True, slots=True, eq=False)
class FlightLog:
    """One flight.

    Attributes:
        t: (n,) gyro clock, s from the first sample, strictly rising.
        gyro: (n, 3) rad/s, or None.
        acc_t, acc: (k,) s and (k, 3) m/s², or None.
        speed_t, speed: (k,) s and (k, m) motor speed in Hz (revolutions a second), or None.
        command_t, command: (k,) s and (k, m) motor command 0 to 1, or None.
        power_t, volts, amps: (k,) s, V and A, or None.
        meta: source, units, rates, gaps.
    """

    t: Floats
    gyro: Singles | None
    acc_t: Floats | None
    acc: Singles | None
    speed_t: Floats | None
    speed: Floats | None
    command_t: Floats | None
    command: Floats | None
    power_t: Floats | None
    volts: Floats | None
    amps: Floats | None
    meta: LogMeta

    @property
    def fs(self) -> float:
        """Gyro samples a second, from the median step; 0 without a gyro."""
        return self.meta.rates.get("gyro", 0.0)

    @property
    def motors(self) -> int:
        """How many motors have a logged speed."""
        return 0 if self.speed is None else int(self.speed.shape[1])

    @property
    def duration(self) -> float:
        """From first to last sample of whatever was logged, s."""
        clocks = [c for c in (self.t, self.acc_t, self.speed_t, self.power_t) if c is not None and len(c)]
        return max(float(c[-1] - c[0]) for c in clocks) if clocks else 0.0

    def segments(self, bridge: int = BRIDGE) -> tuple[slice, ...]:
        """Stretches of the gyro without a gap of more than ``bridge`` lost samples."""
        if len(self.t) < 2:
            return ()
        step = np.diff(self.t)
        cuts = np.flatnonzero(step * self.fs > bridge + 1.5) + 1
        edges = [0, *cuts.tolist(), len(self.t)]
        return tuple(slice(a, b) for a, b in pairwise(edges) if b - a > 1)

    def uniform(self, stretch: slice) -> Singles:
        """Gyro over one stretch on an even clock, (k, 3) rad/s.

        Samples stay as they are; only lost ones (at most ``BRIDGE`` in a row) are put in on a straight line.

        Raises:
            LogError: the log has no gyro.
        """
        if self.gyro is None:
            raise LogError(Problem("the log has no gyro", "log the gyro", self.meta.source))
        t, y = self.t[stretch], self.gyro[stretch]
        steps = np.maximum(np.rint(np.diff(t) * self.fs), 1.0)
        place = np.concatenate(([0.0], np.cumsum(steps)))
        if place[-1] == len(t) - 1:
            return y
        grid = np.arange(int(place[-1]) + 1)
        return np.column_stack([np.interp(grid, place, y[:, a]) for a in range(3)]).astype(np.float32)


def _series(
    t: ArrayLike | None, y: ArrayLike | None, zero: float, name: str, source: str
) -> tuple[Floats | None, Floats | None]:
    """Drop rows that are not finite or whose clock does not rise; None when nothing is left."""
    if t is None or y is None:
        return None, None
    clock = np.asarray(t, dtype=np.float64).reshape(-1)
    data = np.asarray(y, dtype=np.float64)
    data = data[:, None] if data.ndim == 1 else data
    if len(clock) != len(data):
        raise LogError(Problem(f"{name}: {len(clock)} times but {len(data)} values", "mend the file", source))
    good = np.isfinite(clock) & np.isfinite(data).all(axis=1) & (np.abs(data) < 1e9).all(axis=1)
    clock, data = clock[good], data[good]
    if len(clock) > 1:
        rising = clock > np.concatenate(([-np.inf], np.maximum.accumulate(clock)[:-1]))
        clock, data = clock[rising], data[rising]
    if len(clock) < 2:
        return None, None
    return clock - zero, data


def find_gaps(t: Floats) -> tuple[tuple[Gap, ...], float]:
    """Every dropout, and the jitter of the clock between them."""
    if len(t) < 3:
        return (), 0.0
    step = np.diff(t)
    usual = float(np.median(step))
    lost = np.flatnonzero(step > DROPOUT * usual)
    found = tuple(
        Gap(float(t[i]), float(t[i + 1]), max(1, round(float(step[i]) / usual) - 1)) for i in lost.tolist()
    )
    calm = step[step <= DROPOUT * usual]
    return found, float(calm.std() / usual)


def make_log(
    *,
    source: str,
    reader: str,
    t: ArrayLike | None = None,
    gyro: ArrayLike | None = None,
    acc_t: ArrayLike | None = None,
    acc: ArrayLike | None = None,
    speed_t: ArrayLike | None = None,
    speed: ArrayLike | None = None,
    command_t: ArrayLike | None = None,
    command: ArrayLike | None = None,
    power_t: ArrayLike | None = None,
    volts: ArrayLike | None = None,
    amps: ArrayLike | None = None,
    units: dict[str, str] | None = None,
    dropouts: int = 0,
    invented: bool = False,
    notes: tuple[str, ...] = (),
) -> FlightLog:
    """Check and tidy what a reader found, and make the one log of it.

    Rows with a value that is not finite are dropped (they show up as gaps). When the gyro's clock goes back
    the longest rising stretch is kept and the rest noted. All clocks are shifted by the same zero.

    Args:
        source: file name.
        reader: name of the reader.
        t: (n,) clock of the gyro, s.
        gyro: (n, 3) rad/s.
        acc_t: (k,) s.
        acc: (k, 3) m/s².
        speed_t: (k,) s.
        speed: (k, m) Hz; held values are released to their updates.
        command_t: (k,) s.
        command: (k, m) 0 to 1; released too.
        power_t: (k,) s.
        volts: (k,) V; released too.
        amps: (k,) A.
        units: unit in the file by quantity.
        dropouts: rows or messages lost so far.
        invented: the file says that it was simulated.
        notes: from the reader.

    Raises:
        LogError: nothing usable is in it, or shapes disagree.
    """
    said = list(notes)
    clock, span = None, (-np.inf, np.inf)
    if t is not None and gyro is not None:
        clock = np.asarray(t, dtype=np.float64).reshape(-1)
        good = np.isfinite(clock)
        clock, gyro = clock[good], np.asarray(gyro)[good]
        parts, stray = resets(clock)
        if len(stray):
            said.append(f"{len(stray)} rows are out of order and were left out")
            inside = np.ones(len(clock), dtype=np.bool_)
            inside[stray] = False
            clock, gyro = clock[inside], gyro[inside]
            parts = resets(clock)[0]
        keep = max(parts, key=lambda p: p.stop - p.start) if parts else slice(0, 0)
        if keep.stop - keep.start < len(clock):
            said.append(
                f"the clock goes back: {len(clock) - (keep.stop - keep.start)} of {len(clock)} rows belong "
                "to another flight or are out of order and were left out"
            )
            clock, gyro = clock[keep], gyro[keep]
            span = (float(clock[0]), float(clock[-1]))
    firsts = [
        np.asarray(c, dtype=np.float64).reshape(-1)
        for c in (clock, acc_t, speed_t, command_t, power_t)
        if c is not None
    ]
    finite = [c[np.isfinite(c)] for c in firsts]
    starts = [float(c[0]) for c in finite if len(c)]
    zero = span[0] if np.isfinite(span[0]) else min(starts, default=0.0)

    def tidy(c: ArrayLike | None, y: ArrayLike | None, name: str) -> tuple[Floats | None, Floats | None]:
        a, b = _series(c, y, zero, name, source)
        if a is not None and b is not None and np.isfinite(span[0]):
            inside = (a >= 0.0) & (a <= span[1] - zero)
            a, b = (a[inside], b[inside]) if inside.sum() > 1 else (None, None)
        if y is not None and a is None:
            said.append(f"{name} is in the file but holds no usable row")
        return a, b

    at, ay = tidy(acc_t, acc, "acceleration")
    gt, gy = tidy(clock, gyro, "gyro")
    st, sy = tidy(speed_t, speed, "motor speed")
    ct, cy = tidy(command_t, command, "motor command")
    both = None
    if volts is not None and amps is not None:
        both = np.column_stack([np.asarray(volts, dtype=np.float64), np.asarray(amps, dtype=np.float64)])
    elif volts is not None:
        both = np.asarray(volts, dtype=np.float64)[:, None]
    pt, py = tidy(power_t, both, "voltage and current")
    if st is not None and sy is not None:
        st, sy = release_hold(st, np.abs(sy))
    if ct is not None and cy is not None:
        ct, cy = release_hold(ct, cy)
    if pt is not None and py is not None:
        pt, py = release_hold(pt, py)
    if gt is None and at is None and st is None and pt is None:
        raise LogError(
            Problem(
                "nothing in it can be used: no gyro, acceleration, motor speed or voltage with two good rows",
                "check that it is a flight log, or give a mapping of its columns",
                source,
            )
        )
    gaps, jitter = find_gaps(gt) if gt is not None else ((), 0.0)
    clocks = {"gyro": gt, "acc": at, "speed": st, "command": ct, "power": pt}
    rates = {k: rate(c) for k, c in clocks.items() if c is not None}
    return FlightLog(
        t=gt if gt is not None else np.empty(0),
        gyro=None if gy is None else gy.astype(np.float32),
        acc_t=at,
        acc=None if ay is None else ay.astype(np.float32),
        speed_t=st,
        speed=sy,
        command_t=ct,
        command=cy,
        power_t=pt,
        volts=None if py is None else py[:, 0],
        amps=None if py is None or py.shape[1] < 2 else py[:, 1],
        meta=LogMeta(
            source=source,
            reader=reader,
            units=dict(units or {}),
            rates=rates,
            gaps=gaps,
            dropouts=dropouts,
            jitter=jitter,
            invented=invented,
            notes=tuple(said),
        ),
    )
