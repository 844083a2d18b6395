"""An arm as a tapered cantilever: tip stiffness, effective tip mass, shape of deflection.

The root moves in its bolts, so the ideal stiffness is multiplied by a root factor; both factors begin as
assumptions of the materials table (``arm_root``) and are corrected by a static pull or a tap test
(``calibrate``). Along the arm the clamp gives as in plane, in twist as out of plane, so they follow those.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.materials.table import datum
from crashworthy.strength.calibrate import arm_belief

if TYPE_CHECKING:
    from crashworthy.build.quad import Arm
    from crashworthy.materials.table import Datum
    from crashworthy.strength.calibrate import ArmBelief

__all__ = [
    "SHEAR_CORRECTION",
    "TIP_MASS_SHARE",
    "ArmBeam",
    "along_stiffness",
    "arm_beam",
    "deflection_shape",
    "first_frequency",
    "tip_stiffness",
    "torsion_constant",
]

TIP_MASS_SHARE: Final = 33.0 / 140.0
"""Share of a uniform cantilever's mass that moves as if at the tip (Rayleigh, static shape)."""

SHEAR_CORRECTION: Final = 5.0 / 6.0
"""Shear correction factor of a rectangle (Timoshenko beam)."""


@dataclass(frozen=True, slots=True)
class ArmBeam:
    """The two bending springs of one arm.

    Attributes:
        stiffness: (in plane, out of plane) at the tip, root factors applied, N/m.
        ideal: the same with a rigid root, N/m.
        damping: (in plane, out of plane), N s/m.
        tip_mass: carried mass + 33/140 of the arm, kg.
        length: free length, m.
        axial, axial_damping: along the arm, root factor applied, N/m and N s/m.
        twist: torque per angle at the tip, root factor applied, N m/rad.
        frequency: (in plane, out of plane) with the root held, Hz.
        belief: the root factors, with what was measured.
        origin: the data used, each with its source.
    """

    stiffness: tuple[float, float]
    ideal: tuple[float, float]
    damping: tuple[float, float]
    tip_mass: float
    length: float
    axial: float
    axial_damping: float
    twist: float
    frequency: tuple[float, float]
    belief: ArmBelief
    origin: tuple[Datum, ...]


def tip_stiffness(
    modulus: float,
    length: float,
    width_root: float,
    width_tip: float,
    thickness: float,
    *,
    in_plane: bool = False,
    shear_modulus: float = math.inf,
) -> float:
    """Force per deflection at the tip of a cantilever whose width tapers linearly, N/m.

    Unit-load theorem: 1/k = int (L-x)^2/(E I(x)) dx + int 1/(kappa G A(x)) dx (Timoshenko, Strength of
    Materials, Part I); 40-point Gauss-Legendre quadrature.

    Args:
        modulus: bending modulus, Pa.
        length: free length, m.
        width_root: m.
        width_tip: m.
        thickness: m.
        in_plane: bend about the thickness axis (edgewise) instead of about the width.
        shear_modulus: Pa; infinite leaves shear out (Euler-Bernoulli).

    Raises:
        CrashworthyError: a size or modulus is not positive.
    """
    sizes = {
        "length": length,
        "width": min(width_root, width_tip),
        "thickness": thickness,
        "modulus": modulus,
    }
    for name, size in sizes.items():
        if not (size > 0.0 and math.isfinite(size)):
            raise CrashworthyError(
                Problem(f"an arm needs a {name} above zero, not {size:g}", "mend the arms", field="arms")
            )
    node, weight = np.polynomial.legendre.leggauss(40)
    x = 0.5 * length * (node + 1.0)
    width = width_root + (width_tip - width_root) * x / length
    second = thickness * width**3 / 12.0 if in_plane else width * thickness**3 / 12.0
    bending = (length - x) ** 2 / (modulus * second)
    shear = 1.0 / (SHEAR_CORRECTION * shear_modulus * width * thickness)
    return float(1.0 / (0.5 * length * np.sum(weight * (bending + shear))))


def torsion_constant(width: float, thickness: float) -> float:
    """Torsion constant of a rectangle, m^4: b t^3 (1/3 - 0.21 (t/b) (1 - (t/b)^4/12)), b >= t.

    Within 0.4 % of the series of Saint-Venant (Roark's formulas for stress and strain, table of torsion).
    """
    b, t = max(width, thickness), min(width, thickness)
    return b * t**3 * (1.0 / 3.0 - 0.21 * t / b * (1.0 - (t / b) ** 4 / 12.0))


def along_stiffness(
    modulus: float, shear_modulus: float, length: float, width_root: float, width_tip: float, thickness: float
) -> tuple[float, float]:
    """Pull per stretch (N/m) and torque per twist (N m/rad) of a bar whose width tapers linearly.

    1/k = int dx/(E A) and int dx/(G J) (textbook), 40-point Gauss-Legendre quadrature.
    """
    node, weight = np.polynomial.legendre.leggauss(40)
    width = width_root + (width_tip - width_root) * 0.5 * (node + 1.0)
    twist = np.array([torsion_constant(float(b), thickness) for b in width])
    stretch = np.sum(weight / (modulus * width * thickness))
    angle = np.sum(weight / (shear_modulus * twist))
    return float(2.0 / (length * stretch)), float(2.0 / (length * angle))


def deflection_shape(station: np.ndarray) -> np.ndarray:
    """Deflection along a cantilever with a tip load, as a share of the tip's: (3 s^2 - s^3)/2."""
    s = np.clip(station, 0.0, 1.0)
    shape: np.ndarray = 0.5 * (3.0 * s**2 - s**3)
    return shape


def first_frequency(stiffness: float, tip_mass: float, beam_mass: float = 0.0) -> float:
    """First bending frequency with the root held, by Rayleigh's method, Hz."""
    return math.sqrt(stiffness / (tip_mass + TIP_MASS_SHARE * beam_mass)) / (2.0 * math.pi)


def arm_beam(arm: Arm) -> ArmBeam:
    """Turn an arm of the build into its two bending springs.

    Raises:
        CrashworthyError: a size is not positive, or the material has no tabled modulus.
    """
    modulus = datum(arm.material, "flexural_modulus")
    shear = datum(arm.material, "shear_modulus")
    roots = (datum("arm_root", "factor_in_plane"), datum("arm_root", "factor_out_of_plane"))
    ratio = datum("arm_root", "damping_ratio")
    ideal = tuple(
        tip_stiffness(
            modulus.value,
            arm.length,
            arm.width_root,
            arm.width_tip,
            arm.thickness,
            in_plane=in_plane,
            shear_modulus=shear.value,
        )
        for in_plane in (True, False)
    )
    tip_mass = arm.carried + TIP_MASS_SHARE * arm.mass
    if not (tip_mass > 0.0 and math.isfinite(tip_mass)):
        raise CrashworthyError(
            Problem("an arm carries no mass at its tip", "give the motor a mass", field="motors.mass")
        )
    along, twist = along_stiffness(
        modulus.value, shear.value, arm.length, arm.width_root, arm.width_tip, arm.thickness
    )
    axial = datum("arm_root", "factor_axial")
    twisted = datum("arm_root", "factor_twist")
    belief = arm_belief(arm, (ideal[0], ideal[1]), tip_mass)
    k_in, k_out = (c * k for c, k in zip(belief.factor, ideal, strict=True))
    shift_in, shift_out = belief.shift
    stretch = axial.value * shift_in * along
    return ArmBeam(
        stiffness=(k_in, k_out),
        ideal=(ideal[0], ideal[1]),
        damping=(
            2.0 * ratio.value * math.sqrt(k_in * tip_mass),
            2.0 * ratio.value * math.sqrt(k_out * tip_mass),
        ),
        tip_mass=tip_mass,
        length=arm.length,
        axial=stretch,
        axial_damping=2.0 * ratio.value * math.sqrt(stretch * tip_mass),
        twist=twisted.value * shift_out * twist,
        frequency=(first_frequency(k_in, tip_mass), first_frequency(k_out, tip_mass)),
        belief=belief,
        origin=(modulus, shear, *roots, axial, twisted, ratio),
    )
