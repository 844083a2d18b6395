"""Breaks of each part in each crash, at several opinions of how strong parts are.

The medians of the strengths are not known well: ln S50 has the standard deviation ``Capacity.spread``, common
to all parts of a kind. Seven equally likely opinions z = Phi^-1((i + 1/2)/7) stand for that; chances are kept
for each, so that a difference between two builds is taken under one opinion at a time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.damage import part_chances

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch
    from crashworthy.strength.capacity import Capacity

    Floats = NDArray[np.float64]

__all__ = ["OPINIONS", "Belief", "Tally", "belief", "tally"]

OPINIONS: Final = (-1.4652337926855228, -0.7916386077433747, -0.36610635680056954, 0.0,
                   0.36610635680056954, 0.7916386077433747, 1.4652337926855228)  # fmt: skip
"""Standard normal quantiles at 1/14, 3/14 ... 13/14: below zero parts are weaker than believed."""


@dataclass(frozen=True, slots=True, eq=False)
class Tally:
    """Chances to break, crash by crash.

    Attributes:
        batch: the crashes.
        parts: (opinions, n) by part name; only parts that can break.
        kinds: (opinions, n) expected breaks by kind.
        counts: parts of each kind that can break.
        valid: (n,) crashes that stayed within the real numbers.
    """

    batch: CrashBatch
    parts: dict[str, Floats]
    kinds: dict[str, Floats]
    counts: dict[str, int]
    valid: NDArray[np.bool_]


def tally(batch: CrashBatch, capacities: Sequence[Capacity] | None = None) -> Tally:
    """Turn loads into chances.

    Args:
        batch: the crashes.
        capacities: what the parts bear; the batch's own by default.
    """
    modes = batch.capacities if capacities is None else capacities
    opinions = [part_chances(batch, modes, z) for z in OPINIONS]
    parts: dict[str, Floats] = {}
    kinds: dict[str, Floats] = {}
    counts: dict[str, int] = {}
    for index in opinions[0]:
        name, _, kind = batch.parts[index]
        parts[name] = np.stack([chances[index] for chances in opinions])
        kinds[kind] = kinds[kind] + parts[name] if kind in kinds else parts[name]
        counts[kind] = counts.get(kind, 0) + 1
    return Tally(batch, parts, kinds, counts, (batch.flags & FLAG_INVALID) == 0)


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of a mean: a mixture of normals, one for each opinion.

    Attributes:
        means: of each opinion.
        errors: sampling standard error of each opinion, for ``n`` crashes.
        fixed: further standard deviation that more crashes do not shrink.
        n: crashes.
    """

    means: tuple[float, ...]
    errors: tuple[float, ...]
    fixed: float
    n: int

    @property
    def mean(self) -> float:
        """Mean over the opinions."""
        return float(np.mean(self.means))

    def below(self, x: float, n: int | None = None) -> float:
        """Chance that the true mean lies below ``x``, if ``n`` crashes said the same."""
        from scipy.special import ndtr

        shrink = 1.0 if n is None else self.n / n
        chances = []
        for mean, error in zip(self.means, self.errors, strict=True):
            sd = float(np.sqrt(error**2 * shrink + self.fixed**2))
            chances.append(float(ndtr((x - mean) / sd)) if sd > 0.0 else 0.5 * ((mean < x) + (mean <= x)))
        return float(np.mean(chances))

    def quantile(self, share: float) -> float:
        """Value below which the true mean lies with the chance ``share``."""
        sd = np.hypot(self.errors, self.fixed)
        low = float(np.min(np.asarray(self.means) - 8.0 * sd))
        high = float(np.max(np.asarray(self.means) + 8.0 * sd))
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.below(middle) < share else (low, middle)
        return 0.5 * (low + high)

    def more(self, sure: float, limit: int) -> int | None:
        """Further crashes after which the sign would be known with the chance ``sure``.

        Returns:
            0 when it is known now, None when not even ``limit`` crashes would settle it.
        """
        good: Callable[[int], bool] = lambda n: max(p := self.below(0.0, n), 1.0 - p) >= sure  # noqa: E731
        if good(self.n):
            return 0
        if not good(limit):
            return None
        low, high = self.n, limit
        while high - low > max(1, low // 50):
            middle = (low + high) // 2
            low, high = (low, middle) if good(middle) else (middle, high)
        return high - self.n


def belief(samples: Floats, fixed: float = 0.0) -> Belief:
    """What (opinions, n) samples say of their mean.

    Args:
        samples: one row for each opinion.
        fixed: see ``Belief``.
    """
    n = samples.shape[1]
    error = samples.std(axis=1, ddof=1) / np.sqrt(n) if n > 1 else np.full(len(samples), np.inf)
    return Belief(
        tuple(float(m) for m in samples.mean(axis=1)), tuple(float(e) for e in error), float(fixed), n
    )
