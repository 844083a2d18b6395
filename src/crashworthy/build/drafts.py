"""A part on its way into the quad: shape, material and mass as given, before its inertia is known."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build import mass as mass_of
from crashworthy.build.quad import CORE, MassProperties, Part
from crashworthy.build.solids import Mesh
from crashworthy.errors import Problem, SheetError
from crashworthy.materials import table

if TYPE_CHECKING:
    from typing import Any

__all__ = ["Draft", "fixed", "fixed_ints", "in_words"]


ABBREVIATIONS: Final = ("esc", "fc", "gps", "hd", "led", "rx", "tx", "vtx")
"""Words of a key that pilots write in capitals."""

SIDES: Final = {"l": "left", "r": "right"}
"""What the last letter of a key stands for."""


def in_words(name: str) -> str:
    """A key as words: "flight_controller" -> "flight controller", "control_l" -> "left control"."""
    words = [w.upper() if w in ABBREVIATIONS else w for w in name.replace("_", " ").split()]
    if len(words) > 1 and words[-1] in SIDES:
        words = [SIDES[words[-1]], *words[:-1]]
    return " ".join(words)


def fixed(values: Any) -> Any:
    """A float64 array that nobody can write to."""
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array


def fixed_ints(values: Any) -> Any:
    """An int32 array that nobody can write to."""
    array = np.array(values, dtype=np.int32)
    array.flags.writeable = False
    return array


@dataclass(slots=True)
class Draft:
    """One part before assembly.

    Attributes:
        name, label, kind, material, arm, joint, measures: as in ``Part``.
        field: where the sheet speaks of it ("plates.bottom"), for messages.
        mesh: its shape, or None for a shapeless mass at ``place``.
        mass: kg, or None for volume times density.
        place: (3,) m, the centre of a shapeless mass.
        weld: parts of equal non-empty ``weld`` are one thing and may overlap.
    """

    name: str
    label: str
    kind: str
    material: str
    field: str
    mesh: Mesh | None
    mass: float | None = None
    arm: int = CORE
    joint: str = ""
    measures: dict[str, float] = dataclasses.field(default_factory=dict)
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)
    weld: str = ""

    def finish(self) -> Part:
        """Integrate the mesh and freeze the part.

        Raises:
            SheetError: the shape encloses no volume.
        """
        if self.mesh is None:
            body = MassProperties(self.mass or 0.0, np.array(self.place), np.zeros((3, 3)))
            mesh = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))
        else:
            mesh = self.mesh
            try:
                solid = mass_of.solid(mesh.vertices, mesh.faces)
            except ValueError:
                raise SheetError(
                    Problem("its shape encloses no volume", "check its sizes", field=self.field)
                ) from None
            mass = self.mass
            if mass is None:
                mass = abs(solid.volume) * table.value(self.material, "density")
            body = solid.of_mass(mass)
        return Part(
            name=self.name,
            label=self.label,
            kind=self.kind,
            material=self.material,
            mass=body.mass,
            centre=fixed(body.cog),
            inertia=fixed(body.inertia),
            vertices=fixed(mesh.vertices),
            faces=fixed_ints(mesh.faces),
            arm=self.arm,
            joint=self.joint,
            measures=dict(self.measures),
        )
