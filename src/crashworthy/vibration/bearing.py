"""Tones of a rolling bearing: their orders from its geometry, and a look for them in the acceleration.

FTF = ½ (1 - k), BPFO = z/2 (1 - k), BPFI = z/2 (1 + k), BSF = D/2d (1 - k²), k = d/D cos α, in orders of the
shaft; outer ring fixed (e.g. Randall, Vibration-based Condition Monitoring, 2011, ch. 5). A gyro is nearly
blind to them: pushes of 3 N change its line by a percent. Acceleration at 4000 samples/s sees them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.shafts import Shafts

    Floats = NDArray[np.float64]

__all__ = ["ACC_RATE", "BallOrders", "ball_level", "ball_orders"]

ACC_RATE: Final = 3900.0
"""Acceleration samples a second below which no bearing is judged."""


@dataclass(frozen=True, slots=True)
class BallOrders:
    """Orders of a bearing's tones.

    Attributes:
        cage: of the cage turning (FTF).
        outer: balls passing a flaw of the outer race (BPFO).
        inner: balls passing a flaw of the inner race (BPFI).
        ball: ball turning (BSF).
    """

    cage: float
    outer: float
    inner: float
    ball: float


def ball_orders(balls: int, ball: float, pitch: float, angle: float = 0.0) -> BallOrders:
    """Orders from the number of balls, their diameter, the pitch diameter (same unit) and the contact angle.

    Raises:
        ValueError: the balls do not fit the pitch circle.
    """
    if balls < 2 or not 0.0 < ball < pitch:
        raise ValueError("a bearing has two balls or more, smaller than its pitch circle")
    k = ball / pitch * np.cos(angle)
    return BallOrders(
        float(0.5 * (1 - k)),
        float(balls / 2 * (1 - k)),
        float(balls / 2 * (1 + k)),
        float(pitch / (2 * ball) * (1 - k * k)),
    )


def ball_level(
    log: FlightLog, shafts: Shafts, low: float = 2.10, high: float = 2.85, seconds: float = 16.0
) -> Floats | None:
    """Strongest line between two orders over the median of that range, for each motor (m,).

    The acceleration is brought down by each order in turn, without parting the motors (lines of bearings
    are far apart in order). None without acceleration at 4000 samples/s.

    Args:
        log: with acceleration.
        shafts: speeds.
        low: first order looked at.
        high: last order looked at.
        seconds: how much of the flight to use.
    """
    from crashworthy.vibration.orders import baseband, block_sums

    rate = log.meta.rates.get("acc", 0.0)
    if log.acc is None or log.acc_t is None or rate < ACC_RATE:
        return None
    n = min(len(log.acc_t), round(seconds * rate))
    begin = (len(log.acc_t) - n) // 2
    rows = slice(begin, begin + n)
    as_gyro = replace(
        log, t=log.acc_t[rows], gyro=log.acc[rows], meta=replace(log.meta, rates={"gyro": rate})
    )
    # Orders 0.01 apart: in blocks of 0.25 s a line is 4 Hz wide, 0.013 orders at 300 turns/s.
    scan = np.arange(low, high, 0.01)
    scan = scan[np.abs(scan - 2.5) > 0.03]
    levels = np.empty((len(scan), shafts.speed.shape[1]))
    for k, order in enumerate(scan):
        band = baseband(as_gyro, shafts, [float(order)])
        start, nodes = band.blocks(0.25, 0.0)
        if len(start) < 8:
            return None
        right = block_sums(band, start, nodes, 0).right
        # The median over blocks: a steady line stands in all of them, a passing throttle move in few.
        levels[k] = np.median((np.abs(right) ** 2).sum(axis=2), axis=0)
    out: Floats = levels.max(axis=0) / np.median(levels, axis=0)
    return out
