"""Findings of each motor: its card, in figures and in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.quantities import GRAM_MM
from crashworthy.vibration.answers import MotorCard
from crashworthy.vibration.quality import PER_TURN
from crashworthy.vibration.unbalance import grade, grade_value

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.airframe import Airframe
    from crashworthy.vibration.orders import Tracks
    from crashworthy.vibration.unbalance import Unbalance

    Floats = NDArray[np.float64]

__all__ = ["REFERENCE", "STANDS_OUT", "BladePass", "blade_pass", "gain_notes", "motor_cards"]

REFERENCE: Final = 5.0
"""Apparent unbalance above which a motor can stand out, g mm: 0.08 g missing at 60 mm. Assumption."""

STANDS_OUT: Final = 2.0
"""Times the others' median at which a motor stands out. Assumption."""


@dataclass(frozen=True, slots=True)
class BladePass:
    """Blade passing of each motor over the blocks slow enough for the log.

    Attributes:
        amplitude: (m,) deg/s, three axes together.
        error: (m,) standard error, deg/s.
        blocks: how many blocks.
    """

    amplitude: Floats
    error: Floats
    blocks: int


def blade_pass(tracks: Tracks, fs: float, blades: int) -> BladePass | None:
    """Blade passing of every motor; None with fewer than four usable blocks.

    Args:
        tracks: with the order of blade passing.
        fs: samples a second of the log.
        blades: of each prop.
    """
    order = tracks.orders.index(float(blades))
    good = tracks.f.max(axis=1) * blades * PER_TURN <= fs * 1.0001 if len(tracks.t) else np.empty(0, bool)
    if good.sum() < 4:
        return None
    power = (np.abs(tracks.amplitude[good, :, order, :]) ** 2).sum(axis=2) - tracks.noise[good, :, order]
    middle = np.median(power, axis=0)
    spread = 1.4826 * np.median(np.abs(power - middle), axis=0)
    # 1.25: a median scatters so much more than a mean; half of the overlapping blocks are independent.
    doubt = 1.25 * spread / np.sqrt(good.sum() / 2.0)
    size = np.sqrt(np.maximum(middle, 0.0))
    error = doubt / (2.0 * np.maximum(size, np.sqrt(np.maximum(doubt, 1e-300))))
    return BladePass(np.degrees(size), np.degrees(error), int(good.sum()))


def _gain(speed: float, low_pass: tuple[float, int] | None) -> float:
    return 1.0 if low_pass is None else float(1.0 / np.hypot(1.0, (speed / low_pass[0]) ** low_pass[1]))


def gain_notes(cards: tuple[MotorCard, ...], low_pass: tuple[float, int] | None) -> list[str]:
    """A note when less than 0.7 of the line is left by the low pass (cut-off in Hz, order)."""
    low = min((_gain(c.speed, low_pass) for c in cards), default=1.0)
    if low >= 0.7:
        return []
    note = (
        f"The gyro's low pass leaves only {100 * low:.0f} % of the line at shaft speed: unbalance rests on "
        "the cut-off that was given."
    )
    return [note]


def motor_cards(
    fitted: Unbalance, frame: Airframe, blade: BladePass | None, low_pass: tuple[float, int] | None
) -> tuple[MotorCard, ...]:
    """One card a motor, worst first.

    Args:
        fitted: unbalance and track.
        frame: labels and turning masses.
        blade: blade passing, or None.
        low_pass: cut-off in Hz and order of the gyro's low pass, or None when unknown.
    """
    gains = [_gain(m.speed, low_pass) for m in fitted.motors]
    size = np.array([m.unbalance / g for m, g in zip(fitted.motors, gains, strict=True)]) / GRAM_MM
    error = np.array([m.error / g for m, g in zip(fitted.motors, gains, strict=True)]) / GRAM_MM
    cards: list[MotorCard] = []
    for i, m in enumerate(fitted.motors):
        rest = np.delete(size, i)
        rest = rest[np.isfinite(rest)]
        others = float(np.median(rest)) if len(rest) else None
        ratio = float(size[i] / others) if others and m.separable and others > 0.0 else None
        value = grade_value(size[i] * GRAM_MM, float(frame.rotor_mass[i]), m.speed * 60.0)
        verdict, text, change = _words(frame.labels[i], m.separable, size[i], error[i], others, m.inflation)
        cloud = m.clouds[:: max(1, -(-len(m.clouds) // 200))] / GRAM_MM
        cards.append(
            MotorCard(
                corner=frame.corners[i],
                label=frame.labels[i],
                motor=i + 1,
                verdict=verdict,
                unbalance=float(size[i]) if m.separable else None,
                error=float(error[i]) if m.separable else None,
                others=others,
                ratio=ratio,
                grade=grade(value) if m.separable else "",
                track=m.track if m.model == "two" else None,
                track_error=m.track_error if m.model == "two" else None,
                blade_pass=None if blade is None else float(blade.amplitude[i]),
                speed=m.speed,
                blocks=m.blocks,
                offered=m.offered,
                inflation=m.inflation,
                cloud=tuple((float(a), float(b)) for a, b in cloud),
                text=text,
                change=change,
            )
        )
    rank = {"stands out": 0, "in line": 2, "no reference": 1, "not separable": 1}
    cards.sort(key=lambda c: (rank[c.verdict], -(c.unbalance or 0.0), c.motor))
    return tuple(cards)


def _words(
    label: str, separable: bool, size: float, error: float, others: float | None, inflation: float
) -> tuple[str, str, str]:
    """Verdict, text and what would change it."""
    name = label.capitalize()
    if not separable:
        text = f"{name}: not separable, another motor turns too nearly at the same speed"
        return (
            "not separable",
            f"{text} (error x {inflation:.0f}).",
            "Fly with throttle, roll and pitch moves so that the motors' speeds part.",
        )
    figure = f"apparent unbalance {size:.1f} ± {error:.1f} g mm"
    if others is None:
        return "no reference", f"{name}: {figure}; no other motor to compare with.", "Fly with more moves."
    against = (
        f"{size / others:.1f} times the others' {others:.1f}" if others > 0.05 else "the others near none"
    )
    # It stands out when it is so even at the near end of its error.
    low = size - 2.0 * error
    if low > STANDS_OUT * others and low > REFERENCE:
        return (
            "stands out",
            f"{name}: {figure}, {against}: look at its prop first, then the motor's screws and shaft.",
            "A flight with a new prop there: if the figure stays, it is the motor or its screws.",
        )
    limit = (
        f"It would stand out above {max(STANDS_OUT * others, REFERENCE):.1f} g mm ({STANDS_OUT:g} times the "
        f"others and {REFERENCE:g} g mm, both assumptions)."
    )
    return "in line", f"{name}: {figure}, {against}.", limit
