"""A pack over its flights: resistance, sag, charge used, and when to think of retiring it.

Rules of thumb are common practice without a source, and labelled so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from crashworthy.vibration.trend import Trend, trend

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["CAUTIONS", "PackHealth", "pack_health"]

SCATTER: Final = 0.06
"""Scatter of the resistance between flights of one pack, natural logarithm: temperature. Assumption."""

RETIRE: Final = 1.6
"""Times the first flights' resistance at which a pack is worth retiring. Common practice, no source."""

EMPTY_CELL: Final = 3.3
"""Voltage of a cell under load below which flying on shortens its life, V. Common practice, no source."""

CAUTIONS: Final = (
    (
        "Never fly, charge or store a pack that is swollen, dented, punctured, hot or smells sweet: put it "
        "outside, away from anything that burns, and bring it to battery recycling as your local rules say."
    ),
    (
        "For more than a few days store packs at about 3.8 V a cell (common practice), cool, in a fireproof "
        "box; charge only while you are there."
    ),
)
"""Words that go with every pack."""


@dataclass(frozen=True, slots=True)
class PackHealth:
    """One pack.

    Attributes:
        battery: as the pilot marks it.
        flights: with a resistance.
        first, latest: resistance of the first three and the last flight, Ω.
        ratio: latest over first.
        margin: lowest voltage of a cell over ``EMPTY_CELL`` on the last flight, V, or None.
        used: charge of the last flight, mAh, or None.
        resistance: its trend.
        text: in words.
    """

    battery: str
    flights: int
    first: float
    latest: float
    ratio: float
    margin: float | None
    used: float | None
    resistance: Trend
    text: str

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "battery": self.battery,
            "flights": self.flights,
            "first_mohm": round(1e3 * self.first, 2),
            "latest_mohm": round(1e3 * self.latest, 2),
            "ratio": round(self.ratio, 3),
            "margin_v": None if self.margin is None else round(self.margin, 3),
            "used_mah": None if self.used is None else round(self.used, 0),
            "trend": self.resistance.to_json(),
            "text": self.text,
            "cautions": list(CAUTIONS),
        }


def pack_health(battery: str, flights: Sequence[Mapping[str, Any]]) -> PackHealth | None:
    """Judge a pack from the ``pack`` parts of its kept reports, oldest first; None without any.

    Args:
        battery: as the pilot marks it.
        flights: ``PackResistance.to_json()`` of each flight.
    """
    rows = [f for f in flights if f.get("r0_mohm", 0.0) > 0.0]
    if not rows:
        return None
    r = [float(f["r0_mohm"]) * 1e-3 for f in rows]
    begin = sorted(r[:3])[len(r[:3]) // 2]
    ratio = r[-1] / begin
    last = rows[-1]
    cells = int(last.get("cells", 0) or 0)
    margin = float(last["lowest_v"]) / cells - EMPTY_CELL if cells and "lowest_v" in last else None
    used = float(last["used_mah"]) if "used_mah" in last else None
    way = trend(f"resistance of pack {battery}", [math.log(x) for x in r], SCATTER)
    count = f"{len(r)} flight{'' if len(r) == 1 else 's'}"
    words = [f"Pack {battery}: {1e3 * r[-1]:.1f} mΩ, {ratio:.2f} times its first flights ({count})."]
    if used is not None:
        words.append(f"{used:.0f} mAh used.")
    if margin is not None:
        words.append(
            f"Under load a cell fell to {margin + EMPTY_CELL:.2f} V, {abs(margin):.2f} V "
            f"{'above' if margin >= 0 else 'BELOW'} {EMPTY_CELL:g} V: "
            f"{'land' if margin >= 0.1 else 'land earlier than this flight'}"
            f"{' as before' if margin >= 0.1 else ''}."
        )
    if ratio >= RETIRE and len(r) >= 3:
        words.append(
            f"Over {RETIRE:g} times (common practice): retire it from hard flying, if it was as warm as then."
        )
    elif way.called is not None:
        words.append("Its resistance rises: compare it with the others at like temperature.")
    return PackHealth(battery, len(r), begin, r[-1], ratio, margin, used, way, " ".join(words))
