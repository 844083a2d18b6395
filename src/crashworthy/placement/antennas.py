"""Antennas: what of the sphere the quad's own parts block, the margin by direction, and one or two receivers.

Line of sight only: at 2.4 GHz the wavelength is 125 mm, parts are smaller than that, and diffraction fills
shadows in. Below ``NEAR_FIELD`` MHz shadows mean little and only the distance to carbon is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.placement.link import LIGHT, in_db, pattern, polarisation_loss, range_factor
from crashworthy.placement.rays import Sight
from crashworthy.placement.skin import Skin, cloud, shapes_of
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import Antenna
    from crashworthy.build.quad import Quad

    Floats = NDArray[np.float64]

__all__ = ["BAND", "CARBON_LOSS", "METAL_LOSS", "Coverage", "Diversity", "coverage", "diversity", "positions"]

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


@dataclass(frozen=True, slots=True)
class Diversity:
    """Two receivers that take the better of two antennas, against the better one alone.

    Attributes:
        names: of the two.
        gain: rise of the tenth percentile in the band, dB.
        range: the factor in range that this is.
        insurance: what the tenth percentile falls by when the lead of the better is cut, dB.
    """

    names: tuple[str, str]
    gain: float
    range: float
    insurance: float

    def summary(self) -> str:
        """One sentence."""
        return (
            f"{self.names[0]} with {self.names[1]}: {self.gain:+.1f} dB where one direction in ten is worst, "
            f"{self.range:.2f} times the range; with one lead cut {self.insurance:.1f} dB less, not nothing."
        )


def _band(directions: Floats) -> NDArray[np.bool_]:
    elevation = np.degrees(np.arcsin(np.clip(directions[:, 2], -1, 1)))
    inside: NDArray[np.bool_] = (elevation >= BAND[0]) & (elevation <= BAND[1])
    return inside


def coverage(
    quad: Quad,
    name: str,
    row: Antenna | None = None,
    *,
    pilot: str | None = None,
    carbon_loss: float = CARBON_LOSS,
    metal_loss: float = METAL_LOSS,
) -> Coverage:
    """Coverage of one antenna.

    Args:
        quad: the build.
        name: of the antenna.
        row: the same antenna placed otherwise; the sheet's own by default.
        pilot: polarisation at the ground, "linear" or a hand; by default that of the antenna.
        carbon_loss: dB through carbon.
        metal_loss: dB through metal, pack and boards.

    Raises:
        KeyError: the sheet has no such antenna.
    """
    row = quad.sheet.antennas[name] if row is None else row
    shapes = shapes_of(quad, "blades", without=(name, "prop", "antenna"))
    materials = {p.name: p.material for p in quad.parts}
    carbon = [(n, m) for n, m in shapes if materials[n] == "carbon_plate"]
    metal = [(n, m) for n, m in shapes if materials[n] in _METAL]
    directions = fibonacci(RAYS)
    axis = np.array(row.dir) / np.linalg.norm(row.dir)
    foot = np.array(row.at) * MM
    behind_carbon, behind_any = np.zeros(RAYS), np.zeros(RAYS)
    loss = np.zeros(RAYS)
    in_carbon, in_metal = Sight(carbon), Sight(metal)
    for t in ALONG:
        place = foot + t * row.length * MM * axis
        c = in_carbon.first(place, directions)[0] >= 0
        m = in_metal.first(place, directions)[0] >= 0
        behind_carbon += c / len(ALONG)
        behind_any += (c | m) / len(ALONG)
        loss += 10.0 ** (-np.maximum(c * carbon_loss, m * metal_loss) / 10) / len(ALONG)
    band = _band(directions)
    polarisation = polarisation_loss(row.pol, pilot or row.pol)
    gain = in_db(pattern(row.kind, axis, directions) * loss) - polarisation
    gap = np.inf
    if carbon:
        points, _ = cloud(Skin.of(carbon))
        line = foot + np.linspace(0.4, 1.0, 7)[:, None] * row.length * MM * axis
        gap = float(np.sqrt(((points[:, None] - line) ** 2).sum(-1)).min())
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


def diversity(a: Coverage, b: Coverage) -> Diversity:
    """The better of two antennas in every direction against the better one alone, polarisation aside."""
    band = _band(fibonacci(RAYS))
    both = float(np.quantile(np.maximum(a.gain, b.gain)[band], 0.1))
    best, rest = max(a.tenth, b.tenth), min(a.tenth, b.tenth)
    return Diversity((a.name, b.name), both - best, range_factor(both - best), both - rest)


def positions(quad: Quad, name: str) -> dict[str, Antenna]:
    """Candidate places of an antenna from the build's own sizes: where it is, top, rear, side, arm, inside.

    Raises:
        KeyError: the sheet has no such antenna.
    """
    row = quad.sheet.antennas[name]
    frame = np.concatenate(
        [p.vertices for p in quad.parts if p.kind in ("plate", "standoff") and len(p.vertices)]
        or [np.zeros((1, 3))]
    )
    low, high = frame.min(axis=0) / MM, frame.max(axis=0) / MM
    arm = quad.arms[2]
    tip = (arm.root + 0.5 * (arm.tip - arm.root)) / MM
    middle = float((low[2] + high[2]) / 2)
    spots: Sequence[tuple[str, tuple[float, float, float], tuple[float, float, float]]] = (
        ("rear, upright", (float(low[0]), row.at[1], float(high[2])), (-0.3, 0.0, 1.0)),
        ("rear, flat", (float(low[0]), row.at[1], middle), (-1.0, 0.0, 0.2)),
        ("side", (float(low[0] * 0.5), float(high[1]), middle), (0.0, 1.0, 0.3)),
        (
            "arm",
            (float(tip[0]), float(tip[1]), float(tip[2] + 4.0)),
            (float(arm.axis[0]), float(arm.axis[1]), 0.0),
        ),
        ("inside", (float(low[0] * 0.6), 0.0, middle), (0.0, 1.0, 0.0)),
    )
    return {"as it is": row} | {
        label: row.model_copy(update={"at": at, "dir": to}) for label, at, to in spots
    }


def moved(quad: Quad, name: str, row: Antenna) -> Quad:
    """The build with one antenna placed otherwise; drawings are not read again."""
    from crashworthy.build.equipment import equipment

    sheet = quad.sheet.model_copy(update={"antennas": {**quad.sheet.antennas, name: row}})
    part = next(d for d in equipment(sheet) if d.name == name).finish()
    parts = tuple(replace(part, joint=p.joint) if p.name == name else p for p in quad.parts)
    return replace(quad, parts=parts, sheet=sheet)
