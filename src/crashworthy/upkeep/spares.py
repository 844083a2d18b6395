"""Which parts of a quad share a spare: one bag of arms serves every arm of that shape."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crashworthy.quantities import GRAM

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from crashworthy.build.quad import Part

__all__ = ["Spare", "spare_items"]

# Made alike by the sheet, so a tenth of a gram tells two shapes apart.
_ALIKE: Final = ("arm", "motor", "prop", "standoff")
_TOLERANCE: Final = 0.1 * GRAM
# Packs are carried as packs, screws come by thread, and what has no shape has no spare.
_NONE: Final = ("battery", "screw", "loose")


@dataclass(frozen=True, slots=True)
class Spare:
    """One item that can be carried.

    Attributes:
        item: its name: the kind when all parts of that kind are alike ("prop"), else its first part's.
        label: in words.
        kind: kind of its parts.
        parts: names of the parts it can replace.
        mass: of one, kg.
    """

    item: str
    label: str
    kind: str
    parts: tuple[str, ...]
    mass: float


def _same(a: Part, b: Part) -> bool:
    if a.kind != b.kind or a.material != b.material:
        return False
    if a.kind in _ALIKE:
        return abs(a.mass - b.mass) <= _TOLERANCE
    # Elsewhere only a twin or a mirror image: same mass to rounding and as many corners.
    return abs(a.mass - b.mass) <= 1e-9 * a.mass and len(a.vertices) == len(b.vertices) > 0


def spare_items(parts: Sequence[Part]) -> tuple[Spare, ...]:
    """Group the parts of a quad by the spare that replaces them, in the order of the parts."""
    groups: list[list[Part]] = []
    for part in parts:
        if part.kind in _NONE or part.mass <= 0:
            continue
        home = next((g for g in groups if _same(g[0], part)), None)
        if home is None:
            groups.append([part])
        else:
            home.append(part)
    kinds = [g[0].kind for g in groups]
    taken = {p.name for p in parts}
    return tuple(_spare(g, alone=kinds.count(g[0].kind) == 1, taken=taken) for g in groups)


def _spare(group: Sequence[Part], *, alone: bool, taken: Collection[str]) -> Spare:
    first = group[0]
    kind_named = len(group) > 1 and alone and first.kind not in taken
    label = first.label if len(group) == 1 else f"{first.label} (fits {len(group)} places)"
    return Spare(
        item=first.kind if kind_named else first.name,
        label=first.kind if kind_named else label,
        kind=first.kind,
        parts=tuple(p.name for p in group),
        mass=sum(p.mass for p in group) / len(group),
    )
