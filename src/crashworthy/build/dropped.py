"""Files that stand in for parts of a quad under description, and the rows of a sheet that they make."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from crashworthy.build.sheet import slug_of

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

__all__ = ["PART_UNITS", "Drawing", "body_rows"]

_OWN: Final = frozenset(
    [
        "esc",
        "fc",
        "lens",
        "strap",
        "wiring",
        "undescribed",
        *(f"{p}_{c}" for p in ("arm", "motor", "prop") for c in ("fl", "fr", "rl", "rr")),
    ]
)
"""Names of parts that no row is called after."""

PART_UNITS: Final = {"part": 1.0, "part_inch": 25.4, "part_cm": 10.0, "part_m": 1000.0}
"""mm per unit of a body's file, by the role that says so; a STEP file says its unit itself."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A file that stands in for a part of the sketch.

    Attributes:
        role: "bottom" or "top" for the outline of a plate (DXF), or a key of ``PART_UNITS`` for a body
            (STL, 3MF, OBJ, STEP).
        file: its name beside the sheet.
        layer: of a DXF that is to be read; None for all.
        body: of a STEP file; None for all of them as one.
        mass: g, where it cannot be computed; None where it can.
    """

    role: str
    file: str
    layer: str | None = None
    body: str | None = None
    mass: float | None = None

    @property
    def is_part(self) -> bool:
        """Whether it is a body and no outline."""
        return self.role in PART_UNITS

    @property
    def scale(self) -> float:
        """Mm per unit of the file."""
        return PART_UNITS.get(self.role, 1.0)


def body_rows(
    parts: Sequence[Drawing], taken: Collection[str] = ()
) -> tuple[tuple[str, dict[str, Any], str], ...]:
    """(key, values, what is assumed) of each body's row, called like its body or its file where that is free.

    Args:
        parts: the bodies.
        taken: names of other rows of the sheet.
    """
    rows = []
    used = {*taken, *_OWN}
    for number, part in enumerate(parts, 1):
        file = part.file.rpartition("/")[2].rpartition(".")[0]
        said = slug_of(part.body or file).replace("-", "_")[:36]
        key = said if said and not said[0].isdigit() and said not in used else f"part_{number}"
        used.add(key)
        row: dict[str, Any] = {"file": part.file}
        row |= {"body": part.body} if part.body else {}
        row |= {"scale": part.scale} if part.scale != 1.0 else {}
        row |= {"material": "tpu"} | ({} if part.mass is None else {"mass": part.mass})
        rule = "dropped file; place and material assumed"
        rule += "" if part.mass is None else "; not watertight: mass of its convex hull assumed, weigh it"
        rows.append((key, row, rule))
    return tuple(rows)
