"""Metric threads: sizes, what a screw bears, and what strips.

Basic profile of ISO 68-1, sizes of ISO 724, stress area of ISO 898-1: H = sqrt(3)/2 P, d2 = d - 3/4 H,
d1 = d - 5/4 H, d3 = d1 - H/6, As = pi/4 ((d2 + d3)/2)². Coarse pitches of ISO 261. All from memory, then
reproduced against load tables (``evidence/strength_joints``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.materials.table import Datum, datum
from crashworthy.quantities import MM

__all__ = ["COARSE", "Limits", "StrengthClass", "Thread", "limits_6g6h", "strength_class", "thread"]

COARSE: Final = {
    "M1.4": 0.3,
    "M1.6": 0.35,
    "M2": 0.4,
    "M2.5": 0.45,
    "M3": 0.5,
    "M3.5": 0.6,
    "M4": 0.7,
    "M5": 0.8,
    "M6": 1.0,
    "M8": 1.25,
    "M10": 1.5,
    "M12": 1.75,
}
"""Coarse pitch, mm, by thread (ISO 261, from memory)."""

_HOLE: Final = {1.4: 1.6, 1.6: 1.8, 2: 2.4, 2.5: 2.9, 3: 3.4, 3.5: 3.9, 4: 4.5, 5: 5.5, 6: 6.6, 8: 9, 10: 11}
"""Clearance hole, medium series, mm (ISO 273, from memory)."""

_HEAD: Final = {2: 3.8, 2.5: 4.5, 3: 5.5, 4: 7.0, 5: 8.5, 6: 10.0, 8: 13.0, 10: 16.0}
"""Diameter of the bearing face of a cap head, mm (ISO 4762, from memory)."""

SHEAR_SHARE: Final = 0.6
"""Shear strength over tensile strength of the metal whose thread strips (FED-STD-H28/2B, from memory)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The least metal that tolerance class 6g/6H leaves.

    Attributes:
        d_min: smallest outer diameter of the screw, m.
        d2_max: largest pitch diameter of the tapped hole, m.
    """

    d_min: float
    d2_max: float


@dataclass(frozen=True, slots=True)
class Thread:
    """A metric thread.

    Attributes:
        name: "M3".
        diameter: nominal d, m.
        pitch: P, m.
    """

    name: str
    diameter: float
    pitch: float

    @property
    def height(self) -> float:
        """Of the sharp triangle, H, m."""
        return math.sqrt(3.0) / 2.0 * self.pitch

    @property
    def pitch_diameter(self) -> float:
        """d2, m."""
        return self.diameter - 0.75 * self.height

    @property
    def minor_diameter(self) -> float:
        """d1, m."""
        return self.diameter - 1.25 * self.height

    @property
    def core_diameter(self) -> float:
        """d3, m: the root of the screw's thread."""
        return self.minor_diameter - self.height / 6.0

    @property
    def stress_diameter(self) -> float:
        """(d2 + d3)/2, m."""
        return (self.pitch_diameter + self.core_diameter) / 2.0

    @property
    def stress_area(self) -> float:
        """As, m²."""
        return math.pi / 4.0 * self.stress_diameter**2

    @property
    def core_area(self) -> float:
        """Of the root, m²."""
        return math.pi / 4.0 * self.core_diameter**2

    @property
    def nominal_area(self) -> float:
        """Of the unthreaded shank, m²."""
        return math.pi / 4.0 * self.diameter**2

    @property
    def hole(self) -> float:
        """Clearance hole, medium series of ISO 273, m."""
        return _HOLE.get(self.diameter / MM, 1.1 * self.diameter / MM) * MM

    @property
    def head(self) -> float:
        """Bearing face under the head, m."""
        return _HEAD.get(round(self.diameter / MM, 2), 1.8 * self.diameter / MM) * MM

    def strip_area(self, engaged: float, limits: Limits | None = None) -> float:
        """Area of the tapped hole's thread that must shear before it strips, m².

        pi d (m/P) (P/2 + (d - D2)/sqrt 3) with the screw's smallest d and the hole's largest D2
        (FED-STD-H28/2B table II.B.1; ISO/TR 16224), from memory.

        Args:
            engaged: length of full thread m, m.
            limits: sizes to use; those of tolerance class 6g/6H when None.
        """
        size = limits or limits_6g6h(self)
        flank = self.pitch / 2.0 + (size.d_min - size.d2_max) / math.sqrt(3.0)
        return math.pi * size.d_min * max(engaged, 0.0) / self.pitch * flank

    def strip_force(self, engaged: float, tensile: float) -> float:
        """Force that strips the tapped hole, N: 0.6 tensile strength times ``strip_area``."""
        return SHEAR_SHARE * tensile * self.strip_area(engaged)

    def full_engagement(self, screw_tensile: float, base_tensile: float) -> float:
        """Length of thread at which the screw breaks as soon as the hole strips, m."""
        return screw_tensile * self.stress_area / self.strip_force(1.0, base_tensile)


_LIMITS: Final = {"M2": (1.886, 1.830), "M2.5": (2.380, 2.303), "M3": (2.874, 2.775)}
"""ISO 965-2, 6g and 6H, mm, from memory."""


def limits_6g6h(size: Thread) -> Limits:
    """Limits of tolerance class 6g/6H.

    Tabled for M2 to M3 (ISO 965-2); others from the formulas of ISO 965-1, es = 15 + 11 P,
    Td = 180 P^(2/3) - 3.15/sqrt P, TD2 = 1.32 · 90 P^0.4 d^0.1 (um, mm), which come within 5 um of the table.
    """
    if size.name in _LIMITS:
        d_min, d2_max = _LIMITS[size.name]
        return Limits(d_min * MM, d2_max * MM)
    return formula_limits(size)


def formula_limits(size: Thread) -> Limits:
    """The same from the formulas alone; see ``limits_6g6h``."""
    p, d = size.pitch / MM, size.diameter / MM
    lower = 15.0 + 11.0 * p + 180.0 * p ** (2.0 / 3.0) - 3.15 / math.sqrt(p)
    upper = 1.32 * 90.0 * p**0.4 * d**0.1
    return Limits(size.diameter - lower * 1e-6, size.pitch_diameter + upper * 1e-6)


def thread(name: str, pitch: float | None = None) -> Thread:
    """A thread by name: "M3", coarse, or with a pitch (m) of its own.

    Raises:
        CrashworthyError: no such coarse thread is tabled and no pitch is given.
    """
    try:
        diameter = float(name.lstrip("Mm"))
        coarse = COARSE[name] * MM if pitch is None else pitch
    except (KeyError, ValueError):
        raise CrashworthyError(
            Problem(f"no thread {name!r} is tabled", f"use one of {', '.join(COARSE)}", field="thread")
        ) from None
    if not (diameter > 0.0 and 0.0 < coarse < 0.5 * diameter * MM):
        raise CrashworthyError(
            Problem(f"thread {name} with pitch {coarse / MM:g} mm cannot be", "correct it", field="thread")
        )
    return Thread(name, diameter * MM, coarse)


@dataclass(frozen=True, slots=True)
class StrengthClass:
    """What the metal of a screw bears, Pa.

    Attributes:
        grade: as marked, "8.8".
        proof: stress of the proof load.
        yield_: yield or 0.2 % proof stress.
        tensile: strength.
        modulus: of elasticity.
        origin: the data used.
    """

    grade: str
    proof: float
    yield_: float
    tensile: float
    modulus: float
    origin: tuple[Datum, ...]

    def proof_load(self, size: Thread) -> float:
        """Proof load, N: the computed one; load tables begin at M3."""
        return self.proof * size.stress_area

    def ultimate_load(self, size: Thread) -> float:
        """Least load that breaks it, N."""
        return self.tensile * size.stress_area


def strength_class(grade: str) -> StrengthClass:
    """The strength class of a mark.

    Raises:
        NotFoundError: no such class is tabled.
    """
    metal = "ti64" if grade == "ti64" else "stainless" if grade.startswith("A") else "steel"
    found = tuple(datum(f"screw_{grade}", name) for name in ("proof", "yield", "tensile"))
    stiff = datum(metal, "flexural_modulus")
    return StrengthClass(grade, found[0].value, found[1].value, found[2].value, stiff.value, (*found, stiff))
