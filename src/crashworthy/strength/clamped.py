"""What a joint group of a build clamps and what it is screwed into, read from the geometry.

From the head of one screw, layer touches layer: lying plates and arms whose faces follow each other within
0.3 mm. Upright plates give their thickness. What the build does not tell is a labelled assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crashworthy.materials.table import Datum, datum, rows
from crashworthy.strength.joint import Layer
from crashworthy.strength.thread import Thread, thread

if TYPE_CHECKING:
    from crashworthy.build.quad import Joint as Group
    from crashworthy.build.quad import Part, Quad

__all__ = ["Stack", "layers_of", "through_modulus"]

_TOUCH: Final = 3e-4
_STEEL_NUT: Final = ("nyloc", "press", "threaded")
_INTO: Final = ("motor", "standoff", "camera", "board", "box", "model")


@dataclass(frozen=True, slots=True)
class Stack:
    """What one screw of a group goes through and into.

    Attributes:
        size: its thread.
        layers: clamped, from the head on; empty when the build does not tell.
        base: material that holds the thread.
        engaged: length of thread that holds, m.
        soft: whether soft grommets stand in the way, so that nothing is clamped hard.
        spare: room from the screw's tip to the end of the tapped hole, m, or None where it goes through.
        notes: what was assumed or is wrong, in words.
        origin: the data used.
    """

    size: Thread
    layers: tuple[Layer, ...]
    base: str
    engaged: float
    soft: bool
    spare: float | None
    notes: tuple[str, ...]
    origin: tuple[Datum, ...]

    @property
    def grip(self) -> float:
        """Clamped length, m."""
        return sum(x.thickness for x in self.layers)


def through_modulus(material: str) -> Datum:
    """Modulus of a material through its thickness: its own row for laminates, else that of bending."""
    name = "through_modulus" if (material, "through_modulus") in rows() else "flexural_modulus"
    return datum(material, name)


def _lying(quad: Quad, group: Group) -> list[Part]:
    """Plates and arms of the group with faces that a vertical screw can pass, each arm shape once."""
    found: list[Part] = []
    for name in group.joins:
        part = quad.part(name)
        if part.kind in ("plate", "arm") and len(part.vertices):
            z = part.vertices[:, 2]
            if float(z.max() - z.min()) <= 1.5 * part.measures.get("thickness", 0.0):
                found.append(part)
    return found


def _walk(parts: list[Part], start: float, up: bool) -> list[Part]:
    """Parts met from ``start`` on, each where the last one ended."""
    chain: list[Part] = []
    at = start
    while True:
        for part in parts:
            low, high = float(part.vertices[:, 2].min()), float(part.vertices[:, 2].max())
            if abs((low if up else high) - at) < _TOUCH:
                chain.append(part)
                at = high if up else low
                break
        else:
            return chain


def layers_of(quad: Quad, group: Group, tapped_depth: float | None = None) -> Stack:
    """Read what one screw of a group clamps; the thinnest of its places when they differ.

    Args:
        quad: the build.
        group: one of its joint groups.
        tapped_depth: depth of thread, m; assumed for motors and unlimited elsewhere when None.

    Raises:
        CrashworthyError: the thread or a material is not tabled.
    """
    size = thread(group.thread)
    lying = _lying(quad, group)
    chains = []
    for spot in group.positions:
        tries = [_walk(lying, float(spot[2]), up) for up in (True, False)]
        chains.append(max(tries, key=len))
    longest = [c for c in chains if c]
    notes: list[str] = []
    origin: list[Datum] = []
    if longest:
        # Arms stand for each other; a shorter grip engages more thread but holds less stretch.
        chain = min(longest, key=lambda c: (len(c), sum(p.measures["thickness"] for p in c)))
    else:
        chain = [quad.part(n) for n in group.joins if quad.part(n).kind == "plate"][:1]
    layers = []
    for part in chain:
        stiff = through_modulus(part.material)
        origin.append(stiff)
        layers.append(Layer(part.measures["thickness"], stiff.value, part.material))
    if not layers:
        notes.append("the sheet does not tell what these screws clamp")
    soft = any(quad.part(n).measures.get("soft_mount", 0.0) > 0.0 for n in group.joins)
    grip = sum(x.thickness for x in layers)
    into = next((quad.part(n) for n in group.joins if quad.part(n).kind in _INTO), None)
    spare: float | None = None
    if group.nut in _STEEL_NUT:
        height = datum("joint", "nut_height")
        tall = height.value * size.diameter
        origin.append(height)
        base, engaged = "steel", tall if soft else min(max(group.screw_length - grip, 0.0), tall)
        notes.append("nut height and its steel are assumptions")
    else:
        base = into.material if into is not None else "al6061"
        if into is None:
            notes.append("the sheet does not tell what they are screwed into; aluminium assumed")
        engaged = max(group.screw_length - grip, 0.0)
        depth = tapped_depth
        if depth is None and into is not None and into.kind == "motor":
            row = datum("motor_base", "tapped_depth")
            origin.append(row)
            depth = row.value
            notes.append(f"depth of thread in the motor base assumed {depth * 1e3:g} mm: measure yours")
        if depth is not None:
            spare = depth - engaged
            engaged = min(engaged, depth)
    return Stack(size, tuple(layers), base, engaged, soft, spare, tuple(notes), tuple(origin))
