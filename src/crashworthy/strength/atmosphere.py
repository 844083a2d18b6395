"""The standard atmosphere up to 11 km: ISO 2533 (ICAO 7488), constants from memory, values reproduced."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.quantities import G_N

__all__ = ["Air", "air"]

_EARTH: Final = 6_356_766.0  # radius for geopotential height, m
_R: Final = 287.05287  # gas constant of air, J/(kg K)
_LAPSE: Final = 6.5e-3  # K/m
_T0: Final = 288.15
_P0: Final = 101_325.0
_KAPPA: Final = 1.4


@dataclass(frozen=True, slots=True)
class Air:
    """Air at one height.

    Attributes:
        density: kg/m³.
        pressure: Pa.
        temperature: K.
        sound: speed of sound, m/s.
        viscosity: Pa s (Sutherland).
    """

    density: float
    pressure: float
    temperature: float
    sound: float
    viscosity: float


def air(height: float = 0.0, temperature: float | None = None) -> Air:
    """Air at a geometric height.

    Args:
        height: above sea level, m.
        temperature: of the day, K; that of the standard atmosphere when None. Pressure stays standard.

    Raises:
        CrashworthyError: height outside -1000 to 11 000 m or temperature outside 200 to 340 K.
    """
    if not -1000.0 <= height <= 11_000.0:
        what = f"a height of {height:g} m is not covered"
        raise CrashworthyError(Problem(what, "give -1000 to 11000 m", field="height"))
    geopotential = _EARTH * height / (_EARTH + height)
    standard = _T0 - _LAPSE * geopotential
    pressure = _P0 * math.pow(standard / _T0, G_N / (_R * _LAPSE))
    t = standard if temperature is None else temperature
    if not 200.0 <= t <= 340.0:
        what = f"an air temperature of {t:g} K is not covered"
        raise CrashworthyError(Problem(what, "give -70 to 65 °C", field="temperature"))
    viscosity = 1.458e-6 * math.pow(t, 1.5) / (t + 110.4)
    return Air(pressure / (_R * t), pressure, t, math.sqrt(_KAPPA * _R * t), viscosity)
