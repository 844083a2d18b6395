"""What a log can answer, decided before anything is computed.

A line at f shows at |f - fs·round(f/fs)| in a record of fs samples a second, so a slow log hides or misplaces
what it is asked about. Rules (measured on simulated flights): order 1 needs three samples a turn, blade
passing three samples a blade; speed telemetry needs 45 updates a second, and under 15 it is useless. A log
that is too slow for a question is answered "too slow", never as if nothing were wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.vibration.orders import alias
from crashworthy.vibration.pack import why_not

if TYPE_CHECKING:
    from crashworthy.vibration.airframe import Airframe
    from crashworthy.vibration.log import FlightLog

__all__ = ["PER_TURN", "QUESTIONS", "SPEED_LEAST", "SPEED_WANTED", "Rule", "clipped", "quality", "top_speed"]

PER_TURN: Final = 3.0
"""Samples a period that a line needs."""

SPEED_WANTED: Final = 45.0
"""Telemetry updates a second below which unbalance may be off by a quarter."""

SPEED_LEAST: Final = 15.0
"""Telemetry updates a second below which orders cannot be told."""

SHORTEST: Final = 4.0
"""Seconds of flight that order analysis needs."""

QUESTIONS: Final = {
    "causes": "what is likely wrong",
    "arms": "resonance of the arms",
    "crashes": "crashes in the log",
    "spectrum": "spectrum and noise floor",
    "dose": "vibration dose",
    "unbalance": "unbalance of each motor",
    "blade pass": "blade passing of each motor",
    "pack": "pack resistance",
    "speed": "motor speed from the spectrum",
}
"""Every question by key, in words."""


@dataclass(frozen=True, slots=True)
class Rule:
    """Whether a log can answer a question.

    Attributes:
        question: key into ``QUESTIONS``.
        can: whether it can.
        verdict: "can", "caution", "too slow", "not logged", "too short" or "no build".
        why: the reason in words.
        change: what would change it.
    """

    question: str
    can: bool
    verdict: str
    why: str
    change: str = ""


def top_speed(log: FlightLog) -> float:
    """99th percentile of the fastest motor, Hz; 0 without speeds."""
    if log.speed is None or not len(log.speed):
        return 0.0
    return float(np.percentile(log.speed.max(axis=1), 99))


def clipped(log: FlightLog) -> float:
    """Share of samples at which an axis stands at its extreme value, as a full scale leaves it."""
    if log.gyro is None or not len(log.gyro):
        return 0.0
    worst = 0.0
    for a in range(3):
        y = log.gyro[:, a]
        top = np.abs(y).max()
        at = int((np.abs(y) >= top * 0.9999).sum())
        worst = max(worst, at / len(y) if at > 3 and top > 1.0 else 0.0)
    return worst


def quality(log: FlightLog, frame: Airframe | None) -> dict[str, Rule]:
    """Decide each question.

    Args:
        log: the flight.
        frame: the airframe, or None when no build is given.
    """
    rules = [_spectrum(log), _dose(log, frame), _unbalance(log, frame), _blade_pass(log, frame), _pack(log)]
    rules += [_like(rules[2], "causes"), _like(rules[2], "arms"), _crashes(log)]
    return {r.question: r for r in rules}


def _like(rule: Rule, question: str) -> Rule:
    """The same rule for another question that rests on the same."""
    return Rule(question, rule.can, rule.verdict, rule.why, rule.change)


def _crashes(log: FlightLog) -> Rule:
    if log.gyro is None or len(log.t) < 100:
        return _no_gyro("crashes")
    if log.fs < 90.0:
        why = f"log too slow: {log.fs:.0f} samples/s, needs 100"
        return Rule("crashes", False, "too slow", why, "log at 100 samples/s or more")
    return Rule("crashes", True, "can", f"{log.fs:.0f} samples/s")


def _no_gyro(question: str) -> Rule:
    return Rule(question, False, "not logged", "no gyro was logged", "log the gyro's three axes")


def _spectrum(log: FlightLog) -> Rule:
    if log.gyro is None:
        return _no_gyro("spectrum")
    longest = max((s.stop - s.start for s in log.segments()), default=0)
    if longest < 64:
        return Rule(
            "spectrum",
            False,
            "too short",
            f"longest stretch without a gap has {longest} samples",
            "log longer",
        )
    return Rule("spectrum", True, "can", f"{log.fs:.0f} samples/s shows lines up to {log.fs / 2:.0f} Hz")


def _dose(log: FlightLog, frame: Airframe | None) -> Rule:
    from crashworthy.vibration.spectra import DOSE_BAND

    if log.gyro is None:
        return _no_gyro("dose")
    needs = 2.5 * DOSE_BAND[1]
    if log.fs < 0.99 * needs:
        return Rule(
            "dose",
            False,
            "too slow",
            f"log too slow: {log.fs:.0f} samples/s, needs {needs:.0f} for the band "
            f"{DOSE_BAND[0]:.0f} to {DOSE_BAND[1]:.0f} Hz",
            f"log at {needs:.0f} samples/s or more",
        )
    if frame is None:
        return Rule(
            "dose", False, "no build", "the rotors' radius is not known without a build", "name the quad"
        )
    base = _spectrum(log)
    return Rule("dose", base.can, base.verdict, base.why, base.change)


def _orders(log: FlightLog, frame: Airframe | None, question: str, order: float, build: bool) -> Rule:
    """The rule of everything that follows a shaft."""
    if log.gyro is None:
        return _no_gyro(question)
    if log.speed is None or log.speed_t is None:
        slow = f", and at {log.fs:.0f} samples/s it is too slow for it too" if log.fs < 900.0 else ""
        return Rule(
            question,
            False,
            "not logged",
            f"no motor speed was logged, so no shaft can be followed{slow}",
            "log the motors' speed (telemetry), 50 updates/s or more",
        )
    top = top_speed(log)
    if top < 20.0:
        return Rule(question, False, "too short", "the motors hardly turn in this log", "log a flight")
    needs = PER_TURN * order * top
    usual = float(np.median(log.speed))
    partly = order > 1.0 and PER_TURN * order * usual <= log.fs < needs
    if log.fs < needs and not partly:
        at = alias(order * top, log.fs)
        return Rule(
            question,
            False,
            "too slow",
            f"log too slow: {log.fs:.0f} samples/s, needs {needs:.0f} "
            f"(a line at {order * top:.0f} Hz would show at {at:.0f} Hz or be filtered away)",
            f"log at {needs:.0f} samples/s or more",
        )
    updates = log.meta.rates.get("speed", 0.0)
    if updates < SPEED_LEAST:
        return Rule(
            question,
            False,
            "too slow",
            f"motor speed too slow: {updates:.0f} updates/s, needs {SPEED_WANTED:.0f}",
            f"log the motors' speed at {SPEED_WANTED:.0f} updates/s or more",
        )
    flown = sum(float(log.t[s.stop - 1] - log.t[s.start]) for s in log.segments())
    if flown < SHORTEST:
        return Rule(
            question, False, "too short", f"{flown:.1f} s of flight, needs {SHORTEST:.0f} s", "log longer"
        )
    if build and frame is None:
        return Rule(
            question,
            False,
            "no build",
            "inertia and rotor places are not known without a build",
            "name the quad",
        )
    if build and frame is not None and log.motors != len(frame.spin):
        return Rule(
            question,
            False,
            "not logged",
            f"{log.motors} motor speeds were logged, the build has {len(frame.spin)} motors",
            "log the speed of every motor, or mend the mapping of the columns",
        )
    if updates < SPEED_WANTED:
        return Rule(
            question,
            True,
            "caution",
            f"motor speed comes at {updates:.0f} updates/s, needs {SPEED_WANTED:.0f}: figures may be "
            "off by a quarter",
            f"log the motors' speed at {SPEED_WANTED:.0f} updates/s or more",
        )
    if partly:
        return Rule(
            question,
            True,
            "caution",
            f"{log.fs:.0f} samples/s is enough up to {log.fs / PER_TURN / order:.0f} turns/s; faster "
            "parts are left out",
            f"log at {needs:.0f} samples/s or more",
        )
    share = clipped(log)
    if share > 0.001:
        return Rule(
            question,
            True,
            "caution",
            f"{100 * share:.1f} % of the gyro's samples stand at full scale, which hides part of the line",
            "mount the board softer or fly gentler for this log",
        )
    return Rule(question, True, "can", f"{log.fs:.0f} samples/s, needs {needs:.0f} at {top:.0f} turns/s")


def _unbalance(log: FlightLog, frame: Airframe | None) -> Rule:
    return _orders(log, frame, "unbalance", 1.0, build=True)


def _blade_pass(log: FlightLog, frame: Airframe | None) -> Rule:
    return _orders(log, frame, "blade pass", float(frame.blades if frame else 3), build=False)


def _pack(log: FlightLog) -> Rule:
    if log.volts is None or log.power_t is None:
        return Rule("pack", False, "not logged", "no pack voltage was logged", "log voltage and current")
    if log.amps is None:
        return Rule("pack", False, "not logged", "no current was logged", "log the current with the voltage")
    why, change = why_not(log.power_t, log.amps)
    if why:
        return Rule("pack", False, "too short" if "only" in why else "not separable", why, change)
    return Rule("pack", True, "can", f"{len(log.power_t)} readings over {np.ptp(log.power_t):.0f} s")
