"""The contact law: what one patch of skin does when an obstacle presses into it.

    p   = k d_e (1 + alpha d')   clipped to 0 <= p <= p_y      pressure on the patch
    d_e = d - d_p                                              elastic part of the depth d
    d_p grows so that d_e never exceeds d_y = p_y / k          stored indentation (crush)
    F   = A p,   F_t = min(mu F, cap |v_t|)                    normal force and friction

A bed of independent springs (Winkler) with a crush plateau; damping acts on the elastic part only (Hunt and
Crossley, J. Appl. Mech. 42, 1975). ``HERTZ`` replaces k d_e by k d_e^1.5 and serves the outside checks, where
``A`` is 1 and ``k`` is the stiffness K of Hertz's law (Johnson, Contact Mechanics, 1985, ch. 4).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import least, most, sqrt, where
from crashworthy.materials.table import datum, rows

__all__ = [
    "BED",
    "HERTZ",
    "Bed",
    "bed_of",
    "combine",
    "combine_hertz",
    "damping_number",
    "elastic",
    "friction",
    "press",
    "restitution",
    "yield_depth",
]

BED: Final = 0
"""Law of the product: pressure proportional to depth."""

HERTZ: Final = 1
"""Law of the checks: force proportional to depth to the power 3/2."""


@physics
def elastic(law: int, k: float, d_e: float) -> tuple[float, float, float]:
    """The undamped bed at elastic depth ``d_e``: pressure, energy per area, stiffness per area.

    Pa, J/m² and Pa/m; under Hertz's law, with area 1: N, J and N/m.
    """
    p, energy, slope = k * d_e, 0.5 * k * d_e * d_e, k + 0.0 * d_e
    if law == HERTZ:
        root = sqrt(d_e)
        p, energy, slope = k * d_e * root, 0.4 * k * d_e * d_e * root, 1.5 * k * root
    return p, energy, slope


def yield_depth(law: int, k: float, p_y: float) -> float:
    """Elastic depth at which the crush plateau is reached, m."""
    if law == HERTZ:
        return float((p_y / k) ** (2.0 / 3.0))
    return p_y / k


@physics
def press(
    law: int, k: float, p_y: float, d_y: float, alpha: float, d: float, rate: float, d_p: float
) -> tuple[float, float, float, float, float, float]:
    """Pressure on a patch.

    Args:
        law: ``BED`` or ``HERTZ``.
        k: stiffness of the bed, Pa/m.
        p_y: crush pressure, Pa.
        d_y: ``yield_depth(law, k, p_y)``, m.
        alpha: damping, s/m.
        d: depth, m.
        rate: its rate, positive while pressing in, m/s.
        d_p: stored indentation, m.

    Returns:
        pressure (Pa), elastic depth (m, 0 where nothing touches), new stored indentation (m), and of the
        undamped bed pressure (Pa), energy (J/m²) and stiffness (Pa/m).
    """
    d_e = d - d_p
    d_p = where(d_e > d_y, d - d_y, d_p)
    d_e = least(most(d_e, 0.0), d_y)
    p, energy, slope = elastic(law, k, d_e)
    return least(most(p * (1.0 + alpha * rate), 0.0), p_y), d_e, d_p, p, energy, slope


@physics
def friction(mu: float, normal: float, sliding: float, cap: float) -> float:
    """Friction force per sliding speed, N s/m: Coulomb's, or less where it would reverse the sliding.

    Args:
        mu: coefficient of friction.
        normal: normal force, N.
        sliding: tangential speed, above zero, m/s.
        cap: largest force per sliding speed, N s/m (a share of effective mass over time step).
    """
    return least(mu * normal / sliding, cap)


def restitution(y: float) -> float:
    """Coefficient of restitution of the damped law for y = alpha v0, any exponent.

    Integrating v dv/(1 + alpha v) over the impact gives y (1 + e) = ln((1 + y)/(1 - e y)); bisection.
    """
    if y <= 0.0:
        return 1.0
    low, high = 0.0, min(1.0, (1.0 - 1e-15) / y)
    for _ in range(200):
        e = 0.5 * (low + high)
        if math.log((1.0 + y) / (1.0 - e * y)) > y * (1.0 + e):
            high = e
        else:
            low = e
    return 0.5 * (low + high)


def damping_number(e: float) -> float:
    """Y = alpha v0 that gives the coefficient of restitution ``e``; inverse of ``restitution``.

    Values of ``e`` below 0.02 are taken as 0.02: the law needs some rebound.

    Raises:
        ValueError: ``e`` is outside 0...1.
    """
    if not 0.0 <= e <= 1.0:
        raise ValueError(f"restitution must lie in 0...1, not {e}")
    if e == 1.0:
        return 0.0
    e = max(e, 0.02)
    low, high = 0.0, (1.0 - 1e-15) / e
    for _ in range(200):
        y = 0.5 * (low + high)
        if math.log((1.0 + y) / (1.0 - e * y)) < y * (1.0 + e):
            low = y
        else:
            high = y
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True)
class Bed:
    """One side of a contact, or both combined.

    Attributes:
        stiffness: pressure per depth, Pa/m.
        crush: crush pressure, Pa.
        restitution: 0...1.
        friction: coefficient of friction.
    """

    stiffness: float
    crush: float
    restitution: float
    friction: float


def bed_of(*keys: str) -> Bed:
    """Bed of the first key that the tables know, e.g. ("part_motor", "al7075", "part_default").

    Raises:
        NotFoundError: none of the keys is tabled.
    """
    key = next((k for k in keys if (k, "bed_stiffness") in rows()), keys[-1])
    return Bed(
        *(datum(key, name).value for name in ("bed_stiffness", "crush_pressure", "restitution", "friction"))
    )


def combine(a: Bed, b: Bed) -> Bed:
    """Two beds pressed together: depths add, the softer one crushes, the lossier one decides the rebound.

    Springs in series 1/k = 1/k1 + 1/k2 (exact for equal pressure); crush = min; restitution = min;
    friction = geometric mean (assumption).
    """
    return Bed(
        stiffness=1.0 / (1.0 / a.stiffness + 1.0 / b.stiffness),
        crush=min(a.crush, b.crush),
        restitution=min(a.restitution, b.restitution),
        friction=math.sqrt(a.friction * b.friction),
    )


def combine_hertz(k_a: float, k_b: float) -> float:
    """Stiffness of two Hertz contacts in series, N/m^1.5: depths at one force add."""
    return math.pow(math.pow(k_a, -2.0 / 3.0) + math.pow(k_b, -2.0 / 3.0), -1.5)
