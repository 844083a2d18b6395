"""What each part can bear: the median of a lognormal strength, its spread, and where the number comes from.

A part may fail in several modes; each mode compares one load of a crash with one capacity. Sizes come from
the build; whatever the build cannot tell is a labelled assumption of ``materials/capacity.toml``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from crashworthy.materials.table import datum, rows
from crashworthy.strength.beam import arm_beam
from crashworthy.strength.limbs import limb_source

if TYPE_CHECKING:
    from crashworthy.build.quad import Arm, Part, Quad
    from crashworthy.materials.table import Datum

__all__ = [
    "LOADS",
    "Capacity",
    "arm_root_moments",
    "arm_root_torque",
    "capacities",
    "shaft_bend_force",
    "standoff_side_force",
]

LOADS: Final = ("force", "bending", "limb", "pseudo_velocity", "strap")
"""What is compared: the part's peak contact force (N), the arm's root interaction (1 at capacity), the same
of another limb (antenna, lead, what sits on a soft mount), the pseudo-velocity of the boards (m/s), or the
pull on the battery's strap (N)."""

_TRUST: Final = ("read", "computed", "derived", "recalled", "assumption")


@dataclass(frozen=True, slots=True)
class Capacity:
    """One way in which one part breaks.

    Attributes:
        part: index into ``Quad.parts``.
        mode: in words ("root bending", "shaft bent").
        load: one of ``LOADS``.
        median: load at which half of such parts break, in ``unit``.
        beta: lognormal standard deviation of one part's strength, model error included.
        spread: standard deviation of the logarithm of the median itself: how well it is known.
        unit: "N", "m/s" or "" for an interaction.
        obstacle: "flat" or "round" when the mode belongs to one shape of obstacle, else "".
        source: how the median was obtained, in words.
        access: weakest origin among the data used (see ``materials.table.ACCESS``).
    """

    part: int
    mode: str
    load: str
    median: float
    beta: float
    spread: float
    unit: str
    obstacle: str
    source: str
    access: str


def _weakest(*data: Datum) -> str:
    return max((d.access for d in data), key=_TRUST.index)


def arm_root_moments(arm: Arm) -> tuple[float, float]:
    """Root moments at which the arm breaks: (out of plane, in plane), N m.

    M = s_f W of the net section beside the clamp hole, W = (b-d) h^2/6 and h (b^3-d^3)/(6 b) (hole on the
    centre line), times the notch factor when there is a hole. Textbook beam theory; strength and notch
    factor from the tables.
    """
    strength = datum(arm.material, "flexural_strength").value
    width, thickness = arm.width_root, arm.thickness
    hole = min(max(arm.hole, 0.0), 0.9 * width)
    notch = datum("part_arm", "notch").value if hole > 0.0 else 1.0
    out_of_plane = strength * (width - hole) * thickness**2 / 6.0
    in_plane = strength * thickness * (width**3 - hole**3) / (6.0 * width)
    return notch * out_of_plane, notch * in_plane


def arm_root_torque(arm: Arm) -> float:
    """Torque about its axis at which the arm breaks at its root, N m.

    T = tau b t²/3 / (1 + 0.6095 x + 0.8865 x² - 1.8023 x³ + 0.91 x^4), x = t/b, of the net section beside the
    clamp hole (peak shear of a rectangle, Roark's formulas for stress and strain), times the notch factor
    when there is a hole. A material without a tabled shear strength takes its flexural strength / sqrt(3)
    (von Mises).
    """
    hole = min(max(arm.hole, 0.0), 0.9 * arm.width_root)
    notch = datum("part_arm", "notch").value if hole > 0.0 else 1.0
    sides = (arm.width_root - hole, arm.thickness)
    b, t = max(sides), min(sides)
    x = t / b
    bulge = 1.0 + 0.6095 * x + 0.8865 * x**2 - 1.8023 * x**3 + 0.91 * x**4
    return notch * _shear_strength(arm.material).value * b * t**2 / (3.0 * bulge)


def _shear_strength(material: str) -> Datum:
    if (material, "shear_strength") in rows():
        return datum(material, "shear_strength")
    bending = datum(material, "flexural_strength")
    return replace(
        bending, value=bending.value / math.sqrt(3.0), source=f"flexural strength / sqrt 3; {bending.source}"
    )


def shaft_bend_force(
    diameter: float, yield_stress: float, lever: float, share: float, bore: float = 0.0
) -> float:
    """Rim force that bends a shaft for good, N: share F lever = s_y pi (d^4 - d_i^4)/(32 d)."""
    section = math.pi * (diameter**4 - bore**4) / (32.0 * diameter)
    return yield_stress * section / (share * lever)


def standoff_side_force(diameter: float, height: float, yield_stress: float, bore: float = 0.0) -> float:
    """Side force at one end that bends a standoff held at both, N: F h/2 = s_y pi (d^4 - d_i^4)/(32 d)."""
    section = math.pi * (diameter**4 - bore**4) / (32.0 * diameter)
    return yield_stress * section / (0.5 * height)


def _arm_modes(arm: Arm, spread: float) -> list[Capacity]:
    root = max(arm_beam(arm).belief.sd_ln) if arm.tests else datum("arm_root", "stiffness_sd_ln").value
    # Root moment is impedance-limited, so it goes with the square root of the uncertain root stiffness.
    bending = math.hypot(spread, 0.5 * root)
    out_of_plane, in_plane = arm_root_moments(arm)
    strength, notch = datum(arm.material, "flexural_strength"), datum("part_arm", "notch")
    shear = _shear_strength(arm.material)
    pressure, patch = datum("part_arm", "edge_pressure"), datum("part_arm", "edge_length")
    return [
        Capacity(
            arm.part,
            "root bending",
            "bending",
            1.0,
            datum("part_arm", "bending_beta").value,
            bending,
            "",
            "",
            f"root moments {out_of_plane:.3g} N m out of plane, {in_plane:.3g} N m in plane: "
            f"flexural strength x net section x notch factor; {arm_root_torque(arm):.3g} N m in twist; "
            f"{strength.source}; {notch.source}; {shear.source}",
            _weakest(strength, notch, shear),
        ),
        Capacity(
            arm.part,
            "edge delamination",
            "force",
            pressure.value * patch.value * arm.thickness,
            datum("part_arm", "edge_pressure_beta").value,
            spread,
            "N",
            "",
            f"edge pressure x patch x thickness; {pressure.source}; {patch.source}",
            _weakest(pressure, patch),
        ),
    ]


def _shaft_mode(index: int, part: Part, spread: float) -> Capacity:
    share, lever = datum("part_motor", "shaft_share"), datum("part_motor", "shaft_lever")
    steel, fallback = datum("shaft_steel", "yield"), datum("part_motor", "shaft_diameter")
    diameter = part.measures.get("shaft_diameter", 0.0)
    known = diameter > 0.0
    force = shaft_bend_force(diameter if known else fallback.value, steel.value, lever.value, share.value)
    return Capacity(
        index,
        "shaft bent",
        "force",
        force,
        datum("part_motor", "shaft_beta").value,
        spread,
        "N",
        "",
        f"first yield of the shaft, diameter {'from the sheet' if known else 'assumed'}; {steel.source}; "
        f"{share.source}; {lever.source}",
        _weakest(share, lever, steel),
    )


def _standoff_mode(index: int, part: Part, spread: float) -> Capacity | None:
    diameter, height, bore = (part.measures.get(k, 0.0) for k in ("diameter", "length", "bore"))
    if (part.material, "flexural_strength") not in rows() or not (diameter > bore >= 0.0 and height > 0.0):
        return None
    strength = datum(part.material, "flexural_strength")
    return Capacity(
        index,
        "bent",
        "force",
        standoff_side_force(diameter, height, strength.value, bore),
        datum("part_standoff", "beta").value,
        spread,
        "N",
        "",
        f"first yield of a tube held at both ends, bore as in the sheet; {strength.source}",
        _weakest(strength, datum("part_standoff", "beta")),
    )


def _plate_mode(index: int, part: Part, spread: float) -> Capacity | None:
    thickness = part.measures.get("thickness", 0.0)
    if not thickness > 0.0:
        return None
    pressure, patch = datum("part_arm", "edge_pressure"), datum("part_plate", "edge_length")
    return Capacity(
        index,
        "edge delamination",
        "force",
        pressure.value * patch.value * thickness,
        datum("part_plate", "edge_beta").value,
        spread,
        "N",
        "",
        f"edge pressure x patch x thickness, as for arms; {pressure.source}; {patch.source}",
        _weakest(pressure, patch),
    )


def _table_mode(
    index: int, kind: str, row: str, mode: str, spread: float, *, load: str = "force", obstacle: str = ""
) -> Capacity | None:
    if (f"part_{kind}", row) not in rows():
        return None
    median = datum(f"part_{kind}", row)
    beta = datum(f"part_{kind}", f"{row}_beta").value
    return Capacity(
        index, mode, load, median.value, beta, spread, median.unit, obstacle, median.source, median.access
    )


_BREAKS: Final = {
    "motor": "bell dented",
    "prop": "blade broken or bent",
    "camera": "housing cracked",
    "lens": "glass broken",
    "lead": "cut or crushed",
    "plug": "torn",
    "board": "struck",
    "shield": "split",
    "strap": "torn",
    "box": "cracked",
    "model": "split",
}


def capacities(quad: Quad) -> tuple[Capacity, ...]:
    """Every failure mode of every part that has one, in the order of the parts.

    Raises:
        CrashworthyError: an arm's material has no tabled strength.
    """
    spread = datum("capacity", "median_sd_ln").value
    arms = {arm.part: arm for arm in quad.arms}
    found: list[Capacity] = []
    for index, part in enumerate(quad.parts):
        modes: list[Capacity | None] = []
        if index in arms:
            modes += _arm_modes(arms[index], spread)
        elif part.kind == "motor":
            modes.append(_shaft_mode(index, part, spread))
        elif part.kind == "standoff":
            modes.append(_standoff_mode(index, part, spread))
        elif part.kind == "plate":
            modes.append(_plate_mode(index, part, spread))
        elif part.kind == "battery":
            modes.append(
                _table_mode(index, "battery", "face_force", "cell crushed, flat", spread, obstacle="flat")
            )
            modes.append(
                _table_mode(index, "battery", "edge_force", "cell crushed, edge", spread, obstacle="round")
            )
            modes.append(
                _table_mode(index, "battery", "strap_pull", "thrown from its strap", spread, load="strap")
            )
        elif part.kind == "board":
            modes.append(
                _table_mode(index, "board", "pseudo_velocity", "shaken", spread, load="pseudo_velocity")
            )
        limb = limb_source(quad, index)
        if limb is not None:
            mode, beta, source, data = limb
            modes.append(Capacity(index, mode, "limb", 1.0, beta, spread, "", "", source, _weakest(*data)))
        elif part.kind == "antenna":
            modes.append(_table_mode(index, "antenna", "break_force", "torn", spread))
        if part.kind in _BREAKS:
            modes.append(_table_mode(index, part.kind, "break_force", _BREAKS[part.kind], spread))
        found += [_in_the_field(m, part.kind) for m in modes if m is not None]
    return tuple(found)


def _in_the_field(mode: Capacity, kind: str) -> Capacity:
    """Apply the field factor of the kind, where the table has one, to the median; the source says so."""
    if ("field_factor", kind) not in rows():
        return mode
    factor = datum("field_factor", kind)
    return replace(
        mode,
        median=mode.median * factor.value,
        source=f"{mode.source}; times field factor {factor.value:g} ({factor.source})",
        access=max(mode.access, factor.access, key=_TRUST.index),
    )
