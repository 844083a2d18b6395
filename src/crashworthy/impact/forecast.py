"""Forecast of a hit from the moment of first touch: which crashes will reach a part?

    logit g = a_o + b_o L + c_o V + d·(L², V², L V, far) + q·(n, n n, v)

with o the obstacle, L the logarithm of the straight travel until the part would meet the obstacle
(``reach.travel``), V that of the speed towards it, n and v the obstacle's normal and the flight path seen
from the quad. The coefficients are learnt while a campaign runs: first one set for all parts together, then
what a part has of its own, held back by a ridge (Gaussian prior of unit variance). A forecast only decides
which crashes are simulated; it enters no answer but through the known chance of being simulated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from crashworthy.impact.reach import FAR, travel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Craft
    from crashworthy.impact.start import Starts

    Floats = NDArray[np.float64]

__all__ = ["Forecast", "Look", "forecast_of", "look_at", "pooled", "way_of"]

ROWS: Final = 3000
"""Most crashes that did not hit, in a fit; more are thinned evenly."""

DOUBT: Final = 0.1
"""Share of an obstacle's plain count in the forecast of each crash into it.

So an obstacle that matters, or of which little is known yet, is met more often as a whole, whatever one
doubtful forecast says."""

RIDGE: Final = 1.0
"""Strength of the prior of the coefficients."""


class Look(NamedTuple):
    """What is seen of crashes at first touch, crash as the last axis.

    Attributes:
        obstacle: (n,) index.
        speed: (n,) V, logarithm of the speed towards the obstacle, 0 at 7.4 m/s.
        side: (12, n) direction of the obstacle's normal, its squares and products, direction of flight.
    """

    obstacle: NDArray[np.int32]
    speed: Floats
    side: Floats


def look_at(starts: Starts) -> Look:
    """What is seen at first touch."""
    w, x, y, z = starts.state[6:10]
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y)],
            [2 * (x * y - w * z), 1 - 2 * (x * x + z * z), 2 * (y * z + w * x)],
            [2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)],
        ]
    )
    velocity = starts.state[3:6]
    n = np.einsum("ijc,jc->ic", turn, starts.normal)
    v = np.einsum("ijc,jc->ic", turn, velocity / np.linalg.norm(velocity, axis=0))
    normal_speed = np.maximum(-np.sum(velocity * starts.normal, axis=0), 0.3)
    squares = [n[i] * n[j] for i in range(3) for j in range(i, 3)]
    return Look(starts.obstacle, np.log(normal_speed) - 2.0, np.concatenate([n, squares, v]))


def way_of(craft: Craft, parts: NDArray[np.int32], starts: Starts) -> Floats:
    """(parts, n) travel to each part, m."""
    way: Floats = travel(craft, parts, starts.kinds, starts.rows, starts.state, FAR)
    return way


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """Coefficients of the forecast.

    Attributes:
        obstacle: (3, obstacles) a, b and c.
        curve: (4,) d.
        side: (12,) q.
        counted: (obstacles,) share of the crashes into each obstacle that hit, with half a hit added.
    """

    obstacle: Floats
    curve: Floats
    side: Floats
    counted: Floats

    def logit(self, look: Look, way: Floats) -> Floats:
        """(n,) logit of the chance to be hit.

        Args:
            look: the crashes.
            way: (n,) travel to the part, m.
        """
        far = way >= FAR
        reach, speed = np.log(way + 0.005) + 3.0, look.speed
        a, b, c = (row[look.obstacle] for row in self.obstacle)
        d = self.curve
        told: Floats = a + (b + d[0] * reach + d[2] * speed) * reach + (c + d[1] * speed) * speed + d[3] * far
        return told + self.side @ look.side

    def chance(self, look: Look, way: Floats) -> Floats:
        """(n,) forecast chance to be hit, with a share of what was counted; see ``logit`` and ``DOUBT``."""
        g = 1.0 / (1.0 + np.exp(-np.clip(self.logit(look, way), -30.0, 30.0)))
        told: Floats = (1.0 - DOUBT) * g + DOUBT * self.counted[look.obstacle]
        return told

    def to_list(self) -> list[list[float]]:
        """Plain numbers, for a digest."""
        return [
            self.obstacle.ravel().tolist(),
            self.curve.tolist(),
            self.side.tolist(),
            self.counted.tolist(),
        ]


def _columns(look: Look, way: Floats, obstacles: int, *, sides: bool) -> Floats:
    reach, speed = np.log(way + 0.005) + 3.0, look.speed
    which = np.eye(obstacles)[:, look.obstacle]
    curve = np.array([reach * reach, speed * speed, reach * speed, way >= FAR])
    columns = [which, which * reach, which * speed, curve]
    return np.concatenate([*columns, look.side] if sides else columns).T


def _taken(look: Look, index: NDArray[np.int64]) -> Look:
    return Look(look.obstacle[index], look.speed[index], look.side[:, index])


def _logistic(x: Floats, y: Floats, offset: Floats) -> Floats:
    """Coefficients and, last, an intercept without prior: Newton's method with halved steps."""
    x = np.concatenate([x, np.ones((len(x), 1))], axis=1)
    ridge = np.full(x.shape[1], RIDGE)
    ridge[-1] = 1e-6
    beta = np.zeros(x.shape[1])

    def loss(b: Floats) -> float:
        e = x @ b + offset
        return float(np.logaddexp(0.0, e).sum() - y @ e + 0.5 * ridge @ (b * b))

    now = loss(beta)
    for _ in range(40):
        p = 1.0 / (1.0 + np.exp(-np.clip(x @ beta + offset, -40.0, 40.0)))
        slope = x.T @ (y - p) - ridge * beta
        curve = (x * (p * (1.0 - p))[:, None]).T @ x + np.diag(ridge)
        step = np.linalg.solve(curve, slope)
        size = 1.0
        while (new := loss(beta + size * step)) > now and size > 1e-4:
            size *= 0.5
        beta, gained, now = beta + size * step, now - new, new
        if gained < 1e-2:
            break
    return beta


def _fitted(
    look: Look, way: Floats, hit: NDArray[np.bool_], weight: Floats, obstacles: int, prior: Forecast | None
) -> Forecast:
    """Fit, from all crashes that hit and some of those that did not."""
    met, struck = (np.bincount(look.obstacle, weights=w, minlength=obstacles) for w in (weight, weight * hit))
    counted = (struck + 0.5) / (met + 1.0)
    missed = np.flatnonzero(~hit)
    stride = max(1, len(missed) // ROWS)
    index = np.sort(np.concatenate([np.flatnonzero(hit), missed[::stride]]))
    some, short, y = _taken(look, index), way[index], hit[index].astype(np.float64)
    offset = np.zeros(len(index)) if prior is None else prior.logit(some, short)
    sides = prior is not None
    beta = _logistic(_columns(some, short, obstacles, sides=sides), y, offset + np.log(stride))
    table = beta[: 3 * obstacles].reshape(3, obstacles).copy()
    table[0] += beta[-1]
    curve = beta[3 * obstacles : 3 * obstacles + 4]
    side = beta[3 * obstacles + 4 : -1] if sides else np.zeros(len(look.side))
    if prior is None:
        return Forecast(table, curve, side, counted)
    return Forecast(prior.obstacle + table, prior.curve + curve, prior.side + side, counted)


def pooled(look: Look, ways: Floats, hits: NDArray[np.bool_], obstacles: int) -> Forecast:
    """One forecast for all parts together.

    Args:
        look: (n) crashes.
        ways: (parts, n) travel to each, m.
        hits: (parts, n) whether it was hit.
        obstacles: how many the scenario has.
    """
    parts, n = ways.shape
    every = _taken(look, np.tile(np.arange(n), parts))
    return _fitted(every, ways.ravel(), hits.ravel(), np.ones(parts * n), obstacles, None)


def forecast_of(
    look: Look,
    way: Floats,
    hit: NDArray[np.bool_],
    possible: NDArray[Any],
    weight: Floats,
    obstacles: int,
    prior: Forecast,
) -> Forecast:
    """Forecast of one watched thing.

    Args:
        look: (n) crashes.
        way: (n,) least travel to one of its parts, m.
        hit: (n,) whether it was hit.
        possible: (n,) whether the obstacle counts.
        weight: (n,) how much each crash counts.
        obstacles: how many the scenario has.
        prior: the forecast of all parts together.
    """
    index = np.flatnonzero(possible)
    return _fitted(_taken(look, index), way[index], hit[index], weight[index], obstacles, prior)
