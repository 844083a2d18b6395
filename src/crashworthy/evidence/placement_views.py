"""Outside checks of the placement room: camera and antennas, and first touches beside a collision library."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.build.solids import Mesh, box, lathe, prism, rotation
from crashworthy.evidence.making import pair_check
from crashworthy.evidence.registry import Check
from crashworthy.placement import link
from crashworthy.placement.camera import deepest_of
from crashworthy.placement.lens import Lens
from crashworthy.placement.rays import Sight
from crashworthy.quantities import DEG, MM

if TYPE_CHECKING:
    pass

__all__ = ["VIEW_CHECKS"]


_check = partial(pair_check, "placement", relative=False)


def _fov(f: float, projection: str, of: str, expected: float) -> tuple[float, float]:
    return expected, math.degrees(Lens.from_sensor(36.0, 24.0, f, projection).fov(of))


def _clear_recess(lens: Lens, mesh: list[tuple[str, Mesh]]) -> float:
    """Deepest pupil, mm behind x = 0, from which no line of sight of the picture meets the shape."""
    sight = Sight(mesh)
    rays = lens.directions(121).reshape(-1, 3)

    def share(recess: float) -> float:
        part, _, _ = sight.first(np.array([-recess * MM, 0.0, 0.0]), rays)
        return float((part >= 0).mean())

    found = deepest_of(share, 0.0, 1.0, 40.0, 1.0)
    return math.nan if found is None else found


def _round_hole() -> tuple[float, float]:
    import shapely

    turn = 2 * np.pi * np.arange(720) / 720
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    plate = shapely.Polygon(0.5 * ring, [0.02 * ring])
    mesh = prism(plate, 0.0, 1e-6).moved(rotation(y=np.pi / 2))
    lens = Lens.from_fov(120 * DEG, "d", 4 / 3, "equidistant")
    return 20.0 / math.tan(60 * DEG), _clear_recess(lens, [("plate", mesh)])


def _between_plates() -> tuple[float, float]:
    """Plates at z = ±15 mm that end at x = 0: the corner ray decides, at elevation atan2(z, x)."""
    lens = Lens.from_fov(90 * DEG, "v", 4 / 3, "equidistant")
    corner = lens.direction(1.0, 0.75)
    expected = 15.0 * float(corner[0] / corner[2])
    plates = [("plate", box((0.5, 2.0, 1e-6), (-0.25, 0.0, s * 0.015))) for s in (1, -1)]
    return expected, _clear_recess(lens, plates)


def _disc() -> tuple[float, float]:
    disc = lathe([(0.05, 0.03), (0.05, 0.03 + 1e-6)], 360)
    part, _, _ = Sight([("disc", disc)]).first(np.zeros(3), fibonacci(20_000))
    return (1 - math.cos(math.atan(50 / 30))) / 2, float((part >= 0).mean())


def _half_power() -> tuple[float, float]:
    angle = np.linspace(1e-4, np.pi - 1e-4, 400_001)
    ways = np.column_stack([np.sin(angle), np.zeros_like(angle), np.cos(angle)])
    gain = link.dipole_gain((0, 0, 1), ways)
    inside = angle[gain >= gain.max() / 2]
    return 78.08, math.degrees(float(inside[-1] - inside[0]))


def _mean_gain() -> tuple[float, float]:
    """A lossless antenna's gain averages to one over the sphere, which fixes its directivity."""
    return 1.0, float(link.dipole_gain((0.3, 0.5, 0.8), fibonacci(200_000)).mean())


def _crossed() -> tuple[float, float]:
    ways = fibonacci(20_000)
    best = np.maximum(link.dipole_gain((1, 0, 0), ways), link.dipole_gain((0, 1, 0), ways))
    best = np.maximum(best, 1e-9)
    s2 = math.sin(math.pi / 4) ** 2
    exact = 1.6409 * math.cos(math.pi / 2 * math.cos(math.pi / 4)) ** 2 / s2
    return 10 * math.log10(exact), 10 * math.log10(float(best.min()))


def _budget() -> tuple[float, float]:
    got = link.margin(26.0, 2.15, 2.15, 5800, 1000.0, polarisation=3.0)
    return -80.42, got


_FOVS: Final = (
    (50.0, "rectilinear", (39.60, 26.99, 46.79), "photographic tables: 39.6, 27.0, 46.8 deg", "read"),
    (15.0, "equisolid", (147.48, 94.31, 184.59), "r = 2 f sin(theta/2)", "derived"),
    (12.0, "equidistant", (171.89, 114.59, 206.58), "r = f theta", "derived"),
)


def _rows() -> list[Check]:
    rows: list[Check] = []
    for f, projection, angles, source, access in _FOVS:
        for of, expected in zip("hvd", angles, strict=True):
            rows.append(
                _check(
                    f"camera.fov_{projection}_{of}",
                    f"field of view of a {projection} lens ({of})",
                    f"36 x 24 mm picture, f = {f:g} mm",
                    "deg",
                    0.01,
                    source,
                    access,  # type: ignore[arg-type] # one of the two words
                    lambda a=(f, projection, of, expected): _fov(*a),  # type: ignore[misc] # bound now
                )
            )
    for mhz, expected in ((5800, 107.716), (2400, 100.052), (2440, 100.196), (915, 91.676), (868, 91.218)):
        rows.append(
            _check(
                f"link.fspl_{mhz}",
                "free-space loss over 1 km",
                f"{mhz} MHz",
                "dB",
                0.005,
                "20 log10(4 pi d/lambda), ITU-R P.525 with c exact",
                "derived",
                lambda a=mhz, e=expected: (e, link.fspl(a, 1000.0)),  # type: ignore[misc] # bound now
            )
        )
    for mhz, expected, wide in ((5800, 3.611, 0.02), (2400, 5.613, 0.03), (868, 9.334, 0.05)):
        rows.append(
            _check(
                f"link.fresnel_{mhz}",
                "first Fresnel radius in the middle of 1 km",
                f"{mhz} MHz; the recommendation's constant is rounded, hence the tolerance of 0.5 %",
                "m",
                wide,
                "ITU-R P.526-8 equation (3), r1 = 550 sqrt(d1 d2/((d1 + d2) f))",
                "read",
                lambda a=mhz, e=expected: (e, link.fresnel_radius(a, 500.0, 500.0)),  # type: ignore[misc] # bound now
            )
        )
    for mhz, exact in ((5800, 3.595), (2400, 5.588), (868, 9.292)):
        rows.append(
            _check(
                f"link.fresnel_exact_{mhz}",
                "the same with the speed of light exact",
                f"{mhz} MHz, 500 m from both ends",
                "m",
                0.001,
                "ITU-R P.526-8 equation (2), r1 = sqrt(lambda d1 d2/(d1 + d2))",
                "derived",
                lambda a=mhz, e=exact: (e, link.fresnel_radius(a, 500.0, 500.0)),  # type: ignore[misc] # bound now
            )
        )
    for pol, ground, loss in (
        ("linear", "rhcp", 3.0103),
        ("linear", "horizontal", 20.0),
        ("rhcp", "rhcp", 0.0),
        ("rhcp", "lhcp", 15.0),
    ):
        rows.append(
            _check(
                f"link.match_{pol}_{ground}",
                f"polarisation loss of a {pol} antenna to a {ground} one",
                "upright antenna, mean over 5 000 directions; crossed floor 20 dB, opposite hands 15 dB",
                "dB",
                0.001,
                "|e_t·e_r*|² of unit fields, with the assumed floors",
                "derived",
                lambda a=(pol, ground), e=loss: (e, _match(*a)),  # type: ignore[misc] # bound now
            )
        )
    for db, times in ((3.0, 1.4125), (6.0, 1.9953)):
        rows.append(
            _check(
                f"link.range_{db:g}dB",
                f"by how much {db:g} dB multiply the range",
                "free space",
                "",
                1e-4,
                "10^(dB/20)",
                "derived",
                lambda a=db, e=times: (e, link.range_factor(a)),  # type: ignore[misc] # bound now
            )
        )
    return rows


def _match(pol: str, ground: str) -> float:
    share = link.polarisation_match(pol, (0.0, 0.0, 1.0), ground, fibonacci(5000))
    return -10.0 * math.log10(float(share.mean()))


def _one(name: str, title: str, inputs: str, unit: str, tolerance: float, source: str, run: Any) -> Check:
    return _check(name, title, inputs, unit, tolerance, source, "derived", run)


VIEW_CHECKS: Final[tuple[Check, ...]] = (
    *_rows(),
    _one(
        "camera.round_hole",
        "deepest pupil behind a round hole with nothing in the picture",
        "hole radius 20 mm, 120 deg along the diagonal",
        "mm",
        0.01,
        "20/tan 60 deg",
        _round_hole,
    ),
    _one(
        "camera.between_plates",
        "deepest pupil between two plates: the corner of the picture decides",
        "plates at ±15 mm, 90 deg upright, 4:3, equidistant",
        "mm",
        0.01,
        "15 x/z of the corner's line of sight",
        _between_plates,
    ),
    _one(
        "antenna.disc",
        "share of the sphere behind a disc",
        "radius 50 mm, 30 mm away, 20 000 rays",
        "",
        1e-3,
        "solid angle of a cone: (1 - cos atan(50/30))/2",
        _disc,
    ),
    _one(
        "link.hundred_metres",
        "a tenth of the distance loses 20 dB less",
        "5800 MHz, 100 m",
        "dB",
        0.005,
        "20 log10(4 pi d/lambda)",
        lambda: (107.716 - 20.0, link.fspl(5800, 100.0)),
    ),
    _one(
        "link.rounded",
        "rounded form of the free-space loss",
        "5800 MHz, 1 km",
        "dB",
        0.05,
        "32.4 + 20 log f + 20 log d, ITU-R P.525",
        lambda: (link.fspl_rounded(5800, 1000.0), link.fspl(5800, 1000.0)),
    ),
    _one(
        "link.budget",
        "received power of a link",
        "26 dBm, twice 2.15 dBi, 5.8 GHz, 1 km, 3 dB polarisation",
        "dBm",
        0.01,
        "Friis 1946, sum of gains and losses",
        _budget,
    ),
    _one(
        "link.dipole_directivity",
        "directivity of a half-wave dipole",
        "mean gain over the sphere is one",
        "",
        1e-4,
        "conservation of power; D = 4/Cin(2 pi) = 1.6409",
        _mean_gain,
    ),
    _one(
        "link.dipole_dbi",
        "the same in dBi",
        "half-wave dipole",
        "dBi",
        0.01,
        "antenna theory texts",
        lambda: (2.151, float(link.in_db(link.HALF_WAVE))),
    ),
    _one(
        "link.dipole_hpbw",
        "half-power beam width of a half-wave dipole",
        "thin",
        "deg",
        0.01,
        "antenna theory texts: 78 deg; 78.08 from the pattern",
        _half_power,
    ),
    _one(
        "link.crossed_dipoles",
        "worst direction of the better of two crossed half-wave dipoles",
        "20 000 directions",
        "dBi",
        0.01,
        "pattern at 45 deg to both",
        _crossed,
    ),
)
"""Checks of camera and antennas."""
