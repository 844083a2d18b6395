"""Change over packs: does a quad slowly get worse, against its own flights?

Each new figure is compared with all before it since the last change of parts (self-starting CUSUM: Hawkins,
Technometrics 29, 1987): the studentised difference is turned into a normal score and added up above an
allowance of half a standard deviation; over 6 it is called. A weak prior (four flights' worth of the
scatter that fine flights have) steadies the first packs. An EWMA (Roberts, Technometrics 1, 1959) of the same
scores is told beside it.

False alarms, simulated (6 000 quads, 100 packs, scores from the first pack on): see ``FALSE_PER_100`` and
``EWMA_FALSE_PER_100``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "ALLOWANCE",
    "EWMA_FALSE_PER_100",
    "EWMA_LIMIT",
    "EWMA_WEIGHT",
    "FALSE_PER_100",
    "LIMIT",
    "Trend",
    "cusum",
    "ewma",
    "trend",
]

ALLOWANCE: Final = 0.5
"""What a score may exceed without being added up, standard deviations."""

LIMIT: Final = 6.0
"""Sum at which a rise is called. With 5, one quad in ten is called falsely in 100 packs."""

EWMA_WEIGHT: Final = 0.2
EWMA_LIMIT: Final = 3.3
"""In standard deviations of the average itself. With the usual 2.86 one quad in eight passes it falsely
within 100 packs, because its own scatter is known from few flights."""

PRIOR_PACKS: Final = 4.0

FALSE_PER_100: Final = 0.04
"""Share of steady quads that the sum calls within 100 packs (simulated; checked in the evidence)."""


EWMA_FALSE_PER_100: Final = 0.035
"""The same for the average over its limit."""


@dataclass(frozen=True, slots=True)
class Trend:
    """One figure over packs.

    Attributes:
        name: of what.
        values: natural logarithms, oldest first, since the last reset.
        scores: normal scores; 0 for the first.
        sums: CUSUM.
        average: EWMA over its own standard deviation.
        called: index at which the sum first passed ``LIMIT``, or None.
        began: index after which it had last been zero then, or None: about when the change began.
        since: what began the comparison anew, in words ("prop_fl swapped, 2026-03-12"), or "".
        flights: keys of the flights' kept logs, when known.
    """

    name: str
    values: tuple[float, ...]
    scores: tuple[float, ...]
    sums: tuple[float, ...]
    average: tuple[float, ...]
    called: int | None
    began: int | None
    since: str = ""
    flights: tuple[str, ...] = ()

    @property
    def average_called(self) -> int | None:
        """Index at which the average first passed its limit, or None."""
        over = [k for k, a in enumerate(self.average) if a > EWMA_LIMIT]
        return over[0] if over else None

    def summary(self) -> str:
        """One sentence."""
        n = len(self.values)
        if n < 3:
            flights = f"{n} flight{'' if n == 1 else 's'}"
            return f"{self.name.capitalize()}: {flights} since the last change, too few for a trend."
        if self.called is None:
            return (
                f"{self.name.capitalize()}: steady over {n} flights (sum {self.sums[-1]:.1f} of {LIMIT:g})."
            )
        start = self.began or 0
        before = float(np.median(self.values[: max(start, 1)]))
        rise = math.exp(float(np.median(self.values[start:])) - before)
        return (
            f"{self.name.capitalize()}: risen to {rise:.2f} times since flight {start + 1} of {n}. "
            f"A steady quad is called so {100 * FALSE_PER_100:.0f} times in 100 over 100 packs."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "name": self.name,
            "summary": self.summary(),
            "values": [round(v, 4) for v in self.values],
            "sums": [round(v, 3) for v in self.sums],
            "average": [round(v, 3) for v in self.average],
            "limit": LIMIT,
            "average_limit": EWMA_LIMIT,
            "false_alarms_per_100_packs": {"sum": FALSE_PER_100, "average": EWMA_FALSE_PER_100},
            "called": self.called,
            "average_called": self.average_called,
            "began": self.began,
            "since": self.since,
            "flights": list(self.flights),
        }


def scores(x: Floats, prior_sd: float) -> Floats:
    """Normal scores of each value against those before it, (n,) or (runs, n)."""
    from scipy.stats import norm, t

    x = np.atleast_2d(x)
    n = x.shape[1]
    out = np.zeros_like(x)
    total = np.cumsum(x, axis=1)
    square = np.cumsum(x**2, axis=1)
    for k in range(1, n):
        mean = total[:, k - 1] / k
        rest = np.maximum(square[:, k - 1] - k * mean**2, 0.0)
        free = PRIOR_PACKS + k - 1
        sd = np.sqrt((PRIOR_PACKS * prior_sd**2 + rest) / free)
        out[:, k] = norm.ppf(t.cdf((x[:, k] - mean) / (sd * math.sqrt(1.0 + 1.0 / k)), free))
    return np.clip(out, -6.0, 6.0)


def cusum(z: Floats, allowance: float = ALLOWANCE) -> Floats:
    """One-sided upper sums of scores (runs, n) or (n,)."""
    z = np.asarray(z, dtype=np.float64)
    out = np.zeros_like(z)
    state = np.zeros(z.shape[:-1])
    for k in range(z.shape[-1]):
        state = np.maximum(state + z[..., k] - allowance, 0.0)
        out[..., k] = state
    return out


def ewma(z: Floats, weight: float = EWMA_WEIGHT) -> Floats:
    """Exponentially weighted average of scores over its own standard deviation."""
    z = np.asarray(z, dtype=np.float64)
    out = np.zeros_like(z)
    state = np.zeros(z.shape[:-1])
    for k in range(z.shape[-1]):
        state = (1.0 - weight) * state + weight * z[..., k]
        spread = math.sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * (k + 1))))
        out[..., k] = state / spread
    return out


def trend(
    name: str, values: Sequence[float], prior_sd: float, since: str = "", flights: Sequence[str] = ()
) -> Trend:
    """Follow one figure.

    Args:
        name: of what, in words.
        values: natural logarithms, oldest first, since the last change of parts.
        prior_sd: scatter that fine flights have.
        since: what began the comparison anew, in words.
        flights: keys of the kept logs.
    """
    x = np.array(values, dtype=np.float64)
    if not len(x):
        return Trend(name, (), (), (), (), None, None, since)
    z = scores(x, prior_sd)[0]
    sums = cusum(z)
    over = np.flatnonzero(sums > LIMIT)
    called = int(over[0]) if len(over) else None
    began = None
    if called is not None:
        zero = np.flatnonzero(sums[:called] <= 0.0)
        began = int(zero[-1]) + 1 if len(zero) else 0
    return Trend(name, tuple(x), tuple(z), tuple(sums), tuple(ewma(z)), called, began, since, tuple(flights))
