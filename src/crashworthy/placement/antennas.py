"""Antennas: what of the sphere the quad's own parts block, and the gain that is left in each direction.

Line of sight only: at 2.4 GHz the wavelength is 125 mm, parts are smaller than that, and diffraction fills
shadows in. Below ``NEAR_FIELD`` MHz shadows mean little and only the distance to carbon is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.placement.link import (
    AXIAL_RATIO_LOSS,
    LIGHT,
    LINEAR_FLOOR,
    in_db,
    pattern,
    polarisation_match,
)
from crashworthy.placement.rays import Sight
from crashworthy.placement.skin import Skin, cloud, shapes_of
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import Antenna
    from crashworthy.build.quad import Quad

    Floats = NDArray[np.float64]

__all__ = ["BAND", "CARBON_LOSS", "METAL_LOSS", "Coverage", "Losses", "Radio", "coverage", "in_band", "moved"]

CARBON_LOSS: Final = 20.0
"""Loss of a line of sight through carbon laminate, dB (assumption, editable: published laminates are treated
as metal-like ground planes, Artner et al. 2017, doi 10.1155/2017/6152651, abstract read)."""

METAL_LOSS: Final = 20.0
"""Loss through metal, a pack or a board, dB (assumption: what bends around it is what is left)."""

BAND: Final = (-30.0, 10.0)
"""Elevations, deg, seen from the quad, at which the pilot mostly is (assumption)."""

NEAR_FIELD: Final = 1000.0
"""Frequency, MHz, below which only the distance to carbon is told."""

RAYS: Final = 3000
ALONG: Final = (0.5, 0.75, 1.0)
"""Places along the radiator from which lines of sight are taken."""

_METAL: Final = ("al6061", "al7075", "steel", "stainless", "ti64", "copper", "lipo", "fr4")


@dataclass(frozen=True, slots=True)
class Losses:
    """What a line of sight and two unlike antennas lose, dB; every one an assumption, there to be changed.

    Attributes:
        carbon: through carbon laminate.
        metal: through metal, pack or boards.
        hand: greatest loss between opposite hands.
        cross: greatest loss between crossed linear antennas.
        ground: polarisation on the ground, one of ``link.POLARISATIONS``; None for the antenna's own, upright
            for a linear one.
    """

    carbon: float = CARBON_LOSS
    metal: float = METAL_LOSS
    hand: float = AXIAL_RATIO_LOSS
    cross: float = LINEAR_FLOOR
    ground: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """One antenna.

    Attributes:
        name: as in the sheet.
        blocked_carbon: share of the sphere behind carbon.
        blocked: share behind carbon, metal, pack or boards.
        blocked_band: the same in the pilot's band of elevations.
        gain: (n,) gain with blocking and the pilot's polarisation, dBi, for ``fibonacci(RAYS)``.
        worst, tenth, median: of the gain in the band, dBi: least, tenth percentile, middle.
        carbon_gap: distance of the radiator from the nearest carbon, m; infinite without.
        mhz: frequency, MHz, or None.
    """

    name: str
    blocked_carbon: float
    blocked: float
    blocked_band: float
    gain: Floats
    worst: float
    tenth: float
    median: float
    carbon_gap: float
    mhz: float | None

    @property
    def near_carbon(self) -> bool:
        """Whether carbon is nearer than a tenth of the wavelength."""
        return self.mhz is not None and self.carbon_gap < LIGHT / (self.mhz * 1e6) / 10

    def summary(self) -> str:
        """One sentence."""
        near = (
            f"; carbon {self.carbon_gap / MM:.0f} mm away, within a tenth of the wavelength, detunes it"
            if self.near_carbon
            else ""
        )
        if self.mhz is not None and self.mhz < NEAR_FIELD:
            return (
                f"{self.name}: at {self.mhz:.0f} MHz shadows mean little{near or '; carbon is far enough'}."
            )
        return (
            f"{self.name}: {100 * self.blocked:.0f} % of the sphere blocked ({100 * self.blocked_band:.0f} % "
            f"where the pilot is), one direction in ten below {self.tenth:.1f} dBi{near}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "blocked_carbon_share": round(self.blocked_carbon, 4),
            "blocked_share": round(self.blocked, 4),
            "blocked_in_band_share": round(self.blocked_band, 4),
            "worst_dbi": round(self.worst, 2),
            "tenth_dbi": round(self.tenth, 2),
            "median_dbi": round(self.median, 2),
            "carbon_gap_mm": round(self.carbon_gap / MM, 1) if np.isfinite(self.carbon_gap) else None,
            "near_carbon": self.near_carbon,
            "summary": self.summary(),
        }


def in_band(directions: Floats) -> NDArray[np.bool_]:
    """Which of directions (n, 3) lie in the pilot's band of elevations."""
    elevation = np.degrees(np.arcsin(np.clip(directions[:, 2], -1, 1)))
    inside: NDArray[np.bool_] = (elevation >= BAND[0]) & (elevation <= BAND[1])
    return inside


class Radio:
    """A quad without antennas and props, made once, in which an antenna may be tried anywhere."""

    def __init__(self, quad: Quad, losses: Losses | None = None) -> None:
        """Take a quad and what its parts let through."""
        self.quad, self.losses = quad, losses or Losses()
        shapes = shapes_of(quad, "blades", without=("prop", "antenna"))
        materials = {p.name: p.material for p in quad.parts}
        carbon = [(n, m) for n, m in shapes if materials[n] == "carbon_plate"]
        self._carbon = Sight(carbon)
        self._metal = Sight([(n, m) for n, m in shapes if materials[n] in _METAL])
        self._points = cloud(Skin.of(carbon))[0] if carbon else np.zeros((0, 3))

    def _through(self, row: Antenna, directions: Floats) -> tuple[Floats, Floats, Floats]:
        """Shares (n,) of the radiator behind carbon and behind anything, and of the power let through."""
        axis = np.array(row.dir) / np.linalg.norm(row.dir)
        foot, n = np.array(row.at) * MM, len(directions)
        behind_carbon, behind_any, through = np.zeros(n), np.zeros(n), np.zeros(n)
        for t in ALONG:
            place = foot + t * row.length * MM * axis
            c = self._carbon.first(place, directions)[0] >= 0
            m = self._metal.first(place, directions)[0] >= 0
            behind_carbon += c / len(ALONG)
            behind_any += (c | m) / len(ALONG)
            lost = np.maximum(c * self.losses.carbon, m * self.losses.metal)
            through += 10.0 ** (-lost / 10) / len(ALONG)
        return behind_carbon, behind_any, through

    def _sent(self, row: Antenna, directions: Floats) -> Floats:
        """Gain (n,) with the match of polarisations, as a ratio, nothing blocked."""
        ground = self.losses.ground or ("vertical" if row.pol == "linear" else row.pol)
        match = polarisation_match(
            row.pol, row.dir, ground, directions, hand_loss=self.losses.hand, cross_loss=self.losses.cross
        )
        sent: Floats = pattern(row.kind, row.dir, directions) * match
        return sent

    def gain(self, row: Antenna, directions: Floats) -> Floats:
        """Gain (n,) towards directions (n, 3) with blocking and polarisation, dBi."""
        gain: Floats = in_db(self._sent(row, directions) * self._through(row, directions)[2])
        return gain

    def free_gain(self, row: Antenna, directions: Floats) -> Floats:
        """The same with nothing in the way, dBi."""
        gain: Floats = in_db(self._sent(row, directions))
        return gain

    def coverage(self, name: str, row: Antenna | None = None) -> Coverage:
        """Coverage of one antenna.

        Args:
            name: of the antenna.
            row: the same antenna placed otherwise; the sheet's own by default.

        Raises:
            KeyError: the sheet has no such antenna.
        """
        row = self.quad.sheet.antennas[name] if row is None else row
        directions = fibonacci(RAYS)
        behind_carbon, behind_any, through = self._through(row, directions)
        gain = in_db(self._sent(row, directions) * through)
        gap = np.inf
        if len(self._points):
            axis = np.array(row.dir) / np.linalg.norm(row.dir)
            line = np.array(row.at) * MM + np.linspace(0.4, 1.0, 7)[:, None] * row.length * MM * axis
            gap = float(np.sqrt(((self._points[:, None] - line) ** 2).sum(-1)).min())
        band = in_band(directions)
        inside = gain[band]
        return Coverage(
            name,
            float(behind_carbon.mean()),
            float(behind_any.mean()),
            float(behind_any[band].mean()),
            gain,
            float(inside.min()),
            float(np.quantile(inside, 0.1)),
            float(np.median(inside)),
            gap,
            row.mhz,
        )


def coverage(quad: Quad, name: str, row: Antenna | None = None, losses: Losses | None = None) -> Coverage:
    """Coverage of one antenna of a quad; see ``Radio.coverage``.

    Raises:
        KeyError: the sheet has no such antenna.
    """
    return Radio(quad, losses).coverage(name, row)


def moved(quad: Quad, name: str, row: Antenna) -> Quad:
    """The build with one antenna placed otherwise; drawings are not read again."""
    from crashworthy.build.equipment import equipment

    sheet = quad.sheet.model_copy(update={"antennas": {**quad.sheet.antennas, name: row}})
    part = next(d for d in equipment(sheet) if d.name == name).finish()
    parts = tuple(replace(part, joint=p.joint) if p.name == name else p for p in quad.parts)
    return replace(quad, parts=parts, sheet=sheet)
