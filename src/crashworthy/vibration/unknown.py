"""What a log cannot tell, and why: said beside every verdict, so that silence is never read as health."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.vibration.bearing import ACC_RATE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.vibration.features import Features
    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.quality import Rule

__all__ = ["unknown"]


def unknown(log: FlightLog, own: Features, rules: Mapping[str, Rule]) -> list[str]:
    """Sentences, one for each question that stays open.

    Args:
        log: the flight.
        own: what it showed.
        rules: what the log is good for.
    """
    out = []
    rate = 0.0 if log.acc is None else log.meta.rates.get("acc", 0.0)
    if rate < ACC_RATE:
        logged = f"acceleration comes at {rate:.0f} samples/s" if rate else "no acceleration was logged"
        out.append(f"Bearings: {logged}, needs {ACC_RATE:.0f}; the gyro is nearly blind to them.")
    silent = [c for c, f in own.motors.items() if "unbalance" not in f]
    if silent:
        out.append(f"Unbalance at {', '.join(silent)}: another motor turns too nearly at the same speed.")
    if not any("second" in f for f in own.motors.values()):
        out.append(f"Motor screws: log too slow, {log.fs:.0f} samples/s does not show twice a turn.")
    elif not any("third" in f for f in own.motors.values()):
        out.append(f"Motor screws: only in part, {log.fs:.0f} samples/s does not show three times a turn.")
    for name, words in (("arm_a", "front left and rear right"), ("arm_b", "front right and rear left")):
        if name not in own.group:
            out.append(f"Arm screws {words}: no resonance stands out between the orders; fly throttle moves.")
    if own.seconds < 40.0:
        out.append(f"A small loss of arm stiffness: {own.seconds:.0f} s of flight, 40 s tell a tenth of it.")
    if "floor" in own.group and log.fs < 2000.0:
        out.append(f"Electrical noise: only below {log.fs / 2:.0f} Hz at {log.fs:.0f} samples/s.")
    if rules["unbalance"].verdict == "caution":
        out.append(f"Unbalance only with caution: {rules['unbalance'].why}.")
    return out
