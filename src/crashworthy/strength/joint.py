"""A screwed joint as two springs: preload from torque, load factor, what embedding and back-turn cost.

The load factor is computed from stiffness, never taken from a book: through carbon the clamped parts are
softer than the screw, through aluminium much stiffer. What a joint loses when its preload is gone is its
margin against alternating load (vibration), as a share 1 - phi; its pull strength does not change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crashworthy.errors import CrashworthyError, Problem

if TYPE_CHECKING:
    from crashworthy.strength.thread import Thread

__all__ = [
    "CONE",
    "Joint",
    "Layer",
    "cone_stiffness",
    "critical_slip",
    "endurance_stress",
    "preload_at_yield",
    "screw_stiffness",
    "torque_for",
]

CONE: Final = math.tan(math.radians(30.0))
"""Half angle 30 degrees of the pressure cone (Shigley, eq. 8-20, from memory)."""

SHARE_HEAD, SHARE_THREAD, SHARE_BASE = 0.5, 0.5, 0.33
"""Lengths in diameters of head, engaged thread and tapped base (VDI 2230, from memory)."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One clamped layer.

    Attributes:
        thickness: m.
        modulus: through its thickness, Pa.
        material: key into the materials tables, or "".
    """

    thickness: float
    modulus: float
    material: str = ""


def _torque_arm(thread: Thread, thread_friction: float, head_friction: float) -> float:
    """Torque per preload, m (Motosh; VDI 2230): 0.159 P + 0.577 mu_G d2 + mu_K (dW + dh)/4."""
    face = (thread.head + thread.hole) / 2.0
    shank = thread.pitch / (2.0 * math.pi) + thread_friction * thread.pitch_diameter / math.sqrt(3.0)
    return shank + head_friction * face / 2.0


def torque_for(
    thread: Thread, preload: float, friction: float = 0.12, head_friction: float | None = None
) -> float:
    """Tightening torque for a preload, N m.

    T = F (P/(2 pi) + mu_G d2/sqrt 3 + mu_K Dkm/2), Dkm the mean of head face and hole
    (Motosh 1976; VDI 2230).

    Args:
        thread: of the screw.
        preload: F, N.
        friction: in the thread, and under the head too unless given.
        head_friction: under the head.
    """
    return preload * _torque_arm(thread, friction, friction if head_friction is None else head_friction)


def preload_from(thread: Thread, torque: float, friction: float = 0.12) -> float:
    """Preload that a torque gives, N; the inverse of ``torque_for``."""
    return torque / _torque_arm(thread, friction, friction)


def preload_at_yield(thread: Thread, yield_: float, friction: float = 0.12, share: float = 0.9) -> float:
    """Preload at which pull and twist together use ``share`` of yield, N (VDI 2230, von Mises)."""
    d0 = thread.stress_diameter
    d2 = thread.pitch_diameter
    twist = 1.5 * d2 / d0 * (thread.pitch / (math.pi * d2) + 1.155 * friction)
    return share * yield_ * thread.stress_area / math.sqrt(1.0 + 3.0 * twist**2)


def screw_stiffness(thread: Thread, grip: float, modulus: float, base_modulus: float) -> float:
    """Stiffness of a screw threaded to its head, N/m (resiliences of VDI 2230, from memory).

    1/k = [0.5 d/A + (l + 0.5 d)/A3]/E + 0.33 d/(A E_base).

    Args:
        thread: of the screw.
        grip: clamped length l, m.
        modulus: of the screw, Pa.
        base_modulus: of what it is screwed into, Pa.
    """
    d = thread.diameter
    steel = SHARE_HEAD * d / thread.nominal_area + (grip + SHARE_THREAD * d) / thread.core_area
    return 1.0 / (steel / modulus + SHARE_BASE * d / (thread.nominal_area * base_modulus))


def cone_stiffness(head: float, hole: float, layers: Sequence[Layer]) -> float:
    """Stiffness of the clamped layers under one pressure cone from the head, N/m.

    Each layer is a frustum: k = pi E d tan 30° / ln[(2 t tan + D - d)(D + d)/((2 t tan + D + d)(D - d))]
    (Shigley eq. 8-20), D where the cone enters it; layers in series.

    Raises:
        CrashworthyError: no layer, or a layer without thickness or stiffness.
    """
    if not layers or any(not (x.thickness > 0.0 and x.modulus > 0.0) for x in layers):
        raise CrashworthyError(
            Problem("a joint clamps nothing", "give its layers a thickness", field="screws")
        )
    give, wide = 0.0, head
    for layer in layers:
        spread = 2.0 * layer.thickness * CONE
        ratio = (spread + wide - hole) * (wide + hole) / ((spread + wide + hole) * (wide - hole))
        give += math.log(ratio) / (math.pi * layer.modulus * hole * CONE)
        wide += spread
    return 1.0 / give


def critical_slip(thread: Thread, preload: float, grip: float, modulus: float, friction: float) -> float:
    """Sideways movement that bends the screw before its head slips, m: mu F l³/(12 E I), both ends held."""
    second = math.pi * thread.core_diameter**4 / 64.0
    return friction * preload * grip**3 / (12.0 * modulus * second)


def endurance_stress(thread: Thread) -> float:
    """Endurable stress amplitude of a screw rolled before heat treatment, Pa: 0.85 (150/d + 45), d in mm.

    VDI 2230 eq. 5.5/20, from memory; its range begins above M3, so small screws are extrapolated.
    """
    return 0.85 * (150.0 / (thread.diameter * 1e3) + 45.0) * 1e6


@dataclass(frozen=True, slots=True)
class Joint:
    """One screw and what it clamps.

    Attributes:
        thread: of the screw.
        layers: clamped, from the head on.
        modulus: of the screw, Pa.
        base_modulus: of what it is screwed into, Pa.
        introduction: share n of the clamped length between the points where the load enters.
    """

    thread: Thread
    layers: tuple[Layer, ...]
    modulus: float
    base_modulus: float
    introduction: float = 0.5

    @property
    def grip(self) -> float:
        """Clamped length, m."""
        return sum(x.thickness for x in self.layers)

    @property
    def screw_stiffness(self) -> float:
        """Of the screw, N/m."""
        return screw_stiffness(self.thread, self.grip, self.modulus, self.base_modulus)

    @property
    def plate_stiffness(self) -> float:
        """Of what it clamps, N/m."""
        return cone_stiffness(self.thread.head, self.thread.hole, self.layers)

    @property
    def phi_k(self) -> float:
        """ks/(ks + kp): load factor for a load that enters right under the head."""
        return self.screw_stiffness / (self.screw_stiffness + self.plate_stiffness)

    @property
    def phi(self) -> float:
        """Share of an alternating load that the screw feels while the joint is shut: n phi_k."""
        return self.introduction * self.phi_k

    @property
    def margin_lost(self) -> float:
        """Share of the vibration margin lost when the preload is gone, 1 - phi; pull strength stays.

        Shut, the screw feels phi Fa; open, all of it: what Fa it can bear for ever falls to phi of itself.
        """
        return 1.0 - self.phi

    @property
    def give(self) -> float:
        """Shortening that takes away one newton of preload, m/N."""
        return 1.0 / self.screw_stiffness + 1.0 / self.plate_stiffness

    def life_ratio(self, slope: float) -> float:
        """Life without preload over life with it, for an S-N slope k: phi^k."""
        return math.pow(self.phi, slope)

    def embedding_loss(self, embedding: float) -> float:
        """Preload lost when the surfaces settle by ``embedding`` m, N."""
        return embedding / self.give

    def turn_to_zero(self, preload: float) -> float:
        """Back-turn of the screw that takes away all its preload, rad."""
        return 2.0 * math.pi * preload * self.give / self.thread.pitch
