"""What gives on its own: arms, antennas, leads and whatever sits on a soft mount, each as a mass on springs.

| limb | mass | springs | share phi at station s |
|---|---|---|---|
| arm | motor, prop, 33/140 of the arm | cantilever, E A/L, G J/L; root factors | (3 s² - s³)/2 |
| antenna, stub | inertia about its root / length² | root stiffness / length² | s |
| antenna, whip | 33/140 of it | 3 E I / length³ | (3 s² - s³)/2 |
| lead, both ends held | 8/15 of it (parabola), at its middle | loop, times 1 + (u/slack)² | 4 s (1 - s) |
| lead, plug hanging free | a third of it and the plug, at its end | the same | s |
| camera, box on a soft mount | all of it | the mount's, times 1 + (u/room)² | 1 |

Stiffnesses that no sheet gives are assumptions of the tables ``elastic`` and ``capacity``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from crashworthy.materials.table import value
from crashworthy.quantities import MM
from crashworthy.strength.beam import TIP_MASS_SHARE, arm_beam, deflection_shape
from crashworthy.strength.capacity import arm_root_moments, arm_root_torque
from crashworthy.strength.limbs import is_whip, lead_pull, mount_of, mount_stiffness

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import Mount
    from crashworthy.build.quad import Arm, Quad

    Floats = NDArray[np.float64]

__all__ = ["Limb", "Twist", "limb_parts", "limbs_of"]

_NONE = np.zeros(3)


class Twist(NamedTuple):
    """How an arm twists.

    Attributes:
        inertia: of what rides at the tip about the arm's axis, kg m².
        stiffness: N m/rad.
        damping: N m s/rad.
        use: utilisation per root torque, 1/(N m).
        rise: height of the tip's mass above the arm's middle, m.
    """

    inertia: float
    stiffness: float
    damping: float
    use: float = 0.0
    rise: float = 0.0


class Limb(NamedTuple):
    """A mass on springs; ``axis`` leads along it, two directions across are derived from it.

    Attributes:
        place: (3,) of the mass, m.
        axis: (3,) unit vector.
        mass: kg.
        stiffness, damping: (3,) across (horizontal), across, along; N/m and N s/m.
        use: (3,) utilisation per root force, 1/N.
        tautness: 1/m²: stiffness grows by 1 + tautness |u|²; only for equal stiffnesses.
        snag: way dragged along, m, before the root's force counts; negative: it always counts.
        length: of an arm, m.
        twist: of an arm.
        parts: indices into ``Quad.parts`` of what moves with it, the part it is reported as first.
        shares: how phi goes along the path: "all", "hinge", "whip", "loop" or "end"; and the path, m.
    """

    place: Floats
    axis: Floats
    mass: float
    stiffness: Floats
    damping: Floats
    use: Floats = _NONE
    tautness: float = 0.0
    snag: float = -1.0
    length: float = 0.0
    twist: Twist | None = None
    parts: tuple[int, ...] = ()
    shares: tuple[str, Floats] = ("all", np.zeros((0, 3)))

    def share(self, points: Floats) -> tuple[Floats, Floats]:
        """Share phi of contacts at (n, 3) points on its first part, and what the root bears beyond it."""
        how, path = self.shares
        if how == "all":
            return np.ones(len(points)), np.zeros(len(points))
        s = _station(points, path)
        if how == "loop":
            phi = 4.0 * s * (1.0 - s)
            return phi, 1.0 - phi
        if how == "whip":
            return deflection_shape(s), np.zeros(len(points))
        return s, (1.0 - s if how == "end" else np.zeros(len(points)))


def _station(points: Floats, path: Floats) -> Floats:
    """Fraction of a polyline's length at its place nearest to each point."""
    step = np.diff(path, axis=0)
    length = np.linalg.norm(step, axis=1)
    before = np.concatenate([[0.0], np.cumsum(length)])
    along = np.einsum("nsj,sj->ns", points[:, None] - path[None, :-1], step) / length**2
    along = np.clip(along, 0.0, 1.0)
    gap = np.linalg.norm(points[:, None] - (path[:-1] + along[..., None] * step), axis=2)
    best = gap.argmin(axis=1)
    station: Floats = (before[best] + along[np.arange(len(points)), best] * length[best]) / before[-1]
    return station


def _damped(stiffness: Floats, mass: float, quality: float) -> Floats:
    """Damping of springs on a mass: c = sqrt(k m) / Q."""
    damping: Floats = np.sqrt(stiffness * mass) / quality
    return damping


def limbs_of(quad: Quad) -> list[Limb]:
    """Every limb of a build, arms first."""
    found = [_arm(quad, arm) for arm in quad.arms]
    if not quad.sheet:
        return found
    for index, part in enumerate(quad.parts):
        if part.kind == "antenna" and part.name in quad.sheet.antennas:
            found.append(_antenna(quad, index))
        elif part.kind == "lead" and part.name in quad.sheet.leads:
            found.append(_lead(quad, index))
        elif (row := mount_of(quad, index)) is not None:
            found.append(_mounted(quad, index, row))
    return found


def limb_parts(quad: Quad) -> tuple[int, ...]:
    """Index into ``Quad.parts`` of what each limb that is no arm is reported as."""
    return tuple(m.parts[0] for m in limbs_of(quad)[len(quad.arms) :])


def _arm(quad: Quad, arm: Arm) -> Limb:
    beam = arm_beam(arm)
    place = _tip_place(quad, arm)
    use = arm.length / np.array([*arm_root_moments(arm)[::-1], math.inf])
    riders = [p for k, p in enumerate(quad.parts) if p.arm == arm.corner and k != arm.part and p.mass > 0.0]
    inertia = 0.0
    for p in riders:
        d = p.centre - place
        own = p.inertia + p.mass * (float(d @ d) * np.eye(3) - np.outer(d, d))
        inertia += float(arm.axis @ own @ arm.axis)
    inertia = max(inertia, 1e-7)
    damping = 2.0 * value("arm_root", "damping_ratio") * math.sqrt(beam.twist * inertia)
    return Limb(
        place=place,
        axis=arm.axis,
        mass=beam.tip_mass,
        stiffness=np.array([*beam.stiffness, beam.axial]),
        damping=np.array([*beam.damping, beam.axial_damping]),
        use=use,
        length=beam.length,
        twist=Twist(inertia, beam.twist, damping, 1.0 / arm_root_torque(arm), float(place[2] - arm.tip[2])),
        parts=(arm.part,),
    )


def _tip_place(quad: Quad, arm: Arm) -> Floats:
    """Centre of gravity of what rides at the tip of an arm: motor, prop and, at the tip, the rest."""
    riders = [quad.parts[i] for i in (arm.motor, arm.prop) if i >= 0]
    ridden = sum(p.mass for p in riders)
    total = max(ridden, arm.carried + 1e-12)
    moment = sum((p.mass * (p.centre - arm.tip) for p in riders), np.zeros(3))
    place: Floats = arm.tip + moment / total
    return place


def _antenna(quad: Quad, index: int) -> Limb:
    part, row = quad.parts[index], quad.sheet.antennas[quad.parts[index].name]
    axis = np.array(row.dir) / np.linalg.norm(row.dir)
    root, length = np.array(row.at) * MM, row.length * MM
    tip = root + length * axis
    pull = 1.0 / value("part_antenna", "pull")
    if is_whip(row):
        how, mass = "whip", TIP_MASS_SHARE * part.mass
        section = math.pi * (row.d * MM) ** 4 / 64.0
        across = 3.0 * value("part_antenna", "whip_modulus") * section / length**3
        bend = 1.0 / (across * value("part_antenna", "travel_share") * length)
    else:
        how = "hinge"
        d = part.centre - root
        about_root = part.inertia + part.mass * (float(d @ d) * np.eye(3) - np.outer(d, d))
        wide = 0.5 * (float(np.trace(about_root)) - float(axis @ about_root @ axis))
        mass = min(wide / length**2, part.mass)
        across = value("part_antenna", "root_stiffness") / length**2
        bend = length / value("part_antenna", "root_moment")
    stiffness = np.array([across, across, value("part_antenna", "axial_stiffness")])
    return Limb(
        place=tip,
        axis=axis,
        mass=mass,
        stiffness=stiffness,
        damping=_damped(stiffness, mass, value("part_antenna", "quality")),
        use=np.array([bend, bend, pull]),
        parts=(index,),
        shares=(how, np.array([root, tip])),
    )


def _lead(quad: Quad, index: int) -> Limb:
    part, row = quad.parts[index], quad.sheet.leads[quad.parts[index].name]
    path = np.array(row.path) * MM
    step = np.linalg.norm(np.diff(path, axis=0), axis=1)
    length = float(step.sum())
    plug = next((k for k, p in enumerate(quad.parts) if p.name == f"{part.name}_plug"), -1)
    free = plug >= 0 and not row.retained
    mass = part.mass / 3.0 + quad.parts[plug].mass if free else 8.0 / 15.0 * part.mass
    reach = length if free else 0.5 * length
    at = min(int(np.searchsorted(np.cumsum(step), reach)), len(step) - 1)
    axis = (path[at + 1] - path[at]) / step[at]
    place = path[at] + (reach - float(step[:at].sum())) * axis
    stiffness = np.full(3, value("part_lead", "loop_stiffness"))
    return Limb(
        place=place,
        axis=axis,
        mass=mass,
        stiffness=stiffness,
        damping=_damped(stiffness, mass, value("part_lead", "quality")),
        use=np.full(3, 1.0 / lead_pull(row)),
        tautness=1.0 / (value("part_lead", "slack") * length) ** 2,
        snag=value("part_lead", "snag_travel"),
        parts=(index, plug) if free else (index,),
        shares=("end" if free else "loop", path),
    )


def _mounted(quad: Quad, index: int, row: Mount) -> Limb:
    part = quad.parts[index]
    own = [index] + [k for k, p in enumerate(quad.parts) if part.kind == "camera" and p.kind == "lens"]
    mass = sum(quad.parts[k].mass for k in own)
    place = sum((quad.parts[k].mass * quad.parts[k].centre for k in own), np.zeros(3)) / mass
    springs = np.full(3, mount_stiffness(row))
    return Limb(
        place=place,
        axis=np.array([1.0, 0.0, 0.0]),
        mass=mass,
        stiffness=springs,
        damping=_damped(springs, mass, value("soft_mount", "quality")),
        use=np.full(3, 1.0 / value("soft_mount", "pull")),
        tautness=0.0 if row.room is None else 1.0 / (row.room * MM) ** 2,
        parts=tuple(own),
    )
