"""Crashes in the log: a push far above flying, with a jump of the rates.

Rules (tried on simulated flights only, which are easy): acceleration over 8 g and over its median by eight
median deviations, or at full scale, for two samples or more; and the rates change by over 150 deg/s from
20 ms before to 60 ms after. Without acceleration only a jump of over 400 deg/s counts, and the event is told
as less sure. Severity by the change of velocity is an assumption, and a person confirms it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog

    Floats = NDArray[np.float64]

__all__ = ["HIT", "SLAM", "Strike", "strikes"]

GRAVITY: Final = 9.80665
LEAST: Final = 8.0 * GRAVITY
TOGETHER: Final = 0.5
JUMP: Final = float(np.radians(150.0))
JUMP_ALONE: Final = float(np.radians(400.0))

HIT: Final = 1.5
"""Change of velocity from which a crash is a hit, m/s. Assumption."""

SLAM: Final = 4.0
"""Change of velocity from which it is a slam, m/s. Assumption."""


@dataclass(frozen=True, slots=True)
class Strike:
    """One crash.

    Attributes:
        at: s from the start of the log.
        severity: "scuff", "hit" or "slam": proposed, to be confirmed.
        peak: largest acceleration, m/s², or None without acceleration.
        clipped: samples at full scale: then the peak is a lower bound.
        velocity: change of velocity, m/s, or None; clipped, that of a half-sine of the same length.
        rate: change of the rates, rad/s.
        turned: angle turned in the second after, rad.
        sure: whether acceleration and rates both say so.
    """

    at: float
    severity: str
    peak: float | None
    clipped: int
    velocity: float | None
    rate: float
    turned: float
    sure: bool

    def summary(self) -> str:
        """One sentence."""
        least = "at least " if self.clipped else ""
        about = "about " if self.clipped else ""
        push = (
            ""
            if self.peak is None
            else f" {least}{self.peak / GRAVITY:.0f} g, {about}{self.velocity:.1f} m/s,"
        )
        doubt = "" if self.sure else " Gyro only: less sure."
        change = f"rates changed by {np.degrees(self.rate):.0f} deg/s."
        return f"{self.at:.1f} s: {self.severity},{push} {change}{doubt}"

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "at_s": round(self.at, 3),
            "severity": self.severity,
            "peak_g": None if self.peak is None else round(self.peak / GRAVITY, 2),
            "clipped": self.clipped,
            "velocity_m_s": None if self.velocity is None else round(self.velocity, 2),
            "rate_dps": round(float(np.degrees(self.rate)), 1),
            "turned_deg": round(float(np.degrees(self.turned)), 1),
            "sure": self.sure,
            "summary": self.summary(),
        }


def _around(t: Floats, y: NDArray[np.float32], low: float, high: float) -> NDArray[np.float32]:
    return y[np.searchsorted(t, low) : np.searchsorted(t, high)]


def _jump(log: FlightLog, at: float) -> tuple[float, float]:
    """Change of the rates about a moment and angle turned in the second after, rad/s and rad."""
    assert log.gyro is not None  # noqa: S101 - callers have checked
    before = _around(log.t, log.gyro, at - 0.05, at - 0.015)
    after = _around(log.t, log.gyro, at - 0.02, at + 0.06)
    later = _around(log.t, log.gyro, at, at + 1.0)
    if len(before) < 3 or len(after) < 3:
        return 0.0, 0.0
    # A mean over 5 ms, so that a line at shaft speed is no jump.
    width = max(round(0.005 * log.fs), 1)
    smooth = np.array([np.convolve(after[:, a], np.ones(width) / width, "valid") for a in range(3)]).T
    change = np.linalg.norm(smooth - before.mean(axis=0), axis=1)
    turned = float(np.linalg.norm(later.sum(axis=0)) / log.fs) if len(later) else 0.0
    return float(change.max(initial=0.0)), turned


def _unclipped(acc: NDArray[np.float32], top: float, rate: float) -> float:
    """Change of velocity of a push whose top is cut off, m/s; 0 when no axis is.

    A half-sine of peak P and length W is over A for t = 2W/π·acos(A/P), so P = A / cos(πt/2W); its area is
    2PW/π. Done axis by axis. The cosine is kept above 0.2: more than five times full scale is not told.

    Args:
        acc: (n, 3) the samples of the push, m/s².
        top: full scale, m/s².
        rate: samples a second.
    """
    cut = (np.abs(acc) >= 0.9999 * top).sum(axis=0)
    if cut.max() < 2:
        return 0.0
    # The push is seen from 8 g on; a half-sine that is cut off begins and ends about a sample outside.
    wide = (len(acc) + 1) / rate
    peak = np.abs(acc).max(axis=0) / np.maximum(
        np.cos(np.pi / 2 * np.minimum(cut / (len(acc) + 1), 1.0)), 0.2
    )
    return 2.0 * float(np.linalg.norm(peak)) * wide / np.pi


def _severity(velocity: float) -> str:
    return "slam" if velocity >= SLAM else "hit" if velocity >= HIT else "scuff"


def strikes(log: FlightLog) -> tuple[Strike, ...]:
    """Every crash, in order of time; empty without a gyro."""
    if log.gyro is None or len(log.t) < 100:
        return ()
    if log.acc is None or log.acc_t is None or log.meta.rates.get("acc", 0.0) < 100.0:
        return _gyro_only(log)
    size = np.linalg.norm(log.acc, axis=1).astype(np.float64)
    middle = float(np.median(size))
    spread = float(np.median(np.abs(size - middle)))
    top = np.abs(log.acc).max()
    full = (np.abs(log.acc) >= 0.9999 * top).any(axis=1) & (top > LEAST)
    full &= int(full.sum()) > 2
    hot = np.flatnonzero((size > max(LEAST, middle + 8.0 * spread)) | full)
    out = []
    groups = np.split(hot, np.flatnonzero(np.diff(log.acc_t[hot]) > TOGETHER) + 1) if len(hot) else []
    for group in groups:
        if len(group) < 2:
            continue
        at = float(log.acc_t[group[0]])
        rate, turned = _jump(log, at)
        if rate < JUMP:
            continue
        rows = slice(int(group[0]), int(group[-1]) + 1)
        quiet = _around(log.acc_t, log.acc, at - 0.3, at - 0.02)
        rest = quiet.mean(axis=0) if len(quiet) else np.zeros(3)
        step = np.diff(log.acc_t[rows.start : rows.stop + 1], append=log.acc_t[rows.stop - 1])[: len(group)]
        step = np.minimum(np.abs(step), 2.0 / log.meta.rates["acc"])
        push = log.acc[rows][: len(step)] - rest
        velocity = float(np.linalg.norm((push * step[: len(push), None]).sum(axis=0)))
        first = group[np.concatenate(([True], np.diff(group) <= 2)).cumprod().astype(bool)]
        velocity = max(velocity, _unclipped(log.acc[first], float(top), log.meta.rates["acc"]))
        out.append(
            Strike(
                at,
                _severity(velocity),
                float(size[rows].max()),
                int(full[rows].sum()),
                velocity,
                rate,
                turned,
                sure=True,
            )
        )
    return tuple(out)


def _gyro_only(log: FlightLog) -> tuple[Strike, ...]:
    assert log.gyro is not None  # noqa: S101 - callers have checked
    width = max(round(0.005 * log.fs), 1)
    out: list[Strike] = []
    for span in log.segments():
        count = (span.stop - span.start) // width
        if count < 20:
            continue
        # Means over 5 ms, so that a line at shaft speed is no jump; compared three apart.
        y = log.gyro[span][: count * width].reshape(count, width, 3).mean(axis=1, dtype=np.float64)
        change = np.linalg.norm(y[3:] - y[:-3], axis=1)
        hot = np.flatnonzero(change > JUMP_ALONE)
        groups = np.split(hot, np.flatnonzero(np.diff(hot) > TOGETHER / 0.005) + 1) if len(hot) else []
        for group in groups:
            at = float(log.t[span.start + (int(group[0]) + 2) * width])
            _, turned = _jump(log, at)
            out.append(Strike(at, "hit", None, 0, None, float(change[group].max()), turned, sure=False))
    return tuple(out)
