"""Outside checks of the flight budget: standard atmosphere, momentum theory, coefficients."""

from __future__ import annotations

import math
from functools import partial
from typing import Final

from crashworthy.evidence.making import figure_check
from crashworthy.quantities import G_N, RPM
from crashworthy.strength.atmosphere import air
from crashworthy.strength.flight import figure_of_merit, hover_power, induced_speed, tip_speed

__all__ = ["CHECKS"]

_ISA: Final = "ISO 2533 / ICAO 7488, table, from memory"
_LEISHMAN: Final = "Leishman, Principles of Helicopter Aerodynamics, ch. 2, worked example, from memory"
_MOMENTUM: Final = "T v = T sqrt(T/(2 rho A)), momentum theory, worked by hand"
_FOOT: Final = 0.3048
_POUND: Final = 4.4482216152605
_HP: Final = 745.6998715822702
_SLUG: Final = 515.3788184


_check = partial(figure_check, "strength")


def _rotor(which: str) -> float:
    """Tilt rotor of 45 000 lb on two 38 ft rotors in air of 0.002378 slug/ft³."""
    thrust, area, rho = 22500.0 * _POUND, math.pi / 4 * (38.0 * _FOOT) ** 2, 0.002378 * _SLUG
    if which == "speed":
        return induced_speed(thrust, area, rho) / _FOOT
    return hover_power(thrust, area, rho, 0.75 if which == "real" else 1.0) / _HP


def _thrust_of(power: float, speed: float) -> float:
    """Thrust, lbf, of an ideal rotor that needs ``power`` hp at ``speed`` ft/s; area from that speed."""
    v = speed * _FOOT
    area = power * _HP / v / (2.0 * 1.225 * v * v)
    # The thrust whose hover power over that area is the given one, by bisection: the formula is not inverted.
    low, high = 0.0, 1e6
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if hover_power(middle, area, 1.225) < power * _HP else (low, middle)
    return low / _POUND


_AREA: Final = math.pi * 0.1295**2


def _hover(mass: float) -> float:
    return hover_power(mass * G_N, _AREA, 1.225, 0.6, 0.75)


def _endurance(mass: float) -> float:
    return 28.86 * 0.8 / _hover(mass) * 60.0


CHECKS: Final = (
    _check(
        "F1.density",
        "Air at sea level: density",
        "0 m",
        "kg/m³",
        1.225,
        lambda: air().density,
        _ISA,
        1e-5,
        "recalled",
    ),
    _check(
        "F1.sound",
        "Air at sea level: speed of sound",
        "0 m",
        "m/s",
        340.294,
        lambda: air().sound,
        _ISA,
        1e-5,
        "recalled",
    ),
    _check(
        "F1.viscosity",
        "Air at sea level: viscosity",
        "0 m",
        "Pa s",
        1.7894e-5,
        lambda: air().viscosity,
        _ISA,
        1e-4,
        "recalled",
    ),
    _check(
        "F2.density_1000",
        "Air at 1000 m: density",
        "geometric height",
        "kg/m³",
        1.11166,
        lambda: air(1000).density,
        _ISA,
        1e-5,
        "recalled",
    ),
    _check(
        "F2.pressure_2000",
        "Air at 2000 m: pressure",
        "geometric height",
        "Pa",
        79501.4,
        lambda: air(2000).pressure,
        _ISA,
        1e-5,
        "recalled",
    ),
    _check(
        "F2.density_2000",
        "Air at 2000 m: density",
        "geometric height",
        "kg/m³",
        1.00655,
        lambda: air(2000).density,
        _ISA,
        1e-5,
        "recalled",
    ),
    _check(
        "F2.sound_2000",
        "Air at 2000 m: speed of sound",
        "geometric height",
        "m/s",
        332.53,
        lambda: air(2000).sound,
        _ISA,
        1e-4,
        "recalled",
    ),
    _check(
        "F3.power",
        "Thrust from ideal power and induced speed",
        "433.8 hp at 36.70 ft/s",
        "lbf",
        6501.0,
        lambda: _thrust_of(433.8, 36.70),
        "T = P/v, a helicopter design page's own example",
        5e-4,
        "read",
    ),
    _check(
        "F4.speed",
        "Tilt rotor in hover: induced speed",
        "22 500 lb on a 38 ft rotor",
        "ft/s",
        64.59,
        lambda: _rotor("speed"),
        _LEISHMAN,
        1e-3,
        "recalled",
    ),
    _check(
        "F4.ideal",
        "Tilt rotor in hover: ideal power of one rotor",
        "22 500 lb on a 38 ft rotor",
        "hp",
        2642.0,
        lambda: _rotor("ideal"),
        _LEISHMAN,
        1e-3,
        "recalled",
    ),
    _check(
        "F4.real",
        "Tilt rotor in hover: power of one rotor",
        "figure of merit 0.75",
        "hp",
        3523.0,
        lambda: _rotor("real"),
        _LEISHMAN,
        1e-3,
        "recalled",
    ),
    _check(
        "F5.speed",
        "Quad in hover: induced speed",
        "0.75 kg, four 129.5 mm props, 1.225 kg/m³",
        "m/s",
        7.55,
        lambda: induced_speed(0.75 * G_N, _AREA, 1.225),
        _MOMENTUM,
        2e-3,
        "derived",
    ),
    _check(
        "F5.power",
        "Quad in hover: electrical power",
        "0.75 kg, figure of merit 0.6, efficiency 0.75",
        "W",
        123.4,
        lambda: _hover(0.75),
        _MOMENTUM,
        2e-3,
        "derived",
    ),
    _check(
        "F5.endurance",
        "Quad in hover: endurance",
        "28.86 Wh, four fifths used",
        "min",
        11.2,
        lambda: _endurance(0.75),
        _MOMENTUM,
        4e-3,
        "derived",
    ),
    _check(
        "F6.power",
        "Ten per cent more mass: power",
        "1.1^1.5",
        "",
        1.1537,
        lambda: _hover(0.825) / _hover(0.75),
        _MOMENTUM,
        1e-4,
        "derived",
    ),
    _check(
        "F6.endurance",
        "Ten per cent more mass: endurance",
        "1.1^-1.5",
        "",
        0.8668,
        lambda: _endurance(0.825) / _endurance(0.75),
        _MOMENTUM,
        1e-4,
        "derived",
    ),
    _check(
        "F7.tip",
        "Tip speed",
        "129.5 mm at 28 000 rpm",
        "m/s",
        189.9,
        lambda: tip_speed(0.1295, 28000 * RPM),
        "pi n D",
        5e-4,
        "derived",
    ),
    _check(
        "F7.mach",
        "Tip speed over speed of sound",
        "129.5 mm at 28 000 rpm, sea level",
        "",
        0.558,
        lambda: tip_speed(0.1295, 28000 * RPM) / air().sound,
        "pi n D/a",
        1e-3,
        "derived",
    ),
    _check(
        "F8.merit",
        "Figure of merit from coefficients",
        "Ct 0.10, Cp 0.045",
        "",
        0.561,
        lambda: figure_of_merit(0.1, 0.045),
        "sqrt(2/pi) Ct^1.5/Cp, from its definition",
        1e-3,
        "derived",
    ),
)
"""Outside checks of the flight budget."""
