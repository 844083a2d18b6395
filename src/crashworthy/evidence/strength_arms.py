"""Outside checks of calibrated arms: a pull and a tap as springs, and the belief they correct."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from crashworthy.build.quad import StiffnessTest
from crashworthy.evidence.making import figure_check
from crashworthy.evidence.registry import Check
from crashworthy.strength.calibrate import observed, updated

__all__ = ["CHECKS"]

_NORMAL = (
    "mean weighted by precision: 1/s1² = 1/s0² + 1/s², m1 = s1² (m0/s0² + y/s²); Gelman et al., Bayesian "
    "Data Analysis, 3rd ed., eq. 2.10 (from memory, derived again)"
)
_GAUSS = "density of two correlated normal variables times the likelihood, summed on a grid of 801 x 801"
_HOOKE = "k = F/d (Hooke)"
_RAYLEIGH = "k = (2 pi f)² m of a mass on a spring (any text on mechanical vibration)"


_check = partial(figure_check, "strength.calibrate", tolerance=1e-9, access="derived")


def _alone(which: int) -> float:
    mean, sd = updated((math.log(0.35), math.log(0.5)), 0.3, 0.0, ((1, math.log(0.62), 0.1),))
    return (mean[1], sd[1], mean[0])[which]


_PRECISION = 1 / 0.3**2 + 1 / 0.1**2


def _grid(which: int) -> float:
    """Mean and deviation of the direction that was not measured, by summing the density."""
    a = math.log(0.35) + np.linspace(-1.8, 1.8, 801)[:, None]
    b = math.log(0.5) + np.linspace(-1.8, 1.8, 801)[None, :]
    u, v, rho = (a - math.log(0.35)) / 0.3, (b - math.log(0.5)) / 0.3, 0.5
    weight = np.exp(-(u**2 - 2 * rho * u * v + v**2) / (2 * (1 - rho**2)))
    weight = weight * np.exp(-0.5 * ((b - math.log(0.62)) / 0.1) ** 2)
    mean = float((weight * a).sum() / weight.sum())
    return (mean, math.sqrt(float((weight * (a - mean) ** 2).sum() / weight.sum())))[which]


def _together(which: int) -> float:
    mean, sd = updated((math.log(0.35), math.log(0.5)), 0.3, 0.5, ((1, math.log(0.62), 0.1),))
    return (mean[0], sd[0])[which]


_SEEN = "prior factor 0.5 and 0.35, spread 0.3; one factor of 0.62 seen with 0.1"

CHECKS: tuple[Check, ...] = (
    _check(
        "mean", "Measured direction: logarithm of the factor", f"{_SEEN}, no correlation", "",
        lambda: (math.log(0.5) / 0.3**2 + math.log(0.62) / 0.1**2) / _PRECISION, lambda: _alone(0), _NORMAL,
    ),
    _check(
        "sd", "Measured direction: its standard deviation", f"{_SEEN}, no correlation", "",
        lambda: _PRECISION**-0.5, lambda: _alone(1), _NORMAL,
    ),
    _check(
        "other_mean", "Direction not measured: logarithm of the factor", f"{_SEEN}, correlation 0.5", "",
        lambda: _grid(0), lambda: _together(0), _GAUSS, tolerance=1e-4, access="computed",
    ),
    _check(
        "other_sd", "Direction not measured: its standard deviation", f"{_SEEN}, correlation 0.5", "",
        lambda: _grid(1), lambda: _together(1), _GAUSS, tolerance=1e-4, access="computed",
    ),
    _check(
        "pull", "Stiffness that a pull shows", "9.81 N moves the motor 0.6 mm", "N/m",
        lambda: 16350.0,
        lambda: observed(StiffnessTest("pull", False, force=9.81, deflection=6e-4), 2e4, 0.04).stiffness,
        _HOOKE,
    ),
    _check(
        "tap", "Stiffness that a tap shows", "100 Hz, 40 g at the tip", "N/m",
        lambda: 0.04 * 4.0e4 * math.pi**2,
        lambda: observed(StiffnessTest("tap", False, frequency=100.0), 2e4, 0.04).stiffness, _RAYLEIGH,
    ),
    _check(
        "tap_prop", "The same with the prop of 4 g taken off", "100 Hz, 36 g left at the tip", "N/m",
        lambda: 0.036 * 4.0e4 * math.pi**2,
        lambda: observed(StiffnessTest("tap", False, frequency=100.0, off=0.004), 2e4, 0.04).stiffness,
        _RAYLEIGH,
    ),
)  # fmt: skip
"""Every check of this module."""
