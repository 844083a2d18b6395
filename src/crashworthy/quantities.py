"""Units at the edges: files and faces speak mm, g and degrees; everything inside is SI.

Each factor is exact by definition of the unit (BIPM, The International System of Units, 9th ed., 2019),
except standard gravity, which is the conventional value of the 3rd CGPM (1901).
"""

from __future__ import annotations

import math
from typing import Final

__all__ = ["DEG", "GRAM", "GRAM_MM", "G_N", "KG_MM2", "MM", "MM2", "MS", "RPM"]

MM: Final = 1e-3
"""One millimetre in m."""

MM2: Final = 1e-6
"""One square millimetre in m²."""

GRAM: Final = 1e-3
"""One gram in kg."""

GRAM_MM: Final = 1e-6
"""One gram millimetre of unbalance in kg m."""

KG_MM2: Final = 1e-6
"""One kg mm² of inertia in kg m²."""

DEG: Final = math.pi / 180.0
"""One degree in rad."""

MS: Final = 1e-3
"""One millisecond in s."""

RPM: Final = 2.0 * math.pi / 60.0
"""One revolution a minute in rad/s."""

G_N: Final = 9.80665
"""Standard gravity in m/s²."""
