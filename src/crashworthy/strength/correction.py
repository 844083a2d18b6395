"""What was learned of strengths, kind by kind, and the failure modes corrected by it.

A correction is a factor on the median strength of every mode of a kind of part: load over strength is what
journals teach, so one factor for all modes of a kind is as much as they can say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from crashworthy.build.quad import Quad
    from crashworthy.strength.capacity import Capacity

__all__ = ["Correction", "Corrections", "corrected", "corrected_capacities"]


@dataclass(frozen=True, slots=True)
class Correction:
    """What crashes said of one kind.

    Attributes:
        factor: median strength over the tabled one.
        spread: standard deviation of its logarithm, in place of ``Capacity.spread``.
        crashes: that it rests on.
    """

    factor: float
    spread: float
    crashes: int


Corrections = Mapping[str, Correction]
"""By kind of part."""


def corrected(
    modes: Iterable[Capacity], kinds: Sequence[str], corrections: Corrections
) -> tuple[Capacity, ...]:
    """Failure modes with the learned medians in place of the tabled ones.

    Args:
        modes: as tabled.
        kinds: kind of each part, by its index.
        corrections: what was learned; kinds that are not named stay as they are.
    """
    found = []
    for mode in modes:
        known = corrections.get(kinds[mode.part])
        if known is None:
            found.append(mode)
            continue
        found.append(
            replace(
                mode,
                median=mode.median * known.factor,
                spread=known.spread,
                source=f"{mode.source}; times {known.factor:.3g} learned from {known.crashes} crashes",
            )
        )
    return tuple(found)


def corrected_capacities(quad: Quad, corrections: Corrections | None = None) -> tuple[Capacity, ...]:
    """``capacity.capacities`` of a build, corrected where something was learned.

    Raises:
        CrashworthyError: an arm's material has no tabled strength.
    """
    from crashworthy.strength.capacity import capacities

    modes = capacities(quad)
    return modes if not corrections else corrected(modes, [p.kind for p in quad.parts], corrections)
