"""What the crash model is not sure of, and the model, scenario or strengths at the ends of each range.

A ``Parameter`` turns a case into the same case with one group of numbers at the low or high end of its range.
Ranges are those of the materials tables where there are any, else stated here as assumptions. Nothing is
changed in place: the tables stay what they are, the case is built anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from crashworthy.impact.contact import Bed, bed_of
from crashworthy.impact.model import make_beds
from crashworthy.impact.obstacle import KINDS, SURFACES
from crashworthy.impact.uncertain_limbs import LIMBS, PUSHED, root_strength, softened, stiffened
from crashworthy.materials.table import datum, rows
from crashworthy.strength.beam import arm_beam

if TYPE_CHECKING:
    from crashworthy.impact.cases import Case
    from crashworthy.materials.table import Datum

    Side = Literal["low", "high"]

__all__ = ["Parameter", "parameters", "same_beds"]

SPEED_FACTOR: Final = 1.3
"""Range of the median speed: divided and multiplied by this (assumption)."""

MIX_FACTOR: Final = 2.0
"""Range of the weight of a sort of obstacle against the others (assumption)."""

STRENGTH_FACTOR: Final = 2.0
"""Range of a strength whose table row has none (assumption)."""

_FLATS: Final = ("ground", "wall")
_BARS: Final = ("pole", "branch")

_FIELDS: Final = {
    "stiffness": "bed_stiffness",
    "crush": "crush_pressure",
    "restitution": "restitution",
    "friction": "friction",
}


@dataclass(frozen=True, slots=True)
class Parameter:
    """One uncertain group of numbers.

    Attributes:
        key: short name.
        words: in words, ready for "if ... were".
        low, high: the ends in words, with unit.
        source: where the range comes from.
        loads: whether the crashes must be run again; False when only strengths change.
        at: the case at one end.
    """

    key: str
    words: str
    low: str
    high: str
    source: str
    loads: bool
    at: Callable[[Case, Side], Case]


def _end(row: Datum, side: Side) -> float:
    return row.low if side == "low" else row.high


def _keys(kind: str, material: str) -> tuple[str, str, str]:
    return f"part_{kind}", material, "part_default"


def _bed(keys: tuple[str, ...], field: str, side: Side) -> Bed:
    """The bed of the first key that the tables know, with one field at its end."""
    key = next((k for k in keys if (k, "bed_stiffness") in rows()), keys[-1])
    end = _end(datum(key, _FIELDS[field]), side)
    # Restitution and friction stay within what the contact law takes.
    return replace(bed_of(*keys), **{field: min(end, 1.0) if field == "restitution" else end})


def same_beds(case: Case) -> Case:
    """The case with its contact beds built again from the tables, nothing changed."""
    return _with_beds(case, "", "low", parts=False, grounds=False)


def _with_beds(case: Case, field: str, side: Side, *, parts: bool, grounds: bool) -> Case:
    owners = [case.quad.parts[i] for i in case.model.parts]
    skins = [_keys(p.kind, p.material) for p in owners]
    grounds_of = [(f"surface_{s}",) for s in SURFACES]
    beds = make_beds(
        tuple(_bed(k, field, side) if grounds else bed_of(*k) for k in grounds_of),
        tuple(_bed(k, field, side) if parts else bed_of(*k) for k in skins),
    )
    return replace(case, model=case.model._replace(beds=beds))


def _contact(key: str, words: str, field: str, *, parts: bool, grounds: bool) -> Parameter:
    return Parameter(
        key,
        words,
        "each at the low end of its table row",
        "each at the high end of its table row",
        "low and high of the contact table (assumption)",
        loads=True,
        at=lambda case, side: _with_beds(case, field, side, parts=parts, grounds=grounds),
    )


def _root_ends(case: Case, side: Side) -> list[float]:
    """Factors on the stiffness of the arms in plane, out of plane, along and in twist.

    From the table; or what a test left open, along as in plane and in twist as out of plane.
    """
    arm = case.quad.arms[0]
    if arm.tests:
        belief = arm_beam(arm).belief
        flat, up = (belief.range90(axis)[side == "high"] / belief.factor[axis] for axis in (0, 1))
        return [flat, up, flat, up]
    names = ("factor_in_plane", "factor_out_of_plane", "factor_axial", "factor_twist")
    return [_end(row, side) / row.value for row in (datum("arm_root", name) for name in names)]


def _root(case: Case, side: Side) -> Case:
    """Arm roots softer or stiffer, along and in twist too; damping keeps its ratio. Other limbs stay."""
    craft = case.model.craft
    arms = len(craft.rotor)
    *bend, twist = _root_ends(case, side)
    springs = np.ones_like(craft.stiffness)
    springs[:arms] = bend
    return stiffened(case, springs, twist=np.full(arms, twist))


def _mount(case: Case, side: Side) -> Case:
    row, stack = datum("stack_mount", "frequency"), case.quad.sheet.stack if case.quad.sheet else None
    craft = case.model.craft
    end = _end(row, side) / row.value
    if stack is not None and stack.hz is not None:  # measured or chosen: stiffness is known as a pushed one's
        end = math.sqrt(PUSHED if side == "high" else 1.0 / PUSHED)
    rate = craft.stack_rate * end
    return replace(case, model=case.model._replace(craft=craft._replace(stack_rate=rate)))


def _speed(case: Case, side: Side) -> Case:
    s = case.scenario.speed
    median = s.median / SPEED_FACTOR if side == "low" else s.median * SPEED_FACTOR
    speed = replace(s, median=min(max(median, s.low), s.high))
    return replace(case, scenario=replace(case.scenario, speed=speed))


def _mix(chosen: Callable[[str, str], bool]) -> Callable[[Case, Side], Case]:
    def at(case: Case, side: Side) -> Case:
        factor = 1.0 / MIX_FACTOR if side == "low" else MIX_FACTOR
        obstacles = tuple(
            replace(o, weight=o.weight * factor) if chosen(o.kind, o.surface) else o
            for o in case.scenario.obstacles
        )
        return replace(case, scenario=replace(case.scenario, obstacles=obstacles))

    return at


def _nose(case: Case, side: Side) -> Case:
    factor = 1.0 / MIX_FACTOR if side == "low" else MIX_FACTOR
    attitude = replace(case.scenario.attitude, nose=case.scenario.attitude.nose * factor)
    return replace(case, scenario=replace(case.scenario, attitude=attitude))


def _strength_range(kind: str) -> tuple[float, float, str]:
    """Factors on the median strength of a kind at both ends, and their source."""
    for place in (("field_factor", kind), (f"part_{kind}", "break_force"), (f"part_{kind}", "edge_force")):
        if place in rows():
            row = datum(*place)
            return (
                row.low / row.value,
                row.high / row.value,
                f"low and high of {'.'.join(place)} (assumption)",
            )
    return 1.0 / STRENGTH_FACTOR, STRENGTH_FACTOR, "half and double (assumption)"


def _strength(kind: str, words: str) -> Parameter:
    low, high, source = _strength_range(kind)
    # A field factor is on every mode of a kind; roots of limbs have rows of their own (``root_strength``).
    whole = ("field_factor", kind) in rows()

    def at(case: Case, side: Side) -> Case:
        factor = low if side == "low" else high
        modes = tuple(
            replace(c, median=c.median * factor)
            if case.quad.parts[c.part].kind == kind and (whole or c.load != "limb")
            else c
            for c in case.capacities
        )
        return replace(case, capacities=modes)

    return Parameter(
        f"strength_{kind}",
        words,
        f"{low:.2g} times as strong",
        f"{high:.2g} times as strong",
        source,
        False,
        at,
    )


def _of_limbs(case: Case, kinds: Collection[str]) -> tuple[Parameter, ...]:
    """Springs of the limbs that a build has, and the strengths of their roots where these count."""
    have = {case.quad.parts[int(i)].kind for i in case.model.limbs[len(case.quad.arms) :]}
    found = []
    for sort in LIMBS:
        if have.intersection(sort.kinds):
            ends = ("softest", "stiffest")
            found.append(
                Parameter(
                    f"stiffness_{sort.key}", sort.springs, *ends, sort.spring_source, True, softened(sort)
                )
            )
        if have.intersection(sort.kinds, kinds):
            ends = ("weak end", "strong end")
            found.append(
                Parameter(
                    f"root_{sort.key}",
                    sort.strengths,
                    *ends,
                    sort.strength_source,
                    False,
                    root_strength(sort),
                )
            )
    return tuple(found)


def parameters(kinds: dict[str, str], case: Case) -> tuple[Parameter, ...]:
    """Every uncertain parameter.

    Args:
        kinds: the plural of each kind of part whose strength counts.
        case: the build, for what only some builds have.
    """
    half = f"1/{SPEED_FACTOR:g} of it", f"{SPEED_FACTOR:g} times it"
    mix = f"1/{MIX_FACTOR:g} as often", f"{MIX_FACTOR:g} times as often"
    here = "assumption"
    loads: tuple[Parameter, ...] = (
        _contact("part_stiffness", "contact stiffness of the parts", "stiffness", parts=True, grounds=False),
        _contact("ground_stiffness", "stiffness of what is hit", "stiffness", parts=False, grounds=True),
        _contact("part_crush", "crush pressure of the parts", "crush", parts=True, grounds=False),
        _contact("ground_crush", "crush pressure of what is hit", "crush", parts=False, grounds=True),
        _contact("restitution", "rebound of every contact", "restitution", parts=True, grounds=True),
        _contact("friction", "friction of every contact", "friction", parts=True, grounds=True),
        Parameter(
            "arm_root", "stiffness of the arms' bolted roots", "low end", "high end",
            "low and high of arm_root (assumption), or the 90 % range that a pull or tap left", True, _root,
        ),
        Parameter(
            "stack_mount", "frequency of the boards on their mount", "low end", "high end",
            "low and high of stack_mount.frequency (assumption)", True, _mount,
        ),
        Parameter("speed", "median speed of the crashes", *half, here, True, _speed),
        Parameter(
            "hard", "hard obstacles (concrete, asphalt, steel)", *mix, here, True,
            _mix(lambda _, surface: surface in ("concrete", "asphalt", "steel")),
        ),
        Parameter(
            "bars", "poles, trunks and branches", *mix, here, True,
            _mix(lambda kind, _: kind in _BARS),
        ),
        Parameter("nose", "crashes nose first", *mix, here, True, _nose),
    )  # fmt: skip
    if set(KINDS) - {*_FLATS, *_BARS}:
        narrow = _mix(lambda kind, _: kind not in (*_FLATS, *_BARS))
        loads += (Parameter("narrow", "edges, stones, spikes and gaps", *mix, here, True, narrow),)
    return (
        loads
        + _of_limbs(case, kinds)
        + tuple(_strength(kind, f"strength of the {plural}") for kind, plural in kinds.items())
    )
