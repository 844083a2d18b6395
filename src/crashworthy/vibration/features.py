"""A flight in two dozen numbers: what the verdict and the trend compare with the quad's own flights.

All are natural logarithms, so that a change of 0.1 is about ten percent, whatever the quad.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.quantities import GRAM_MM
from crashworthy.vibration.modes import FEWEST, ArmMode, arm_mode

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from crashworthy.vibration.airframe import Airframe
    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.orders import Tracks
    from crashworthy.vibration.shafts import Shafts
    from crashworthy.vibration.shorttime import ShortTime
    from crashworthy.vibration.unbalance import Unbalance

    Floats = NDArray[np.float64]

__all__ = ["GROUP", "OWN", "Features", "Structure", "features", "structure"]

OWN: Final = {
    "unbalance": "apparent unbalance",
    "track": "push along the shaft once a turn",
    "half": "one and a half times a turn",
    "second": "twice a turn",
    "third": "three times a turn",
    "bearing": "tone of a bearing's balls",
    "effort": "speed against the other motors",
}
"""Features of one motor, in words."""

GROUP: Final = {
    "arm_a": "arm resonance, front left and rear right",
    "arm_b": "arm resonance, front right and rear left",
    "floor": "noise floor",
    "tone": "strongest line that no motor follows",
    "stack": "low against high frequencies about yaw",
}
"""Features of the whole quad, in words."""

U_FLOOR: Final = 0.15
"""Added in square to unbalance before the logarithm, g mm: below it nothing is told. Assumption."""

T_FLOOR: Final = 0.05
"""The same for the push along the shaft, N. Assumption."""

LINE_FLOOR: Final = 0.08
"""The same for lines, deg/s. Assumption."""

BALL_ORDERS: Final = (2.10, 2.85)
"""Where the tone of an outer race with six to eight balls is looked for, orders. z/2 (1 - k), k = 0.28 to
0.35 (common practice for small bearings, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Structure:
    """What the order-masked density says.

    Attributes:
        f: (k,) Hz.
        masked: (k, 3) (rad/s)²/Hz by ``shorttime.CHANNELS``.
        seen: (k,) segments behind each bin.
        modes: resonance of each pair of arms, or None.
        floor: median density at high frequency, (rad/s)²/Hz.
        tone: strongest line over its neighbourhood, and where, Hz.
        stack: density about yaw from 80 to 200 Hz over that from 350 to 600 Hz; nan when not open.
        crest: median crest factor of the steady windows, or None when none was steady.
    """

    f: Floats
    masked: Floats
    seen: Floats
    modes: tuple[ArmMode | None, ArmMode | None]
    floor: float
    tone: tuple[float, float]
    stack: float
    crest: float | None

    def to_json(self, most: int = 300) -> dict[str, Any]:
        """Plain values; the masked density up to 600 Hz as root density."""
        keep = (self.f <= 600.0) & (self.seen >= FEWEST)
        f = self.f[keep][:most]
        root = np.degrees(np.sqrt(self.masked[keep][:most]))
        return {
            "modes": [None if m is None else m.to_json() for m in self.modes],
            "floor_dps_rthz": float(f"{math.degrees(math.sqrt(self.floor)):.4g}"),
            "tone": {"ratio": round(self.tone[0], 2), "hz": round(self.tone[1], 1)},
            "low_over_high": None if not math.isfinite(self.stack) else float(f"{self.stack:.4g}"),
            "crest": None if self.crest is None else round(self.crest, 3),
            "masked": {
                "unit": "deg/s/√Hz",
                "f_hz": [round(float(x), 2) for x in f],
                "a": [float(f"{x:.3g}") for x in root[:, 0]],
                "b": [float(f"{x:.3g}") for x in root[:, 1]],
                "yaw": [float(f"{x:.3g}") for x in root[:, 2]],
            },
        }


def _mean(f: Floats, y: Floats, use: NDArray[np.bool_], low: float, high: float) -> float:
    inside = use & (f >= low) & (f <= high)
    return float(y[inside].mean()) if inside.sum() >= 3 else float("nan")


def _tone(f: Floats, y: Floats, use: NDArray[np.bool_]) -> tuple[float, float]:
    """Largest ratio of a bin to the median of the 24 bins around it, above 50 Hz."""
    f, y = f[use & (f >= 50.0)], y[use & (f >= 50.0)]
    if len(f) < 40:
        return 1.0, 0.0
    view = np.lib.stride_tricks.sliding_window_view(y, 25)
    ratio = y[12:-12] / np.maximum(np.median(view, axis=1), 1e-30)
    k = int(np.argmax(ratio))
    return float(ratio[k]), float(f[12 + k])


def crest(log: FlightLog, shafts: Shafts, window: float = 0.25, steady: float = 8.0) -> float | None:
    """Median crest factor of the gyro's fast part in windows in which every speed keeps within ``steady`` Hz.

    The fast part is the difference of neighbouring samples. A sine has √2. In throttle moves the figure means
    nothing, hence steady windows only; None when there are fewer than four.
    """
    size = max(round(window * log.fs), 16)
    runs = [np.arange(s.start, s.stop - size, size, dtype=np.int64) for s in log.segments()]
    starts = np.concatenate(runs) if runs else np.empty(0, dtype=np.int64)
    if not len(starts) or log.gyro is None:
        return None
    at = log.t[starts][:, None] + np.linspace(0.0, window, 5)
    _, f, known = shafts.at(at.reshape(-1))
    f = f.reshape(len(starts), 5, -1)
    calm = known.reshape(len(starts), 5).all(axis=1) & (np.ptp(f, axis=1).max(axis=1) < steady)
    got = []
    for a in starts[calm][:200].tolist():
        y = np.diff(log.gyro[a : a + size], axis=0)
        y = y - y.mean(axis=0)
        got.append(float((np.abs(y).max(axis=0) / np.maximum(y.std(axis=0), 1e-12)).mean()))
    return float(np.median(got)) if len(got) >= 4 else None


def structure(log: FlightLog, short: ShortTime, shafts: Shafts) -> Structure | None:
    """Resonances, floor, lines and crest; None without a masked density."""
    if short.masked is None or short.seen.max() < FEWEST:
        return None
    use = short.seen >= FEWEST
    f, yaw = short.f, short.masked[:, 2]
    high = use & (f >= 0.6 * f[-1]) & (f <= 0.9 * f[-1])
    floor = float(np.median(short.masked[high, 2])) if high.any() else float(np.median(yaw[use]))
    low, top = _mean(f, yaw, use, 80.0, 200.0), _mean(f, yaw, use, 350.0, min(600.0, 0.45 * log.fs))
    return Structure(
        f,
        short.masked,
        short.seen,
        (
            arm_mode(f, short.masked[:, 0], short.seen),
            arm_mode(f, short.masked[:, 1], short.seen),
        ),
        floor,
        _tone(f, yaw, use),
        low / top if top > 0 else float("nan"),
        crest(log, shafts),
    )


@dataclass(frozen=True, slots=True)
class Features:
    """One flight.

    Attributes:
        motors: features of each motor by corner ("fl"...), by name of ``OWN``; what is not told is left out.
        group: features of the quad by name of ``GROUP``.
        errors: standard errors of the motors' features, where known.
        seconds: length of the flight.
    """

    motors: Mapping[str, Mapping[str, float]]
    group: Mapping[str, float]
    errors: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    seconds: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "motors": {c: {k: round(v, 5) for k, v in own.items()} for c, own in self.motors.items()},
            "group": {k: round(v, 5) for k, v in self.group.items()},
            "errors": {c: {k: round(v, 5) for k, v in own.items()} for c, own in self.errors.items()},
            "seconds": round(self.seconds, 2),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Features:
        """From ``to_json``."""
        return cls(data["motors"], data["group"], data.get("errors", {}), float(data.get("seconds", 0.0)))


def _ln(x: float, floor: float) -> float:
    return 0.5 * math.log(max(x, 0.0) ** 2 + floor**2)


def _lines(tracks: Tracks) -> tuple[Floats, Floats]:
    """Amplitude (m, k) of each order over the flight, deg/s, noise taken off, and its standard error."""
    power = (np.abs(tracks.amplitude) ** 2).sum(axis=3) - tracks.noise
    # Blocks in which noise is low say most; a loud block must not decide alone.
    weight = 1.0 / np.maximum(tracks.noise, 1e-20)
    top = np.quantile(power, 0.9, axis=0)
    power = np.minimum(power, 3.0 * np.abs(top) + 1e-20)
    mean = (weight * power).sum(axis=0) / weight.sum(axis=0)
    count = max(len(power) / 2.0, 1.0)
    error = np.sqrt((weight**2 * (power - mean) ** 2).sum(axis=0)) / weight.sum(axis=0) * np.sqrt(2.0)
    size = np.sqrt(np.maximum(mean, 0.0))
    doubt = error / (2.0 * np.maximum(size, np.sqrt(np.maximum(error, 1e-30)))) * max(1.0, 1.0 / count)
    return np.degrees(size), np.degrees(doubt)


def features(
    frame: Airframe,
    fitted: Unbalance | None,
    tracks: Tracks | None,
    found: Structure | None,
    shafts: Shafts,
    balls: Floats | None,
    seconds: float,
) -> Features:
    """Collect them.

    Args:
        frame: labels.
        fitted: unbalance and track.
        tracks: orders 1½, 2 and 3 where the log is fast enough.
        found: structure.
        shafts: speeds, for the effort.
        balls: (m,) level of the strongest bearing tone over its surroundings, or None without acceleration.
        seconds: length of the flight.
    """
    motors: dict[str, dict[str, float]] = {c: {} for c in frame.corners}
    errors: dict[str, dict[str, float]] = {c: {} for c in frame.corners}
    turning = shafts.speed.min(axis=1) > 60.0
    if turning.sum() > 20:
        log_speed = np.log(shafts.speed[turning])
        effort = np.median(log_speed - log_speed.mean(axis=1, keepdims=True), axis=0)
        for i, c in enumerate(frame.corners):
            motors[c]["effort"] = float(effort[i])
    _unbalances(frame, fitted, motors, errors)
    _harmonics(frame, tracks, motors, errors)
    if balls is not None:
        for i, c in enumerate(frame.corners):
            motors[c]["bearing"] = 0.5 * math.log(max(float(balls[i]), 1e-3))
    group: dict[str, float] = {}
    if found is not None:
        for name, mode in zip(("arm_a", "arm_b"), found.modes, strict=True):
            if mode is not None:
                group[name] = math.log(mode.f)
        group["floor"] = 0.5 * math.log(max(found.floor, 1e-20))
        group["tone"] = 0.5 * math.log(max(found.tone[0], 1.0))
        if math.isfinite(found.stack) and found.stack > 0:
            group["stack"] = 0.5 * math.log(found.stack)
    return Features(motors, group, errors, seconds)


Table = dict[str, dict[str, float]]


def _unbalances(frame: Airframe, fitted: Unbalance | None, motors: Table, errors: Table) -> None:
    if fitted is None:
        return
    for c, u in zip(frame.corners, fitted.motors, strict=True):
        if u.separable:
            size = u.unbalance / GRAM_MM
            motors[c]["unbalance"] = _ln(size, U_FLOOR)
            errors[c]["unbalance"] = u.error / GRAM_MM / math.hypot(size, U_FLOOR)
        if u.model == "two":
            motors[c]["track"] = _ln(u.track, T_FLOOR)
            errors[c]["track"] = u.track_error / math.hypot(u.track, T_FLOOR)


def _harmonics(frame: Airframe, tracks: Tracks | None, motors: Table, errors: Table) -> None:
    if tracks is None or len(tracks.t) < 4:
        return
    size, error = _lines(tracks)
    names = {1.5: "half", 2.0: "second", 3.0: "third"}
    for k, order in enumerate(tracks.orders):
        if order not in names:
            continue
        for i, c in enumerate(frame.corners):
            level = float(size[i, k])
            motors[c][names[order]] = _ln(level, LINE_FLOOR)
            errors[c][names[order]] = float(error[i, k]) / math.hypot(level, LINE_FLOOR)
