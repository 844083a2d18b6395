"""How stiff and how strong antennas, leads and soft mounts are: uncertain numbers of what gives on its own.

Ends are those of the rows that ``limbs.limbs_of`` and ``strength.limbs`` read, limb by limb: a stub and a
whip have rows of their own. A mount whose stiffness stands in the sheet was pushed with a scale, which leaves
less open. ``stiffened`` is how any spring of a case is made softer or stiffer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from crashworthy.impact.cases import step_of
from crashworthy.impact.model import longest_step
from crashworthy.materials.table import datum
from crashworthy.strength.limbs import is_whip, mount_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.cases import Case
    from crashworthy.materials.table import Datum

    Floats = NDArray[np.float64]
    Side = Literal["low", "high"]

__all__ = ["LIMBS", "PUSHED", "LimbSort", "root_strength", "softened", "stiffened"]

PUSHED: Final = 1.3
"""Range of a mount's stiffness that the sheet gives: divided and multiplied by this (assumption)."""


@dataclass(frozen=True, slots=True)
class LimbSort:
    """A sort of limb.

    Attributes:
        key: "antenna", "lead" or "mount".
        kinds: of parts that can be one.
        springs, strengths: what is uncertain, in words.
        spring_source, strength_source: where the ranges come from.
    """

    key: str
    kinds: tuple[str, ...]
    springs: str
    strengths: str
    spring_source: str
    strength_source: str


LIMBS: Final = (
    LimbSort(
        "antenna",
        ("antenna",),
        "stiffness of the antennas",
        "what breaks antennas at their roots",
        "low and high of part_antenna.root_stiffness, whip_modulus and axial_stiffness (assumption)",
        "low and high of part_antenna.root_moment or travel_share (assumption)",
    ),
    LimbSort(
        "lead",
        ("lead",),
        "stiffness and slack of the leads",
        "pull that tears leads off",
        "low and high of part_lead.loop_stiffness, softest with most slack (assumption)",
        "low and high of part_lead.pull_solder or pull_crimp (assumption)",
    ),
    LimbSort(
        "mount",
        ("camera", "box"),
        "stiffness of the soft mounts",
        "force that tears soft mounts",
        "low and high of the material's mount_stiffness (assumption); 1/1.3 and 1.3 times what a sheet gives",
        "low and high of soft_mount.pull (assumption)",
    ),
)
"""Limbs besides the arms."""


def _end(row: Datum, side: Side) -> float:
    """An end of a row over its value."""
    return (row.low if side == "low" else row.high) / row.value


def stiffened(
    case: Case, springs: Floats, *, twist: Floats | None = None, use: Floats | None = None,
    tautness: Floats | None = None,
) -> Case:  # fmt: skip
    """The case with the springs of its limbs times some factors; damping keeps its ratio to critical.

    Args:
        case: any.
        springs: (limbs, 3) factors on the stiffness across, across and along.
        twist: (arms,) factors on the stiffness in twist.
        use: (limbs, 3) factors on the utilisation per root force.
        tautness: (limbs,) factors on how quickly stiffness grows.

    Returns:
        The same crashes at the same step, or at a whole part of it where stiffer springs need that.
    """
    craft = case.model.craft
    arms = len(craft.rotor)
    stiffness = craft.stiffness * springs
    turn = np.ones(arms) if twist is None else twist
    sway = craft.sway.copy()
    sway[:, 0] = np.sqrt(craft.tip_mass / stiffness.min(axis=1))
    sway[:arms, 1] /= np.sqrt(turn)
    craft = craft._replace(
        stiffness=stiffness,
        damping=craft.damping * np.sqrt(springs),
        sway=sway,
        use=craft.use if use is None else craft.use * use,
        tautness=craft.tautness if tautness is None else craft.tautness * tautness,
        twist_stiffness=craft.twist_stiffness * turn,
        twist_damping=craft.twist_damping * np.sqrt(turn),
    )
    model = case.model._replace(craft=craft, step=longest_step(craft))
    return replace(case, model=model, dt=step_of(model, case.dt))


def softened(sort: LimbSort) -> Callable[[Case, Side], Case]:
    """The limbs of a sort at the soft or the stiff end of their rows."""

    def at(case: Case, side: Side) -> Case:
        count = len(case.model.craft.tip_mass)
        springs, use, taut = np.ones((count, 3)), np.ones((count, 3)), np.ones(count)
        for limb in _limbs(case, sort):
            part = int(case.model.limbs[limb])
            if sort.key == "antenna":
                springs[limb], use[limb] = _antenna(case.quad, part, side)
            elif sort.key == "lead":
                springs[limb] = _end(datum("part_lead", "loop_stiffness"), side)
                # Tautness goes with one over the slack squared; the soft end is the one with most slack.
                slack = _end(datum("part_lead", "slack"), "high" if side == "low" else "low")
                taut[limb] = slack**-2
            else:
                springs[limb] = _mount(case.quad, part, side)
        return stiffened(case, springs, use=use, tautness=taut)

    return at


def _limbs(case: Case, sort: LimbSort) -> Iterable[int]:
    """Numbers of the limbs of a sort, arms left out."""
    arms = len(case.quad.arms)
    return [
        i
        for i, part in enumerate(case.model.limbs)
        if i >= arms and case.quad.parts[int(part)].kind in sort.kinds
    ]


def _antenna(quad: Quad, part: int, side: Side) -> tuple[Floats, Floats]:
    """Factors on springs and on utilisation per force; a whip is judged by travel, whatever its force."""
    whip = is_whip(quad.sheet.antennas[quad.parts[part].name])
    across = _end(datum("part_antenna", "whip_modulus" if whip else "root_stiffness"), side)
    along = _end(datum("part_antenna", "axial_stiffness"), side)
    bend = 1.0 / across if whip else 1.0
    return np.array([across, across, along]), np.array([bend, bend, 1.0])


def _mount(quad: Quad, part: int, side: Side) -> float:
    row = mount_of(quad, part)
    if row is None or row.k is not None:
        return 1.0 / PUSHED if side == "low" else PUSHED
    return _end(datum(row.material, "mount_stiffness"), side)


def root_strength(sort: LimbSort) -> Callable[[Case, Side], Case]:
    """The strengths at the roots of the limbs of a sort at the low or the high end of their rows."""

    def at(case: Case, side: Side) -> Case:
        modes = tuple(
            replace(c, median=c.median * _end(_root_row(case.quad, c.part, sort), side))
            if c.load == "limb" and case.quad.parts[c.part].kind in sort.kinds
            else c
            for c in case.capacities
        )
        return replace(case, capacities=modes)

    return at


def _root_row(quad: Quad, part: int, sort: LimbSort) -> Datum:
    name = quad.parts[part].name
    if sort.key == "antenna":
        whip = is_whip(quad.sheet.antennas[name])
        return datum("part_antenna", "travel_share" if whip else "root_moment")
    if sort.key == "lead":
        return datum("part_lead", f"pull_{quad.sheet.leads[name].joint}")
    return datum("soft_mount", "pull")
