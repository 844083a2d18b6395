"""Radio links by free-space arithmetic: loss, patterns, polarisation, margin, Fresnel zone.

Free-space loss is 20 log10(4 pi d/lambda) with c exact; ITU-R P.525 rounds its constant to 32.4 (read in
secondary text). A thin half-wave dipole has the pattern cos(pi/2 cos t)/sin t and directivity 1.6409; a short
dipole sin t and 1.5 (any antenna text). Polarisation loss is |e_t·e_r*|².
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "AXIAL_RATIO_LOSS",
    "HALF_WAVE",
    "LIGHT",
    "dipole_gain",
    "fresnel_radius",
    "fspl",
    "fspl_rounded",
    "in_db",
    "margin",
    "pattern",
    "polarisation_loss",
    "polarisation_match",
    "range_factor",
]

LIGHT: Final = 299_792_458.0
"""Speed of light, m/s (exact)."""

HALF_WAVE: Final = 1.6409
"""Directivity of a thin half-wave dipole: 4/Cin(2 pi)."""

AXIAL_RATIO_LOSS: Final = 15.0
"""Loss between opposite hands of real circular antennas, dB (from memory; editable)."""

LINEAR_FLOOR: Final = 20.0
"""Greatest loss between crossed linear antennas, dB: scatter fills the rest (assumption)."""


def in_db(ratio: ArrayLike) -> Any:
    """A ratio of powers in dB, not below -60."""
    return 10.0 * np.log10(np.maximum(np.asarray(ratio, dtype=float), 1e-6))


def fspl(mhz: float, distance: float) -> float:
    """Free-space loss, dB, at a frequency in MHz over a distance in m."""
    return 20.0 * math.log10(4.0 * math.pi * distance * mhz * 1e6 / LIGHT)


def fspl_rounded(mhz: float, distance: float) -> float:
    """The same by the rounded form 32.4 + 20 log f + 20 log d of ITU-R P.525, with f in MHz and d in km."""
    return 32.4 + 20.0 * math.log10(mhz) + 20.0 * math.log10(distance / 1e3)


def fresnel_radius(mhz: float, d1: float, d2: float) -> float:
    """Radius of the first Fresnel zone, m, at d1 and d2 m from the ends (ITU-R P.526)."""
    return math.sqrt(LIGHT / (mhz * 1e6) * d1 * d2 / (d1 + d2))


def range_factor(db: float) -> float:
    """By how much a gain in dB multiplies the range in free space."""
    return float(10.0 ** (db / 20.0))


def dipole_gain(axis: ArrayLike, directions: Floats, *, short: bool = False) -> Floats:
    """Gain (n,) of a lossless dipole along ``axis`` in directions (n, 3), as a ratio."""
    a = np.asarray(axis, dtype=float)
    c = np.clip(directions @ (a / np.linalg.norm(a)), -1.0, 1.0)
    s = np.sqrt(np.maximum(1.0 - c * c, 1e-12))
    gain: Floats = 1.5 * s * s if short else HALF_WAVE * (np.cos(np.pi / 2 * c) / s) ** 2
    return gain


def pattern(kind: str, axis: ArrayLike, directions: Floats) -> Floats:
    """Gain (n,) of an antenna as a ratio.

    A dipole is a half-wave one; a monopole on a small quad, with no ground plane to speak of, and a circular
    antenna around its stem radiate like a short dipole; a patch like cos² ahead of it, gain 6 (7.8
    dBi), and a
    hundredth of that behind (all assumptions).
    """
    if kind == "patch":
        a = np.asarray(axis, dtype=float)
        c = directions @ (a / np.linalg.norm(a))
        gain: Floats = np.maximum(6.0 * np.maximum(c, 0.0) ** 2, 0.06)
        return gain
    return dipole_gain(axis, directions, short=kind != "dipole")


def polarisation_loss(pol: str, other: str, angle: float = 0.0) -> float:
    """Loss between two polarisations, dB; ``angle`` between two linear ones, rad."""
    if pol == "linear" and other == "linear":
        return min(LINEAR_FLOOR, -20.0 * math.log10(max(abs(math.cos(angle)), 1e-9)))
    if "linear" in (pol, other):
        return 10.0 * math.log10(2.0)
    return 0.0 if pol == other else AXIAL_RATIO_LOSS


POLARISATIONS: Final = ("vertical", "horizontal", "lhcp", "rhcp")
"""What an antenna on the ground may be."""


def _across(axis: Floats, directions: Floats) -> Floats:
    """Unit vectors (n, 3) across each direction, in the plane of direction and axis."""
    c = directions @ axis
    e = c[:, None] * directions - axis
    size = np.linalg.norm(e, axis=1, keepdims=True)
    spare = np.cross(directions, np.where(np.abs(directions[:, :1]) < 0.9, [[1.0, 0, 0]], [[0, 1.0, 0]]))
    e = np.where(size > 1e-6, e, spare)
    unit: Floats = e / np.linalg.norm(e, axis=1, keepdims=True)
    return unit


def _wave(pol: str, axis: Floats, directions: Floats) -> NDArray[np.complex128]:
    """Direction of the electric field (n, 3), of length 1, of a wave that leaves along each direction."""
    e = _across(axis, directions)
    if pol == "linear":
        straight: NDArray[np.complex128] = e.astype(complex)
        return straight
    other = np.cross(directions, e)
    turn = 1j if pol == "lhcp" else -1j
    wave: NDArray[np.complex128] = e.astype(complex)
    wave += turn * other
    wave /= math.sqrt(2.0)
    return wave


def polarisation_match(
    pol: str,
    axis: ArrayLike,
    ground: str,
    directions: Floats,
    *,
    hand_loss: float = AXIAL_RATIO_LOSS,
    cross_loss: float = LINEAR_FLOOR,
) -> Floats:
    """Share (n,) of the power that two antennas of these polarisations exchange: |e_t·e_r*|².

    Args:
        pol: of the antenna on the quad, "linear" (along its axis) or a hand.
        axis: (3,) of that antenna.
        ground: of the antenna on the ground, one of ``POLARISATIONS``; vertical is upright in the world.
        directions: (n, 3) from the quad, which is level.
        hand_loss: greatest loss between opposite hands, dB.
        cross_loss: greatest loss between crossed linear antennas, dB.
    """
    a = np.asarray(axis, dtype=float)
    mine = _wave(pol, a / np.linalg.norm(a), directions)
    up = np.array([0.0, 0.0, 1.0])
    theirs = _wave("linear" if ground in ("vertical", "horizontal") else ground, up, directions)
    if ground == "horizontal":
        theirs = np.cross(directions, theirs.real).astype(complex)
    match = np.abs((mine * theirs.conj()).sum(axis=1)) ** 2
    loss = cross_loss if "linear" in pol or ground in ("vertical", "horizontal") else hand_loss
    share: Floats = np.maximum(match, 10.0 ** (-loss / 10.0))
    return share


def margin(
    power_dbm: float,
    gain_tx: float,
    gain_rx: float,
    mhz: float,
    distance: float,
    *,
    polarisation: float = 0.0,
    blocked: float = 0.0,
    sensitivity: float = 0.0,
) -> float:
    """Link margin, dB: power and gains (dBi) less all losses and the receiver's sensitivity."""
    return power_dbm + gain_tx + gain_rx - fspl(mhz, distance) - polarisation - blocked - sensitivity
