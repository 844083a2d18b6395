"""The contact law: what one patch of skin does when an obstacle presses into it.

    p   = k d_e (1 + alpha d')   clipped to 0 <= p <= p_y      pressure on a slice of the patch
    d_e = s - d_p                                              elastic part of the slice's depth s
    d_p grows so that d_e never exceeds d_y = p_y / k          stored indentation (crush)
    F   = A mean p,   F_t = min(mu F, cap |v_t|)               normal force and friction

A bed of independent springs (Winkler) with a crush plateau; damping acts on the elastic part only (Hunt and
Crossley, J. Appl. Mech. 42, 1975). A patch is seldom level with the obstacle, so its slices are in at depths
d - w ... d + w, spread evenly about the depth d of its middle; the mean over them has a closed form. Without
it a whole patch would press as soon as its middle touched, and peaks would depend on the size of patches.
Every slice remembers its own indentation, but all of them follow from one number, the greatest depth of the
middle so far: what was crushed has been m - d less than d_y deep ever since, so d_e = min(s, d_y - (m - d)).

``HERTZ`` replaces k d_e by k d_e^1.5 of the middle alone and serves the outside checks, where ``A`` is 1 and
``k`` is the stiffness K of Hertz's law (Johnson, Contact Mechanics, 1985, ch. 4).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from crashworthy.impact.jit import physics
from crashworthy.impact.lanes import least, most, some, sqrt, where
from crashworthy.materials.table import datum, rows

__all__ = [
    "BED",
    "HERTZ",
    "THIN",
    "UNTOUCHED",
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

UNTOUCHED: Final = -1.0
"""Greatest depth so far of what was never touched, m: far outside."""

THIN: Final = 1e-9
"""Least spread of a patch, m: a point has none, and the mean over slices divides by it."""


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
def _clip(x: float, high: float) -> float:
    return least(most(x, 0.0), high)


@physics
def _slices(low: float, high: float, top: float, per: float) -> tuple[float, float, float]:
    """Means over slices at depths low ... high, of which ``per`` is one over the span.

    Of d_e, of d_e² and of whether a slice presses, for d_e = depth between 0 and ``top``.
    """
    a, b, level = most(low, 0.0), most(high, 0.0), 0.0 * low
    if some(high > top):
        a, b = least(a, top), least(b, top)
        level = most(high - top, 0.0) - most(low - top, 0.0)
    slope = b - a
    first = 0.5 * slope * (a + b) + top * level
    second = slope * (a * a + a * b + b * b) / 3.0 + top * top * level
    return per * first, per * second, per * (slope + level)


@physics
def _dent(low: float, high: float, d_y: float, per: float) -> float:
    """Mean indentation of slices that have been at depths low ... high, m."""
    a, b = most(low - d_y, 0.0), most(high - d_y, 0.0)
    return 0.5 * per * (b - a) * (b + a)


@physics
def press(
    law: int, k: float, p_y: float, d_y: float, alpha: float, d: float, rate: float, spread: float,
    deepest: float, wide: bool = True,
) -> tuple[float, float, float, float, float, float, float]:  # fmt: skip
    """Pressure on a patch.

    Args:
        law: ``BED`` or ``HERTZ``.
        k: stiffness of the bed, Pa/m.
        p_y: crush pressure, Pa.
        d_y: ``yield_depth(law, k, p_y)``, m.
        alpha: damping, s/m.
        d: depth of the patch's middle, m (negative outside).
        rate: its rate, positive while pressing in, m/s.
        spread: w, half of what the depths of its slices differ by, m.
        deepest: greatest depth of its middle so far, m; ``UNTOUCHED`` before the first touch.
        wide: whether the patch has slices; a point has its middle alone, and ``spread`` is not looked at.

    Returns:
        mean pressure (Pa), share of the patch that presses, new ``deepest`` (m), and of the undamped bed
        pressure (Pa), energy (J/m²), stiffness (Pa/m) and the work that was crushed into it now (J/m²).
    """
    now = most(deepest, d)
    top = most(d_y - (now - d), 0.0)
    w = most(spread, THIN)
    damped = 1.0 + alpha * rate
    if law == HERTZ or not wide:
        d_e = _clip(d, top)
        p, energy, slope = elastic(law, k, d_e)
        share = where(d_e > 0.0, 1.0, 0.0)
        crushed = p_y * (most(now - d_y, 0.0) - most(deepest - d_y, 0.0))
        return least(most(p * damped, 0.0), p_y), share, now, p, energy, slope, crushed
    per = 0.5 / w
    first, second, share = _slices(d - w, d + w, top, per)
    share = where(top > 0.0, share, 0.0)
    pressed, crushed = first, 0.0 * first
    if some(least(top, d + w) * damped > d_y):
        # A slice whose damped pressure would pass the plateau stays on it.
        pressed, _, _ = _slices(d - w, d + w, least(top, d_y / most(damped, 1.0)), per)
    if some(now + w > d_y):
        crushed = p_y * (_dent(now - w, now + w, d_y, per) - _dent(deepest - w, deepest + w, d_y, per))
    return k * pressed * most(damped, 0.0), share, now, k * first, 0.5 * k * second, k * share, crushed


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
