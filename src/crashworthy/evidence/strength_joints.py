"""Outside checks of threads and screwed joints: load tables, a published torque table, worked values."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Final

from crashworthy.evidence.making import figure_check
from crashworthy.evidence.registry import Check
from crashworthy.quantities import DEG, MM
from crashworthy.strength.joint import Joint, Layer, critical_slip, endurance_stress, preload_at_yield
from crashworthy.strength.thread import Thread, formula_limits, strength_class, thread

__all__ = ["CHECKS"]

_ISO: Final = "ISO 898-1, table of proof and ultimate loads, coarse threads; two pages that reproduce it"
_VDI: Final = (
    "VDI 2230 (2001/2003), table of assembly preloads and torques, fine threads; a page reproducing it"
)
_AREA: Final = "pi d (m/P)(P/2 + (d - D2)/sqrt 3), FED-STD-H28/2B table II.B.1, limits from memory"


_check = partial(figure_check, "strength", access="read")


def _load(name: str, grade: str, which: str) -> Callable[[], float]:
    def got() -> float:
        found = strength_class(grade)
        return found.proof_load(thread(name)) if which == "proof" else found.ultimate_load(thread(name))

    return got


_PROOF: Final = (
    ("M3", "8.8", 2920.0),
    ("M3", "10.9", 4180.0),
    ("M3", "12.9", 4880.0),
    ("M4", "8.8", 5100.0),
    ("M4", "12.9", 8520.0),
    ("M5", "8.8", 8230.0),
    ("M5", "10.9", 11800.0),
    ("M5", "12.9", 13800.0),
    ("M6", "8.8", 11600.0),
)
_ULTIMATE: Final = (("M3", "8.8", 4020.0), ("M3", "10.9", 5230.0), ("M3", "12.9", 6140.0))


def _load_checks() -> tuple[Check, ...]:
    rows = [("proof", "Proof", *r) for r in _PROOF] + [("ultimate", "Breaking", *r) for r in _ULTIMATE]
    return tuple(
        _check(
            f"J1.{which}_{name}_{grade}",
            f"{word} load of an {name} screw of class {grade}",
            f"{name}, class {grade}; tolerance is the table's own rounding",
            "N",
            expected,
            _load(name, grade, which),
            _ISO,
            tolerance=7e-3,
        )
        for which, word, name, grade, expected in rows
    )


# The table's own faces: dW and hole, mm.
_FACES: Final = {
    "M8x1": (8.0, 1.0, 11.6, 9.0),
    "M10x1.25": (10.0, 1.25, 14.6, 11.0),
    "M12x1.25": (12.0, 1.25, 16.6, 13.5),
}


def _vdi(name: str, mu: float, grade: str, which: str) -> Callable[[], float]:
    def got() -> float:
        d, pitch, face, hole = _FACES[name]
        size = Thread(name, d * MM, pitch * MM)
        force = preload_at_yield(size, strength_class(grade).yield_, mu)
        if which == "preload":
            return force / 1e3
        # The table's head and hole differ from those of cap heads, so the head's share is put together here.
        shank = size.pitch / (2.0 * math.pi) + mu * size.pitch_diameter / math.sqrt(3.0)
        return force * (shank + mu * (face + hole) / 4.0 * MM)

    return got


_TORQUES: Final = (
    ("M8x1", 0.10, "8.8", 20.7, 22.8),
    ("M8x1", 0.12, "8.8", 20.2, 26.1),
    ("M8x1", 0.14, "8.8", 19.7, 29.2),
    ("M10x1.25", 0.12, "8.8", 31.6, 51.0),
    ("M12x1.25", 0.12, "8.8", 48.0, 90.0),
)


def _vdi_checks() -> tuple[Check, ...]:
    found = []
    for name, mu, grade, preload, torque in _TORQUES:
        for which, expected, unit, tolerance in (
            ("preload", preload, "kN", 5e-3),
            ("torque", torque, "N m", 1e-2),
        ):
            found.append(
                _check(
                    f"J2.{which}_{name}_{mu:g}",
                    f"{which.capitalize()} of an {name} screw at 90 % of yield",
                    f"class {grade}, friction {mu:g}",
                    unit,
                    expected,
                    _vdi(name, mu, grade, which),
                    _VDI,
                    tolerance=tolerance,
                )
            )
    for grade, expected in (("10.9", 29.7), ("12.9", 34.7)):
        found.append(
            _check(
                f"J2.preload_M8x1_{grade}",
                f"Preload of an M8x1 screw of class {grade} at 90 % of yield",
                "friction 0.12",
                "kN",
                expected,
                _vdi("M8x1", 0.12, grade, "preload"),
                _VDI,
                tolerance=5e-3,
            )
        )
    return tuple(found)


def _phi(modulus: float, grip: float, base: float = 69e9) -> Joint:
    return Joint(thread("M3"), (Layer(grip * MM, modulus),), 206e9, base)


_F0: Final = 1751.0
_PHI_SOURCE: Final = (
    "VDI 2230 resiliences and Shigley eq. 8-20 (both from memory), worked apart from this code"
)


def _joint_checks() -> tuple[Check, ...]:
    rows: list[tuple[str, str, str, str, float, Callable[[], float], float]] = []
    for key, modulus, grip, ks, kp, loss, turn in (
        ("carbon_3", 9e9, 3.0, 126.0, 86.0, 358.0, 24.6),
        ("carbon_5", 9e9, 5.0, 99.0, 68.0, 281.0, 31.4),
        ("aluminium_3", 70e9, 3.0, 126.0, 669.0, 744.0, 11.9),
        ("aluminium_5", 70e9, 5.0, 99.0, 525.0, 583.0, 15.1),
    ):
        joint = _phi(modulus, grip)
        inputs = f"M3, {grip:g} mm, E {modulus / 1e9:g} GPa, preload 1751 N"
        rows += [
            (f"J4.screw_{key}", "Stiffness of a screw", inputs, "kN/mm", ks,
             lambda j=joint: j.screw_stiffness / 1e6, 1e-2),  # type: ignore[misc] # bound at once
            (f"J4.plates_{key}", "Stiffness of clamped plates", inputs, "kN/mm", kp,
             lambda j=joint: j.plate_stiffness / 1e6, 1.2e-2),  # type: ignore[misc] # as above
            (f"J4.embedding_{key}", "Preload lost as surfaces settle 7 um", inputs, "N", loss,
             lambda j=joint: j.embedding_loss(7e-6), 1.2e-2),  # type: ignore[misc] # as above
            (f"J4.turn_{key}", "Back-turn that takes all preload", inputs, "deg", turn,
             lambda j=joint: j.turn_to_zero(_F0) / DEG, 1.2e-2),  # type: ignore[misc] # as above
        ]  # fmt: skip
    return tuple(
        _check(k, t, i, u, e, g, _PHI_SOURCE, tolerance=tol, access="derived")
        for k, t, i, u, e, g, tol in rows
    )


def _strip(name: str, engaged: float) -> Callable[[], float]:
    return lambda: thread(name).strip_force(engaged * MM, 310e6)


def _mixed() -> tuple[Check, ...]:
    m3 = thread("M3")
    found = [
        _check(
            "J3.area_M3",
            "Thread that must shear before an M3 hole strips",
            "M3, 3 mm engaged, smallest screw and widest hole of 6g/6H",
            "mm²",
            16.64,
            lambda: m3.strip_area(3 * MM) * 1e6,
            _AREA + "; a thread library gave the same to 4 digits",
            tolerance=5e-4,
            access="computed",
        )
    ]
    for name, engaged, force in (
        ("M3", 2.0, 2063.0),
        ("M3", 3.0, 3095.0),
        ("M3", 4.0, 4127.0),
        ("M2.5", 3.0, 2498.0),
        ("M2", 3.0, 1920.0),
    ):
        found.append(
            _check(
                f"J3.strip_{name}_{engaged:g}",
                f"Force that strips {engaged:g} mm of {name} in 6061 aluminium",
                "tensile strength 310 MPa, shear 0.6 of it",
                "N",
                force,
                _strip(name, engaged),
                _AREA,
                tolerance=2e-3,
                access="derived",
            )
        )
    for name, d_min in (("M3", 2.874), ("M2.5", 2.380), ("M2", 1.886)):
        found.append(
            _check(
                f"J3.limit_{name}",
                f"Smallest outer diameter of an {name} screw, tolerance 6g",
                "formulas of ISO 965-1",
                "mm",
                d_min,
                lambda n=name: formula_limits(thread(n)).d_min / MM,  # type: ignore[misc] # bound at once
                "ISO 965-2, table, from memory",
                tolerance=2e-3,
                access="recalled",
            )
        )
    found.append(
        _check(
            "J5.endurance_M8",
            "Endurable stress amplitude of an M8 screw",
            "0.85 (150/8 + 45)",
            "MPa",
            54.2,
            lambda: endurance_stress(thread("M8")) / 1e6,
            "VDI 2230 eq. 5.5/20, from memory",
            tolerance=1e-3,
            access="recalled",
        )
    )
    found.append(
        _check(
            "J6.slip",
            "Sideways movement that bends an M3 screw before its head slips",
            "1751 N, friction 0.15, 3 mm, both ends held",
            "um",
            1.8,
            lambda: critical_slip(m3, _F0, 3 * MM, 205e9, 0.15) * 1e6,
            "mu F l³/(12 E I), textbook beam, worked apart from this code",
            tolerance=1e-2,
            access="derived",
        )
    )
    return tuple(found)


CHECKS: Final = (*_load_checks(), *_vdi_checks(), *_mixed(), *_joint_checks())
"""Outside checks of threads and joints."""
