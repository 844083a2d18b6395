"""Outside checks of what parts can bear: cantilevers, root moments, shafts, standoffs."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from crashworthy.build.quad import Arm
from crashworthy.evidence import strength_arms, strength_flight, strength_joints
from crashworthy.evidence.making import figure_check
from crashworthy.evidence.registry import Check
from crashworthy.materials.table import value
from crashworthy.strength.beam import (
    TIP_MASS_SHARE,
    along_stiffness,
    deflection_shape,
    first_frequency,
    tip_stiffness,
    torsion_constant,
)
from crashworthy.strength.capacity import (
    arm_root_moments,
    arm_root_torque,
    shaft_bend_force,
    standoff_side_force,
)

__all__ = ["CHECKS"]

_BEAM = "k = 3 E I/L^3, Euler-Bernoulli cantilever (any strength of materials text)"
_SHEAR = "1/k = L^3/(3 E I) + L/(kappa G A), Timoshenko beam, kappa 5/6"
_SAINT_VENANT = "series of Saint-Venant for a rectangle (Timoshenko and Goodier, Theory of Elasticity)"
_SHAFT = "M = s_y pi (d^4 - d_i^4)/(32 d), first yield of a round bar (any machine elements text)"


_check = partial(figure_check, "strength", tolerance=5e-4, access="derived")


def _arm(width: float, thickness: float, hole: float = 0.0) -> Arm:
    """An arm of tabled carbon with a given root section; length and masses do not matter."""
    zero = np.zeros(3)
    return Arm(0, 0, 0, 0, zero, zero, zero, 0.09, width, width, thickness, hole, "carbon_plate", 0.01, 0.045)


def _root_moment(axis: int) -> float:
    """Root moment of a plain 14 x 5 mm section, scaled from the tabled strength to 500 MPa."""
    return arm_root_moments(_arm(0.014, 0.005))[axis] * 500e6 / value("carbon_plate", "flexural_strength")


def _torsion_series(width: float, thickness: float) -> tuple[float, float]:
    """Saint-Venant's series of a rectangle: torsion constant (m^4) and torque per peak shear stress (m³)."""
    odd = np.arange(1, 200, 2)
    x = odd * math.pi * width / (2.0 * thickness)
    constant = (
        width
        * thickness**3
        / 3.0
        * (1.0 - 192.0 * thickness / (math.pi**5 * width) * float(np.sum(np.tanh(x) / odd**5)))
    )
    shear = thickness * (
        1.0 - 8.0 / math.pi**2 * float(np.sum(1.0 / (odd**2 * np.cosh(np.minimum(x, 300.0)))))
    )
    return constant, constant / shear


def _clamped_frequency(
    modulus: float, width: float, height: float, length: float, density: float, tip: float
) -> float:
    """Exact first frequency of a uniform cantilever with a tip mass: 1 + c ch + mu z (c sh - s ch) = 0."""
    from scipy.optimize import brentq

    per_length = density * width * height
    mu = tip / (per_length * length)

    def characteristic(z: float) -> float:
        c, s, ch, sh = math.cos(z), math.sin(z), math.cosh(z), math.sinh(z)
        return 1.0 + c * ch + mu * z * (c * sh - s * ch)

    z = brentq(characteristic, 0.05, 1.8751)
    return float(
        (z / length) ** 2 * math.sqrt(modulus * width * height**3 / 12.0 / per_length) / (2.0 * math.pi)
    )


def _tapered_by_quad(root: float, tip: float) -> float:
    """Tip stiffness of a tapered cantilever by an adaptive library integrator."""
    from scipy.integrate import quad

    def compliance(x: float) -> float:
        width = root + (tip - root) * x / 0.09
        return (0.09 - x) ** 2 / (56e9 * width * 0.005**3 / 12.0)

    return float(1.0 / quad(compliance, 0.0, 0.09, epsabs=0.0, epsrel=1e-12)[0])


_UNIFORM = "E 56 GPa, 14 x 5 mm, L 90 mm"
_MASS = 1550.0 * 0.014 * 0.005 * 0.09

CHECKS: tuple[Check, ...] = (
    _check(
        "A1.stiffness",
        "Uniform arm: tip stiffness",
        _UNIFORM,
        "N/m",
        33.61e3,
        lambda: tip_stiffness(56e9, 0.09, 0.014, 0.014, 0.005),
        _BEAM,
    ),
    _check(
        "A2.taper",
        "Tapered arm: tip stiffness",
        "E 56 GPa, 18 -> 12 x 5 mm, L 90 mm",
        "N/m",
        39.40e3,
        lambda: tip_stiffness(56e9, 0.09, 0.018, 0.012, 0.005),
        "unit load theorem, earlier independent quadrature",
        access="computed",
    ),
    _check(
        "A2.quad",
        "Tapered arm: tip stiffness against a library integrator",
        "E 56 GPa, 20 -> 9 x 5 mm, L 90 mm",
        "N/m",
        lambda: _tapered_by_quad(0.020, 0.009),
        lambda: tip_stiffness(56e9, 0.09, 0.020, 0.009, 0.005),
        "unit load theorem by scipy.integrate.quad at 1e-12",
        tolerance=1e-9,
        access="computed",
    ),
    _check(
        "A3.rayleigh",
        "Arm with motor: first frequency",
        f"{_UNIFORM}, 1550 kg/m³, tip 45 g",
        "Hz",
        134.15,
        lambda: first_frequency(tip_stiffness(56e9, 0.09, 0.014, 0.014, 0.005), 0.045, _MASS),
        "Rayleigh: k/(M + 33/140 m)",
        tolerance=1e-4,
    ),
    _check(
        "A3.exact",
        "Arm with motor: the tip-mass share against the exact beam",
        f"{_UNIFORM}, 1550 kg/m³, tip 45 g",
        "Hz",
        lambda: _clamped_frequency(56e9, 0.014, 0.005, 0.09, 1550.0, 0.045),
        lambda: first_frequency(tip_stiffness(56e9, 0.09, 0.014, 0.014, 0.005), 0.045, _MASS),
        "1 + cos z cosh z + mu z (cos z sinh z - sin z cosh z) = 0 (Blevins; Rao, recalled), root by "
        "scipy.optimize.brentq",
        tolerance=1e-4,
        access="computed",
    ),
    _check(
        "A3.share",
        "Share of an arm's mass that moves as if at the tip",
        "static shape (3 s² - s³)/2",
        "",
        TIP_MASS_SHARE,
        lambda: float(np.trapezoid(deflection_shape(np.linspace(0, 1, 20001)) ** 2, dx=5e-5)),
        "integral of the squared static shape, 33/140 (Rayleigh)",
        tolerance=1e-6,
    ),
    _check(
        "A5.moment",
        "Root moment at flexural strength",
        "500 MPa, 14 x 5 mm, no hole",
        "N m",
        29.1667,
        lambda: _root_moment(0),
        "M = s b h²/6",
        tolerance=1e-5,
    ),
    _check(
        "A5.force",
        "Tip force at flexural strength",
        "500 MPa, 14 x 5 mm, L 90 mm",
        "N",
        324.07,
        lambda: _root_moment(0) / 0.09,
        "M/L",
        tolerance=1e-4,
    ),
    _check(
        "A5.in_plane",
        "Root moment edgewise",
        "500 MPa, 14 x 5 mm, no hole",
        "N m",
        81.6667,
        lambda: _root_moment(1),
        "M = s h b²/6",
        tolerance=1e-5,
    ),
    _check(
        "A7.constant",
        "Torsion constant of an arm's section",
        "14 x 5 mm",
        "m^4",
        lambda: _torsion_series(0.014, 0.005)[0],
        lambda: torsion_constant(0.014, 0.005),
        _SAINT_VENANT,
        tolerance=5e-3,
    ),
    _check(
        "A7.square",
        "Torsion constant of a square",
        "10 x 10 mm",
        "m^4",
        lambda: _torsion_series(0.010, 0.010)[0],
        lambda: torsion_constant(0.010, 0.010),
        _SAINT_VENANT,
        tolerance=5e-3,
    ),
    _check(
        "A7.twist",
        "Torque per twist of a uniform bar",
        "G 4.2 GPa, 14 x 5 mm, 90 mm",
        "N m/rad",
        lambda: 4.2e9 * _torsion_series(0.014, 0.005)[0] / 0.09,
        lambda: along_stiffness(50e9, 4.2e9, 0.09, 0.014, 0.014, 0.005)[1],
        f"k = G J/L; {_SAINT_VENANT}",
        tolerance=5e-3,
    ),
    _check(
        "A7.stretch",
        "Pull per stretch of a uniform bar",
        "E 50 GPa, 14 x 5 mm, 90 mm",
        "N/m",
        50e9 * 0.014 * 0.005 / 0.09,
        lambda: along_stiffness(50e9, 4.2e9, 0.09, 0.014, 0.014, 0.005)[0],
        "k = E A/L",
        tolerance=1e-9,
    ),
    _check(
        "A7.torque",
        "Root torque of an arm without a hole",
        "14 x 5 mm, tabled shear strength",
        "N m",
        lambda: value("carbon_plate", "shear_strength") * _torsion_series(0.014, 0.005)[1],
        lambda: arm_root_torque(_arm(0.014, 0.005)),
        _SAINT_VENANT,
        tolerance=5e-3,
    ),
    _check(
        "A6.strength",
        "Thickness 4 -> 5 mm: strength",
        "root moments, hole 3.2 mm in 17 mm",
        "",
        1.5625,
        lambda: (
            arm_root_moments(_arm(0.017, 0.005, 0.0032))[0] / arm_root_moments(_arm(0.017, 0.004, 0.0032))[0]
        ),
        "h²",
        tolerance=1e-9,
    ),
    _check(
        "A6.stiffness",
        "Thickness 4 -> 5 mm: stiffness",
        _UNIFORM,
        "",
        1.953125,
        lambda: (
            tip_stiffness(56e9, 0.09, 0.014, 0.014, 0.005) / tip_stiffness(56e9, 0.09, 0.014, 0.014, 0.004)
        ),
        "h³",
        tolerance=1e-9,
    ),
    _check(
        "A6.thicker",
        "Thickness 5 -> 6 mm: stiffness",
        _UNIFORM,
        "",
        1.728,
        lambda: (
            tip_stiffness(56e9, 0.09, 0.014, 0.014, 0.006) / tip_stiffness(56e9, 0.09, 0.014, 0.014, 0.005)
        ),
        "h³",
        tolerance=1e-9,
    ),
    _check(
        "V9.out_of_plane",
        "Arm bent up: tip stiffness",
        "E 55 GPa, 15 x 5.5 mm, L 80 mm",
        "N/m",
        67021.0,
        lambda: tip_stiffness(55e9, 0.08, 0.015, 0.015, 0.0055),
        _BEAM,
        tolerance=1e-5,
    ),
    _check(
        "V9.in_plane",
        "Arm bent sideways: tip stiffness",
        "E 55 GPa, 15 x 5.5 mm, L 80 mm",
        "N/m",
        498505.0,
        lambda: tip_stiffness(55e9, 0.08, 0.015, 0.015, 0.0055, in_plane=True),
        _BEAM,
        tolerance=1e-5,
    ),
    _check(
        "V9.shear",
        "Arm bent sideways with shear: tip stiffness",
        "E 55, G 5 GPa, 15 x 5.5 mm, L 80 mm",
        "N/m",
        446682.0,
        lambda: tip_stiffness(55e9, 0.08, 0.015, 0.015, 0.0055, in_plane=True, shear_modulus=5e9),
        _SHEAR,
        tolerance=1e-5,
    ),
    _check(
        "V9.frequency",
        "Arm with motor: frequency with the root held",
        "k 67 021 N/m, 46 g",
        "Hz",
        192.1,
        lambda: first_frequency(67021.0, 0.046),
        "sqrt(k/m)/(2 pi)",
    ),
    _check(
        "M1.shaft",
        "Shaft: moment at first yield",
        "4 mm, 1000 MPa",
        "N m",
        6.2832,
        lambda: shaft_bend_force(0.004, 1e9, 1.0, 1.0),
        _SHAFT,
        tolerance=1e-5,
    ),
    _check(
        "M1.hollow",
        "Hollow shaft: moment at first yield",
        "5/3 mm, 1000 MPa",
        "N m",
        10.68,
        lambda: shaft_bend_force(0.005, 1e9, 1.0, 1.0, bore=0.003),
        _SHAFT,
    ),
    _check(
        "M2.shaft_force",
        "Shaft: force that bends it",
        "4 mm, 900 MPa, lever 12 mm",
        "N",
        471.24,
        lambda: shaft_bend_force(0.004, 900e6, 0.012, 1.0),
        _SHAFT,
        tolerance=1e-4,
    ),
    _check(
        "M3.standoff",
        "Standoff held at both ends: side force at first yield",
        "5 mm solid, 276 MPa, 25 mm",
        "N",
        270.96,
        lambda: standoff_side_force(0.005, 0.025, 276e6),
        "F h/2 = s_y pi d³/32",
        tolerance=1e-4,
    ),
    *strength_arms.CHECKS,
    *strength_joints.CHECKS,
    *strength_flight.CHECKS,
)
"""Every outside check of the strength room."""
