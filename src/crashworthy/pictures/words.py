"""Numbers as people read them: SI inside, mm, g and packs on the page, always with the unit."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "FILTERS",
    "ago",
    "chance",
    "day",
    "factor",
    "few",
    "grams",
    "iso",
    "millimetres",
    "number",
    "percent",
    "plural",
    "share_of",
    "signed",
    "typeset",
    "upfirst",
    "whole",
]

_NONE: Final = "–"


def _absent(value: object) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


def number(value: float | None, digits: int = 3) -> str:
    """A number with ``digits`` significant digits and thin thousands."""
    if value is None or _absent(value):
        return _NONE
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    size = abs(value)
    if size and not 1e-4 <= size < 1e7:
        return f"{value:.{digits - 1}e}".replace("-", "−")
    places = max(0, digits - 1 - math.floor(math.log10(size))) if size else 0
    return f"{value:,.{places}f}".replace(",", "\u202f").replace("-", "−")


def whole(value: float) -> str:
    """A count with thin thousands: "2 000"."""
    return f"{value:,.0f}".replace(",", "\u202f")


def grams(mass: float | None, digits: int = 0) -> str:
    """Mass in kg as grams: "698 g"."""
    if mass is None or _absent(mass):
        return _NONE
    return f"{1000 * mass:.{digits}f} g".replace("-", "−")


def millimetres(length: float | None, digits: int = 1) -> str:
    """Length in m as millimetres."""
    if length is None or _absent(length):
        return _NONE
    return f"{1000 * length:.{digits}f} mm".replace("-", "−")


def percent(share: float | None) -> str:
    """A share as per cent with sense: "41 %", "3.1 %", "0.06 %", "under 0.01 %"."""
    if share is None or _absent(share):
        return _NONE
    value = 100 * share
    if value == 0:
        return "0 %"
    if value < 0.01:
        return "under 0.01 %"
    return f"{value:.0f} %" if value >= 9.95 else f"{value:.1f} %" if value >= 0.995 else f"{value:.2f} %"


def chance(probability: float | None) -> str:
    """A probability as "98 in 100", or "1 in 40" when it is small."""
    if probability is None or _absent(probability):
        return _NONE
    if probability <= 0:
        return "never seen"
    if probability < 0.05:
        return f"1 in {1 / probability:,.0f}".replace(",", "\u202f")
    return f"{100 * probability:.0f} in 100"


def plural(count: float, one: str, many: str = "") -> str:
    """A count with its noun: "1 pack", "3 packs"."""
    shown = f"{count:,.0f}".replace(",", "\u202f") if float(count).is_integer() else f"{count:.1f}"
    return f"{shown} {one if count == 1 else many or one + 's'}"


def day(moment: datetime | None) -> str:
    """A moment as "2026-03-14 16:05 UTC"; the page's script shows it in local time."""
    return _NONE if moment is None else moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


def iso(moment: datetime) -> str:
    """A moment for the ``datetime`` attribute."""
    return moment.astimezone(UTC).isoformat(timespec="seconds")


def ago(moment: datetime | None, now: datetime | None = None) -> str:
    """How long ago, roughly."""
    if moment is None:
        return "never"
    seconds = ((now or datetime.now(UTC)) - moment).total_seconds()
    for size, name in ((86_400, "day"), (3_600, "hour"), (60, "minute")):
        if seconds >= size:
            return f"{plural(int(seconds // size), name)} ago"
    return "just now"


def factor(beta: float) -> str:
    """A lognormal standard deviation as the factor it stands for: 0.25 is "1.3"."""
    return number(math.exp(beta), 2)


def few(value: float | None) -> str:
    """A small count with two digits, "under 0.01" below that."""
    if value is None or _absent(value):
        return _NONE
    return "0" if value == 0 else "under 0.01" if value < 0.01 else number(value, 2)


def upfirst(text: str) -> str:
    """The text with its first letter large and the rest as it was."""
    return text[:1].upper() + text[1:]


_RANGE: Final = re.compile(r"\d{4}-\d{2}-\d{2}|(?<=\d)-(?=\d)|(?<=\d) x (?=\d)|(?<![^ (])-(?=\d)")


def typeset(text: str) -> str:
    """A sentence as print has it: "0.8-1.0" with a dash, "M3 x 12" with a cross, "-3" with a minus."""

    def better(found: re.Match[str]) -> str:
        if found[0] == "-" and not text[max(0, found.start() - 1)].isdigit():
            return "−"
        return {"-": "–", " x ": " × "}.get(found[0], found[0])  # a date stays as it is

    return _RANGE.sub(better, text)


def share_of(name: str, shares: dict[str, float]) -> float:
    """The share that belongs to a part, 0 when it was never hit."""
    return shares.get(name, 0.0)


def signed(value: float | None, digits: int = 1) -> str:
    """A change with its sign and ``digits`` decimals; "0" when nothing of it is left: "+7", "−9.4", "0"."""
    if value is None or _absent(value):
        return _NONE
    if round(value, digits) == 0:
        return "0"
    return f"{value:+.{digits}f}".replace("-", "−")


FILTERS: Final[dict[str, Callable[..., Any]]] = {
    "ago": ago,
    "chance": chance,
    "day": day,
    "factor": factor,
    "few": few,
    "grams": grams,
    "iso": iso,
    "mm": millimetres,
    "num": number,
    "percent": percent,
    "plural": plural,
    "share_of": share_of,
    "signed": signed,
    "typeset": typeset,
    "upfirst": upfirst,
    "whole": whole,
}
"""By name in the templates."""
