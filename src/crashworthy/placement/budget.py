"""The link: margin by direction, range by distance, and one receiver against two.

Margin = power + gain of the quad's antenna (blocked and turned as it is) + gain on the ground - free-space
loss
- sensitivity; the range in a direction is the distance at which that margin has shrunk to the reserve. Two
receivers take the better antenna in every direction (selection diversity).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.errors import Problem, SheetError
from crashworthy.placement.antennas import NEAR_FIELD, RAYS, Losses, Radio, in_band
from crashworthy.placement.link import POLARISATIONS, fspl, range_factor

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import Antenna

    Floats = NDArray[np.float64]

__all__ = [
    "AZIMUTHS",
    "ELEVATIONS",
    "Diversity",
    "Link",
    "LinkMap",
    "LinkSettings",
    "better_of",
    "diversity",
    "link_map",
    "link_of",
]

AZIMUTHS: Final = 72
"""Columns of a map: from -180 to 180 deg, ahead in the middle, left of the quad to the left."""

ELEVATIONS: Final = 36
"""Rows of a map: from 90 deg down to -90 deg."""

SHARE: Final = 0.1
"""Share of the directions in the pilot's band in which a range is not reached."""


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """The link around the antenna; every number an assumption, there to be changed.

    Attributes:
        power: of the transmitter, dBm.
        sensitivity: of the receiver, dBm.
        ground_gain: of the antenna on the ground, dBi.
        reserve: margin that is kept for fading, dB.
        distance: at which margins are told, m.
        losses: through parts and between polarisations.
    """

    power: float
    sensitivity: float
    ground_gain: float = 2.0
    reserve: float = 10.0
    distance: float = 500.0
    losses: Losses = field(default_factory=Losses)

    def __post_init__(self) -> None:
        """Refuse what no link has."""
        limits = {
            "power": (-30.0, 60.0),
            "sensitivity": (-160.0, 0.0),
            "ground_gain": (-20.0, 40.0),
            "reserve": (0.0, 60.0),
            "distance": (1.0, 1e6),
        }
        values = {**{n: (getattr(self, n), *limits[n]) for n in limits}}
        values |= {n: (getattr(self.losses, n), 0.0, 100.0) for n in ("carbon", "metal", "hand", "cross")}
        wrong = [
            Problem(f"{n.replace('_', ' ')} {v:g} will not do", f"give {low:g} to {high:g}", field=n)
            for n, (v, low, high) in values.items()
            if not low <= v <= high
        ]
        if self.losses.ground not in (None, *POLARISATIONS):
            wrong.append(
                Problem(
                    f"no ground antenna is {self.losses.ground!r}",
                    f"use {', '.join(POLARISATIONS)}",
                    field="ground",
                )
            )
        if wrong:
            raise SheetError(*wrong)

    @classmethod
    def of(cls, row: Antenna, losses: Losses | None = None) -> LinkSettings:
        """What is usual at an antenna's frequency (assumptions, no source)."""
        losses = losses or Losses()
        if row.mhz is not None and row.mhz >= 4000:
            return cls(26.0, -85.0, losses=losses)
        if row.mhz is not None and row.mhz < NEAR_FIELD:
            return cls(20.0, -112.0, losses=losses)
        return cls(20.0, -105.0, losses=losses)

    def margins(self, gain: Floats, mhz: float, distance: float | None = None) -> Floats:
        """Margins, dB, for gains of the quad's antenna, dBi, at a distance (m)."""
        loss = fspl(mhz, self.distance if distance is None else distance)
        out: Floats = self.power + gain + self.ground_gain - loss - self.sensitivity
        return out

    def ranges(self, gain: Floats, mhz: float) -> Floats:
        """Distances, m, at which the margin has shrunk to the reserve."""
        out: Floats = 10.0 ** ((self.margins(gain, mhz, 1.0) - self.reserve) / 20.0)
        return out

    def to_json(self) -> dict[str, Any]:
        """Plain data: dB, dBm, dBi, m."""
        return asdict(self)


def _mhz(row: Antenna, name: str) -> float:
    if row.mhz is None:
        raise SheetError(
            Problem(
                f"the sheet does not say the frequency of {name}",
                "write mhz = 5800 into its row, or whatever it is made for",
                field=f"antennas.{name}.mhz",
            )
        )
    return row.mhz


@dataclass(frozen=True, slots=True, eq=False)
class LinkMap:
    """Margin by direction.

    Attributes:
        azimuth: (72,) deg, 0 ahead, positive left.
        elevation: (36,) deg.
        margin: (36, 72) dB at the settings' distance.
    """

    azimuth: Floats
    elevation: Floats
    margin: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """One antenna's link.

    Attributes:
        name: of the antenna.
        mhz: its frequency.
        settings: around it.
        gain: (n,) dBi for ``fibonacci(RAYS)``.
        tenth, median: range in the pilot's band reached in nine directions of ten, and in half of them, m.
        margin: margin in the tenth percentile direction at the settings' distance, dB.
        open: range reached in nine of ten if nothing were in the way, m.
    """

    name: str
    mhz: float
    settings: LinkSettings
    gain: Floats
    tenth: float
    median: float
    margin: float
    open: float

    def reached(self, distances: Floats) -> Floats:
        """Share of directions in the pilot's band in which each distance (m) is reached."""
        ranges = np.sort(self.settings.ranges(self.gain[in_band(fibonacci(RAYS))], self.mhz))
        short = np.searchsorted(ranges, distances, side="left")
        out: Floats = 1.0 - short / len(ranges)
        return out

    def summary(self) -> str:
        """One sentence."""
        shadows = "; at this frequency shadows mean little" if self.mhz < NEAR_FIELD else ""
        return (
            f"{self.name.replace('_', ' ')}: {_km(self.tenth)} in nine directions of ten, "
            f"{_km(self.median)} in half of them, with "
            f"{self.settings.reserve:g} dB in reserve; the quad's own parts cost "
            f"{100 * (1 - self.tenth / self.open):.0f} % of the first{shadows}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data, m and dB."""
        return {
            "mhz": self.mhz,
            "range_nine_in_ten_m": round(self.tenth, 1),
            "range_half_m": round(self.median, 1),
            "margin_tenth_dB": round(self.margin, 2),
            "range_unblocked_m": round(self.open, 1),
            "settings": self.settings.to_json(),
            "summary": self.summary(),
        }


def _km(metres: float) -> str:
    return f"{metres / 1e3:.1f} km" if metres >= 950 else f"{metres:.0f} m"


def link_of(
    radio: Radio, name: str, row: Antenna | None = None, settings: LinkSettings | None = None
) -> Link:
    """The link of one antenna.

    Args:
        radio: the quad; its losses should be those of the settings.
        name: of the antenna.
        row: the same antenna placed otherwise; the sheet's own by default.
        settings: around it; what is usual at its frequency by default.

    Raises:
        SheetError: the sheet does not say its frequency.
        KeyError: the sheet has no such antenna.
    """
    row = radio.quad.sheet.antennas[name] if row is None else row
    mhz = _mhz(row, name)
    settings = settings or LinkSettings.of(row, radio.losses)
    directions = fibonacci(RAYS)
    band = in_band(directions)
    gain, free = radio.gain(row, directions), radio.free_gain(row, directions)
    low = float(np.quantile(gain[band], SHARE))
    ranges = settings.ranges(np.array([low, np.median(gain[band]), np.quantile(free[band], SHARE)]), mhz)
    margin = float(settings.margins(np.array([low]), mhz)[0])
    return Link(name, mhz, settings, gain, float(ranges[0]), float(ranges[1]), margin, float(ranges[2]))


def better_of(a: Link, b: Link) -> Link:
    """Two receivers on one frequency as one link: the better antenna in every direction."""
    band = in_band(fibonacci(RAYS))
    gain = np.maximum(a.gain, b.gain)
    low = float(np.quantile(gain[band], SHARE))
    ranges = a.settings.ranges(np.array([low, np.median(gain[band])]), a.mhz)
    margin = float(a.settings.margins(np.array([low]), a.mhz)[0])
    whole = max(a.open, b.open, float(ranges[0]))
    return Link(
        f"{a.name} or {b.name}", a.mhz, a.settings, gain, float(ranges[0]), float(ranges[1]), margin, whole
    )


def link_map(
    radio: Radio, name: str, row: Antenna | None = None, settings: LinkSettings | None = None
) -> LinkMap:
    """Margin by direction at the settings' distance; arguments as for ``link_of``.

    Raises:
        SheetError: the sheet does not say its frequency.
        KeyError: the sheet has no such antenna.
    """
    row = radio.quad.sheet.antennas[name] if row is None else row
    settings = settings or LinkSettings.of(row, radio.losses)
    # Left of the picture is left of the quad: azimuth falls from left to right.
    azimuth = 180.0 - (np.arange(AZIMUTHS) + 0.5) * 360.0 / AZIMUTHS
    elevation = 90.0 - (np.arange(ELEVATIONS) + 0.5) * 180.0 / ELEVATIONS
    a, e = np.radians(np.meshgrid(azimuth, elevation))
    ways = np.stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)], axis=-1).reshape(-1, 3)
    margin = settings.margins(radio.gain(row, ways), _mhz(row, name))
    return LinkMap(azimuth, elevation, margin.reshape(ELEVATIONS, AZIMUTHS))


@dataclass(frozen=True, slots=True)
class Diversity:
    """Two receivers that take the better of two antennas, against the better one alone.

    Attributes:
        names: of the two.
        proposed: whether the second is not in the sheet yet.
        gain: rise of the tenth percentile in the band, dB.
        range: the factor in range that this is.
        both, one: range in nine directions of ten with both and with the better alone, m.
        left: range that is left when the lead of the better is cut, m; with one receiver nothing is.
        cut: share of first touches that land on the better alone and on the other one.
    """

    names: tuple[str, str]
    proposed: bool
    gain: float
    range: float
    both: float
    one: float
    left: float
    cut: tuple[float, float]

    def summary(self) -> str:
        """One sentence."""
        one, two = (n.replace("_", " ") for n in self.names)
        return (
            f"{one} with {two}: {_km(self.both)} instead of {_km(self.one)} in nine directions "
            f"of ten ({self.gain:+.1f} dB, {self.range:.2f} times). The better of the two is met first in "
            f"{100 * self.cut[0]:.1f} % of hits: its lead cut, one receiver hears nothing, two still "
            "hear over "
            f"{_km(self.left)}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data, m and dB."""
        return {
            "names": list(self.names),
            "proposed": self.proposed,
            "gain_dB": round(self.gain, 2),
            "range_factor": round(self.range, 3),
            "range_both_m": round(self.both, 1),
            "range_one_m": round(self.one, 1),
            "range_after_cut_m": round(self.left, 1),
            "first_touch_shares": [round(c, 5) for c in self.cut],
            "summary": self.summary(),
        }


def diversity(
    a: Link, b: Link, *, proposed: bool = False, shares: tuple[float, float] = (0.0, 0.0)
) -> Diversity:
    """The better of two antennas in every direction against the better one alone.

    Args:
        a: one antenna's link.
        b: the other's.
        proposed: whether the second is not in the sheet yet.
        shares: of first touches of each.
    """
    better, other = (a, b) if a.tenth >= b.tenth else (b, a)
    two = better_of(better, other)
    gain = two.margin - better.margin
    cut = shares if better is a else (shares[1], shares[0])
    return Diversity(
        (a.name, b.name), proposed, gain, range_factor(gain), two.tenth, better.tenth, other.tenth, cut
    )
