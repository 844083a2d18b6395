"""Axes: where the ticks stand and how their numbers read."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Axis", "label", "ticks"]


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round numbers (1, 2 or 5 times a power of ten) within ``low`` and ``high``.

    Raises:
        ValueError: the span is empty or not finite.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ValueError(f"no axis from {low} to {high}")
    rough = (high - low) / max(1, about)
    power = 10.0 ** math.floor(math.log10(rough))
    gap = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * 0.999999)
    first = math.ceil(low / gap - 1e-9)
    last = math.floor(high / gap + 1e-9)
    return [i * gap for i in range(first, last + 1)]


def decades(low: float, high: float) -> list[float]:
    """Powers of ten within ``low`` and ``high``; with 2 and 5 times them when there are fewer than three."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    for steps in ((1,), (1, 2, 5)):
        marks = [m * 10.0**p for p in range(first, last + 1) for m in steps]
        marks = [m for m in marks if low * 0.999999 <= m <= high * 1.000001]
        if len(marks) >= 3:
            break
    return marks


def label(value: float) -> str:
    """A tick's number: thin thousands, no needless zeros."""
    if value == 0:
        return "0"
    size = abs(value)
    if size >= 1e5 or size < 1e-3:
        mantissa, power = f"{value:.0e}".split("e")
        return f"{mantissa}e{int(power)}"
    if size >= 1000:
        return f"{value:,.0f}".replace(",", "\u202f")
    return f"{value:.6g}"


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale from numbers to places.

    Attributes:
        low, high: the numbers at the ends.
        start, end: the places of the ends, in units of the view box.
        log: whether it is logarithmic.
    """

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def __post_init__(self) -> None:
        """Refuse a scale that cannot be drawn."""
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ValueError(f"no axis from {self.low} to {self.high}")
        if self.log and self.low <= 0:
            raise ValueError("a logarithmic axis needs numbers above 0")

    def __call__(self, value: float) -> float:
        """The place of a number, clipped to the ends."""
        value = min(self.high, max(self.low, value))
        if self.log:
            part = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            part = (value - self.low) / (self.high - self.low)
        return self.start + part * (self.end - self.start)

    def ticks(self, about: int = 5) -> list[float]:
        """The numbers to mark."""
        return decades(self.low, self.high) if self.log else ticks(self.low, self.high, about)
