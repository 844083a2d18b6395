"""What a softer or stiffer mount costs: how far its load travels and how hard it is shaken.

The springs of mounts have no stop in the crash model (unless the sheet gives ``room``), so a softer one
always shakes its load less. What it needs is way. A softer mount whose load travels further, in one crash of
ten, than such mounts give (tables ``soft_mount.travel`` and ``stack_mount.travel``) is therefore no
candidate: it would strike what it is mounted on, and the model does not see that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.limbs import limbs_of
from crashworthy.materials.table import datum
from crashworthy.quantities import G_N, MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.cases import Case
    from crashworthy.materials.table import Datum

    Floats = NDArray[np.float64]

__all__ = ["STACK", "Ride", "ride"]

STACK: Final = "*stack"
"""Stands for the boards on their mount, which are no limb."""

_SEEN: Final = (0.9, 0.99)
"""One crash of ten, and one of a hundred."""


@dataclass(frozen=True, slots=True)
class Ride:
    """A mount before and after a change; pairs are (in one crash of ten, in one of a hundred).

    Attributes:
        label: what rides on it.
        travel, before: way of its load from where it sits, m.
        shock, shock_before: acceleration of its load, g.
        gives: way that such mounts give, m.
        source: of ``gives``.
    """

    label: str
    travel: tuple[float, float]
    before: tuple[float, float]
    shock: tuple[float, float]
    shock_before: tuple[float, float]
    gives: float
    source: str

    @property
    def too_far(self) -> str:
        """Why it is no candidate, in words; "" where its way is had, or is no longer than before."""
        if self.travel[0] <= max(self.gives, self.before[0]):
            return ""
        return (
            f"in one crash of ten the {self.label} would travel {_mm(self.travel[0])} mm "
            f"({_mm(self.before[0])} as it is); such mounts give {_mm(self.gives)} mm (assumption), then it "
            "strikes what it sits on, which the model does not see"
        )

    def sentence(self) -> str:
        """In words, with numbers."""
        (far, farther), (was, was_farther) = self.travel, self.before
        (hard, harder), (had, had_harder) = self.shock, self.shock_before
        return (
            f"in one crash of ten the {self.label} travels {_mm(far)} mm, not {_mm(was)}, and feels "
            f"{hard:.0f} g, not {had:.0f}; in one of a hundred {_mm(farther)} mm, not {_mm(was_farther)}, "
            f"and {harder:.0f} g, not {had_harder:.0f}"
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data, m and g."""
        return {
            "label": self.label, "travel": list(self.travel), "travel_before": list(self.before),
            "shock_g": list(self.shock), "shock_before_g": list(self.shock_before), "gives": self.gives,
            "source": self.source, "sentence": self.sentence(),
        }  # fmt: skip


def _mm(x: float) -> str:
    return f"{x / MM:.2g}"


def ride(part: str, start: Case, batch: CrashBatch, case: Case, changed: CrashBatch) -> Ride:
    """What rides on a mount feels, as it is and with a change; the same crashes of both.

    Args:
        part: name of what sits on a soft mount, or ``STACK``.
        start: the build as it is.
        batch: its crashes, none weighted; those that left the real numbers are left out.
        case: the build with the change.
        changed: its crashes.
    """
    good = ((batch.flags | changed.flags) & FLAG_INVALID) == 0
    was, had = (x[good] for x in _felt(part, start, batch))
    far, hard = (x[good] for x in _felt(part, case, changed))
    limit: Datum = datum("stack_mount" if part == STACK else "soft_mount", "travel")
    label = "stack" if part == STACK else start.quad.part(part).label
    return Ride(label, _ends(far), _ends(was), _ends(hard), _ends(had), limit.value, limit.source)


def _ends(x: Floats) -> tuple[float, float]:
    low, high = np.quantile(x, _SEEN)
    return float(low), float(high)


def _felt(part: str, case: Case, batch: CrashBatch) -> tuple[Floats, Floats]:
    """(n,) travel, m, and acceleration by the mount's spring, g, of each crash."""
    if part == STACK:
        way = batch.pseudo_velocity.astype(np.float64) / case.model.craft.stack_rate
        return way, batch.shock.astype(np.float64) / G_N
    index = case.quad.index(part)
    limb = next(m for m in limbs_of(case.quad) if m.parts[0] == index)
    way = batch.limb_load[batch.limb_parts.index(index), 1].astype(np.float64)
    force = limb.stiffness[0] * way * (1.0 + limb.tautness * way**2)
    return way, force / (limb.mass * G_N)
