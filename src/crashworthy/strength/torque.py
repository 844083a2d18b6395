"""The torque card: how tight each screw of a build may be, what limits it, and what a loose one costs.

Preload target = the least of 0.75 x proof load x head factor, half the load that strips the thread over
m - P, and what the face under the head bears. Torque from preload by Motosh's equation. See ``joint``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crashworthy.materials.table import datum
from crashworthy.quantities import DEG, MM
from crashworthy.strength.clamped import Stack, layers_of, through_modulus
from crashworthy.strength.joint import Joint, critical_slip, preload_from, torque_for
from crashworthy.strength.thread import strength_class

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Joint as Group
    from crashworthy.build.quad import Quad
    from crashworthy.materials.table import Datum

__all__ = ["TorqueCard", "TorqueRow", "torque_card"]

_TRUST: Final = ("read", "computed", "derived", "recalled", "assumption")
_PLASTIC: Final = ("pc", "pa", "pla", "tpu", "fr4", "carbon_plate")
_SOFTEST_HARD: Final = 1e9
"""Below this modulus a clamped layer holds no preload, Pa: rubber and urethane."""


@dataclass(frozen=True, slots=True)
class TorqueRow:
    """One joint group of the card.

    Attributes:
        group, thread, grade, count: as in the sheet.
        length, grip, engaged: of screw, clamped layers and holding thread, m.
        base, under_head: materials that hold the thread and bear the head; "" when not known.
        torque: (low, high) N m, or None when no torque can be given.
        preload: (low, high) N at that torque and middling friction.
        by_hand: (low, high) preload when tightened by feel to the middle of it, N.
        limit: what decides, in words; why there is no torque when ``torque`` is None.
        limits: every limit on the preload by its words, N.
        phi: load factor.
        margin_lost: share of the vibration margin lost when the preload is gone.
        life_ratio: life under vibration without preload over life with it.
        embedding: share of the preload lost as the surfaces settle, at the low end.
        turn: back-turn that takes away all preload, rad, at the low end.
        slip_force: side force of one screw at which the joint slips, N, at the low end.
        slip_travel: sideways movement that bends the screw before its head slips, m.
        locker: thread locker advice.
        notes: what was assumed and what is wrong.
        access: weakest origin among the data used.
    """

    group: str
    thread: str
    grade: str
    count: int
    length: float
    grip: float
    engaged: float
    base: str
    under_head: str
    torque: tuple[float, float] | None
    preload: tuple[float, float]
    by_hand: tuple[float, float]
    limit: str
    limits: dict[str, float]
    phi: float
    margin_lost: float
    life_ratio: float
    embedding: float
    turn: float
    slip_force: float
    slip_travel: float
    locker: str
    notes: tuple[str, ...]
    access: str

    @property
    def title(self) -> str:
        """The group in words."""
        name = self.group.replace("_", " ")
        return f"{name[:1].upper()}{name[1:]} screws"

    def summary(self) -> str:
        """One sentence with numbers."""
        size = f"{self.title} {self.thread} x {self.length / MM:g}"
        if self.torque is None:
            return f"{size}: {self.limit}."
        low, high = self.torque
        return (
            f"{size}: {low:.2f}-{high:.2f} N m, {self.limit} decides; the joint loses half its clamp in "
            f"{self.turn / DEG / 2.0:.0f} degrees."
        )

    def to_json(self) -> dict[str, object]:
        """Plain dict, SI."""
        plain: dict[str, object] = {name: getattr(self, name) for name in self.__slots__}
        plain.update(torque=list(self.torque) if self.torque else None, preload=list(self.preload))
        plain.update(by_hand=list(self.by_hand), notes=list(self.notes), limits=dict(self.limits))
        plain.update(title=self.title, summary=self.summary())
        return plain


@dataclass(frozen=True, slots=True)
class TorqueCard:
    """Every joint group of a build.

    Attributes:
        quad: its name.
        rows: in the order of the sheet.
        origin: every number of the tables that was used, once.
    """

    quad: str
    rows: tuple[TorqueRow, ...]
    origin: tuple[Datum, ...]

    def summary(self) -> str:
        """One sentence: the first group that has a torque, and how many have one."""
        rated = [r for r in self.rows if r.torque is not None]
        if not rated:
            return f"{self.quad}: no joint group of this sheet can be given a torque."
        return f"{rated[0].summary()[:-1]}; {len(rated)} of {len(self.rows)} groups have a torque."

    def to_json(self) -> dict[str, object]:
        """Plain dict, SI."""
        return {
            "quad": self.quad,
            "summary": self.summary(),
            "rows": [r.to_json() for r in self.rows],
            "assumptions": [
                {"name": f"{d.material}.{d.name}", "value": d.value, "unit": d.unit, "source": d.source}
                for d in self.origin
                if d.access in ("assumption", "recalled")
            ],
        }


def _locker(stack: Stack, group: Group) -> str:
    if group.nut == "nyloc":
        return "none: the nut's collar locks; use a nut once or twice, then a new one"
    if stack.base in _PLASTIC:
        return "none: it cracks plastics; check more often"
    if group.threadlock:
        return "on; torque as given while it is wet; clean and put on anew each time"
    return "put on a removable one, a drop on the first threads; torque as given while it is wet"


def _limits(stack: Stack, group: Group) -> tuple[dict[str, float], list[Datum]]:
    screw = strength_class(group.grade)
    head, high = datum("joint", "head_factor"), datum("joint", "share_high")
    strip = datum("joint", "strip_share")
    metal = datum(stack.base, "tensile")
    face = datum(stack.layers[0].material, "bearing_pressure")
    area = math.pi / 4.0 * (stack.size.head**2 - stack.size.hole**2)
    holding = stack.engaged - stack.size.pitch  # the first turn carries nothing it can be trusted with
    where = "stripping of the nut" if group.nut != "none" else f"stripping in {_word(stack.base)}"
    limits = {
        "the screw's proof load": high.value * head.value * screw.proof_load(stack.size),
        where: strip.value * stack.size.strip_force(holding, metal.value),
        f"pressure of the head on {_word(face.material)}": face.value * area,
    }
    return limits, [*screw.origin, head, high, strip, metal, face]


def _word(material: str) -> str:
    names = {
        "al6061": "6061 aluminium",
        "al7075": "7075 aluminium",
        "carbon_plate": "carbon",
        "pa": "polyamide",
        "pc": "polycarbonate",
        "pla": "printed polylactide",
        "tpu": "printed urethane",
        "ti64": "titanium",
    }
    return names.get(material, material.replace("_", " "))


def _refusal(stack: Stack) -> str:
    if stack.soft:
        return "clamped through soft grommets, so no torque: tighten until the nut just bears, no further"
    if not stack.layers:
        return "the sheet does not tell what they clamp, so no torque can be given"
    if any(x.modulus < _SOFTEST_HARD for x in stack.layers):
        return "clamped through something soft that holds no preload: put a metal sleeve in"
    if stack.engaged <= stack.size.pitch:
        short = (2.0 * stack.size.pitch + stack.size.diameter - stack.engaged) / MM
        return (
            f"too short: {stack.engaged / MM:.1f} mm of thread hold; use screws {short:.0f} mm longer or more"
        )
    return ""


def _row(quad: Quad, group: Group, depth: float | None) -> tuple[TorqueRow, list[Datum]]:
    stack = layers_of(quad, group, depth)
    used = list(stack.origin)
    notes = list(stack.notes)
    clear = datum("joint", "tip_clearance")
    refusal = _refusal(stack)
    if stack.spare is not None and stack.spare < clear.value and not refusal:
        used.append(clear)
        if stack.spare < 0.0:
            refusal = (
                f"{-stack.spare / MM:.1f} mm too long for the tapped depth and may press on the winding: use "
                f"shorter screws"
            )
        else:
            notes.append(
                f"the tip stays {stack.spare / MM:.1f} mm from the thread's end; leave {clear.value / MM:g}"
            )
    under = stack.layers[0].material if stack.layers else ""
    common = (group.name, group.thread, group.grade, group.count, group.screw_length, stack.grip)
    common_tail = (stack.engaged, stack.base, under)
    if refusal:
        access = max((d.access for d in used), key=_TRUST.index, default="derived")
        nothing = (0.0, 0.0)
        empty = TorqueRow(
            *common, *common_tail, None, nothing, nothing, refusal, {}, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
            _locker(stack, group), tuple(notes), access,
        )  # fmt: skip
        return empty, used
    limits, more = _limits(stack, group)
    names = ("friction", "friction_plate", "share_low", "share_high", "introduction", "embedding",
             "hand_scatter", "sn_slope")  # fmt: skip
    j = {name: datum("joint", name) for name in names}
    used += [*more, *j.values()]
    limit = min(limits, key=limits.__getitem__)
    high = limits[limit]
    low = high * j["share_low"].value / j["share_high"].value
    screw = strength_class(group.grade)
    base = through_modulus(stack.base)
    used.append(base)
    joint = Joint(stack.size, stack.layers, screw.modulus, base.value, j["introduction"].value)
    middle = torque_for(stack.size, (low + high) / 2.0, j["friction"].value)
    spread = math.sqrt(j["hand_scatter"].value)
    at = preload_from(stack.size, middle, j["friction"].value)
    settled = min(joint.embedding_loss(j["embedding"].value) / low, 1.0)
    if settled > 0.1:
        notes.append(f"settling takes {100 * settled:.0f} % of the preload: tighten again after 1-2 packs")
    row = TorqueRow(
        *common,
        *common_tail,
        torque=(
            torque_for(stack.size, low, j["friction"].value),
            torque_for(stack.size, high, j["friction"].value),
        ),
        preload=(low, high),
        by_hand=(at / spread, at * spread),
        limit=limit,
        limits=limits,
        phi=joint.phi,
        margin_lost=joint.margin_lost,
        life_ratio=joint.life_ratio(j["sn_slope"].value),
        embedding=settled,
        turn=joint.turn_to_zero(low),
        slip_force=j["friction_plate"].value * low * (1.0 - settled),
        slip_travel=critical_slip(stack.size, low, stack.grip, screw.modulus, j["friction_plate"].value),
        locker=_locker(stack, group),
        notes=tuple(notes),
        access=max((d.access for d in used), key=_TRUST.index),
    )
    return row, used


def torque_card(quad: Quad, depths: Mapping[str, float] | None = None) -> TorqueCard:
    """Work out the torque card of a build.

    Args:
        quad: the build.
        depths: depth of thread by joint group, m, where you measured it.

    Raises:
        NotFoundError: a material or strength class is not tabled, or a depth names no joint group.
    """
    for name in depths or {}:
        quad.joint(name)
    rows, used = [], {}
    for group in quad.joints:
        if group.count:
            row, origin = _row(quad, group, (depths or {}).get(group.name))
            rows.append(row)
            used.update({(d.material, d.name): d for d in origin})
    return TorqueCard(quad.name, tuple(rows), tuple(used.values()))
