"""The packing problem: how many of each spare, so that the chance of running out of nothing is greatest.

Maximise Σ w_i·log P(D_i <= s_i) subject to Σ grams <= W and Σ coins <= C. One binary per further piece, each
allowed only after the one before, solved exactly as a mixed-integer programme (scipy, HiGHS). Piece by piece
(greedy) is kept for comparison: it is not always best.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.errors import CrashworthyError, Problem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["Candidate", "expected_shortage", "log_chance", "pack_best", "pack_greedy"]


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One item that may be packed.

    Attributes:
        cdf: (m + 1,) probability that 0, 1 ... m pieces are enough; more than m is not considered.
        grams: of one piece.
        coins: price of one piece.
        owned: pieces at hand, which cost nothing.
        weight: how much running out of it counts.
    """

    cdf: Floats
    grams: float
    coins: float
    owned: int = 0
    weight: float = 1.0

    @property
    def most(self) -> int:
        """Largest number considered."""
        return len(self.cdf) - 1

    def price(self, piece: int) -> float:
        """Coins of the ``piece``-th piece (from 1)."""
        return 0.0 if piece <= self.owned else self.coins

    def gain(self, piece: int) -> float:
        """Weighted growth of log P by the ``piece``-th piece (from 1)."""
        before = max(float(self.cdf[piece - 1]), 1e-300)
        return self.weight * (math.log(max(float(self.cdf[piece]), 1e-300)) - math.log(before))


def expected_shortage(mean: float, cdf: Floats, count: int) -> float:
    """Pieces that lack on average: E max(D - s, 0) = E D - Σ_{j<s} P(D > j)."""
    return max(mean - float(np.sum(1.0 - cdf[:count])), 0.0)


def log_chance(candidates: Sequence[Candidate], counts: Sequence[int] | Ints) -> float:
    """Σ w·log P(enough), the quantity maximised."""
    return sum(
        c.weight * math.log(max(float(c.cdf[n]), 1e-300)) for c, n in zip(candidates, counts, strict=True)
    )


def pack_greedy(candidates: Sequence[Candidate], grams: float, coins: float) -> tuple[int, ...]:
    """Take, piece by piece, what gains most for its share of both limits."""
    counts = [0] * len(candidates)
    left_g, left_c = grams, coins
    while True:
        best, best_value = -1, 0.0
        for i, c in enumerate(candidates):
            piece = counts[i] + 1
            if piece > c.most or c.grams > left_g + 1e-9 or c.price(piece) > left_c + 1e-9:
                continue
            share = c.grams / max(grams, 1e-9) + c.price(piece) / max(coins, 1e-9)
            value = c.gain(piece) / max(share, 1e-12)
            if value > best_value:
                best, best_value = i, value
        if best < 0:
            return tuple(counts)
        counts[best] += 1
        left_g -= candidates[best].grams
        left_c -= candidates[best].price(counts[best])


def pack_best(candidates: Sequence[Candidate], grams: float, coins: float) -> tuple[int, ...]:
    """Solve the packing problem exactly.

    Args:
        candidates: what may be packed.
        grams: limit of weight, 0 or more.
        coins: limit of money spent, 0 or more.

    Returns:
        How many of each.

    Raises:
        CrashworthyError: the solver gave no answer.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    pieces = [(i, j) for i, c in enumerate(candidates) for j in range(1, c.most + 1)]
    if not pieces:
        return (0,) * len(candidates)
    n = len(pieces)
    gains = np.array([candidates[i].gain(j) for i, j in pieces])
    limits = np.array(
        [[candidates[i].grams for i, _ in pieces], [candidates[i].price(j) for i, j in pieces]], dtype=float
    )
    # y_{j+1} - y_j <= 0: no second piece without the first.
    after = [k for k in range(1, n) if pieces[k][1] > 1]
    rows = np.repeat(np.arange(len(after)), 2)
    cols = np.array([c for k in after for c in (k, k - 1)], dtype=int)
    signs = np.tile([1.0, -1.0], len(after))
    constraints = [LinearConstraint(limits, -np.inf, [grams + 1e-9, coins + 1e-9])]
    if after:
        order = csr_array((signs, (rows, cols)), shape=(len(after), n))
        constraints.append(LinearConstraint(order, -np.inf, 0.0))
    found = milp(
        -gains,
        constraints=constraints,
        integrality=np.ones(n),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0, "disp": False, "time_limit": 20.0},
    )
    if found.x is None:
        raise CrashworthyError(
            Problem(f"no packing list was found: {found.message}", "raise a limit or shorten the trip")
        )
    counts = [0] * len(candidates)
    for (i, _), y in zip(pieces, found.x, strict=True):
        counts[i] += round(float(y))
    return tuple(counts)
