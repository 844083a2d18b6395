"""How worn a part is: damage of its crashes, stiffness by tapping, and when replacing it early pays.

Damage: each crash with load ratio s (load over strength) uses up 1/N of the part, log10 N = (1 - s)/b
(S-N line), and the shares add up (Palmgren-Miner). Tapping: stiffness goes with frequency squared, same mass
and clamping. Age replacement: Barlow and Proschan, Mathematical Theory of Reliability (1965), ch. 4. All from
memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.errors import JournalError, Problem

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from crashworthy.upkeep.history import TapRow

    Floats = NDArray[np.float64]

__all__ = [
    "AgePlan",
    "Stiffness",
    "age_replacement",
    "crash_damage",
    "miner",
    "minimal_repair_age",
    "p_wearing_out",
    "sn_cycles",
    "stiffness",
]


def miner(ratios: ArrayLike, counts: ArrayLike, exponent: float) -> float:
    """Damage sum of a power law: sum of n·(load/capacity)^exponent."""
    r, n = np.asarray(ratios, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    return float(n @ r**exponent)


def sn_cycles(ratio: float, slope: float) -> float:
    """Hits of a load ratio that break it: 10^((1 - s)/b), 1 at s = 1 and above."""
    return math.pow(10.0, max(1.0 - ratio, 0.0) / slope)


def crash_damage(ratios: ArrayLike, severity: ArrayLike, slope: float) -> tuple[float, float, float]:
    """Mean damage of one scuff, hit and slam.

    Args:
        ratios: (n,) load over strength in each simulated crash; 0 where the part was not loaded.
        severity: (n,) 0, 1 or 2.
        slope: b of the S-N line.
    """
    s = np.clip(np.asarray(ratios, dtype=np.float64), 0.0, 1.0)
    used = np.where(s > 0.0, 10.0 ** ((s - 1.0) / slope), 0.0)
    grade = np.asarray(severity)
    means = [float(used[grade == g].mean()) if (grade == g).any() else 0.0 for g in range(3)]
    return means[0], means[1], means[2]


@dataclass(frozen=True, slots=True)
class Stiffness:
    """What tapping says.

    Attributes:
        first, last: frequencies of the first and last test, Hz.
        ratio: stiffness now over stiffness then.
        error: its standard error.
        p_below: probability that it is below the limit.
        tests: how many.
        cracked: whether the last test dropped too far from the one before to be wear.
    """

    first: float
    last: float
    ratio: float
    error: float
    p_below: float
    tests: int
    cracked: bool

    def summary(self) -> str:
        """One clause with numbers."""
        change = 100.0 * (1.0 - self.ratio)
        word = "softer" if change >= 0 else "stiffer"
        return f"{abs(change):.0f} % {word} than at its first tap ({self.first:.0f} to {self.last:.0f} Hz)"


def stiffness(
    taps: Sequence[TapRow], error: float = 0.01, limit: float = 0.9, step: float = 3.0
) -> Stiffness | None:
    """Stiffness left, from the tap tests of one part.

    k/k0 = (f/f0)²; its error is 2·k·s·sqrt(1/n + 1/n0) for n taps in a test, means taken.

    Args:
        taps: tests in order.
        error: scatter s of one tap, as a share.
        limit: stiffness left to hold it against.
        step: standard errors between the last two tests that are called a crack.

    Returns:
        None when there are fewer than two tests.
    """
    from scipy.special import ndtr

    if len(taps) < 2:
        return None
    means = [sum(t.hz) / len(t.hz) for t in taps]

    def against(i: int, j: int) -> tuple[float, float]:
        ratio = (means[j] / means[i]) ** 2
        return ratio, 2.0 * ratio * error * math.sqrt(1.0 / len(taps[i].hz) + 1.0 / len(taps[j].hz))

    ratio, spread = against(0, len(taps) - 1)
    drop, drop_error = against(len(taps) - 2, len(taps) - 1)
    return Stiffness(
        means[0],
        means[-1],
        ratio,
        spread,
        float(ndtr((limit - ratio) / spread)),
        len(taps),
        cracked=1.0 - drop > step * drop_error,
    )


@dataclass(frozen=True, slots=True)
class AgePlan:
    """When to replace a part that has not failed.

    Attributes:
        age: best age; inf when waiting for the failure is cheapest.
        rate: cost per unit of age at that age.
        wait: cost per unit of age when only failures are replaced.
    """

    age: float
    rate: float
    wait: float


def _survived(age: float, eta: float, k: float) -> float:
    """Integral of the Weibull survival up to an age."""
    from scipy.special import gammainc

    return eta * math.gamma(1.0 + 1.0 / k) * float(gammainc(1.0 / k, math.pow(age / eta, k)))


def age_replacement(eta: float, k: float, planned: float, failed: float) -> AgePlan:
    """Best age to replace a part of Weibull life: h(T)·integral of R - F(T) = planned/(failed - planned).

    Args:
        eta: characteristic life.
        k: shape.
        planned: cost of a planned replacement.
        failed: cost of a failure.

    Raises:
        JournalError: a number is not positive, or a failure does not cost more.
    """
    from scipy.optimize import brentq

    if not (eta > 0.0 and k > 0.0 and 0.0 < planned < failed):
        raise JournalError(
            Problem("a failure must cost more than a planned swap, both above 0", "correct the costs")
        )
    wait = failed / (eta * math.gamma(1.0 + 1.0 / k))
    if k <= 1.0:
        return AgePlan(math.inf, wait, wait)
    goal = planned / (failed - planned)

    def excess(x: float) -> float:
        h = k * math.pow(x, k - 1.0)
        return h * _survived(x, 1.0, k) + math.expm1(-math.pow(x, k)) - goal

    top = 1.0
    while excess(top) < 0.0:
        top *= 2.0
        if top > 1e6:
            return AgePlan(math.inf, wait, wait)
    x = float(brentq(excess, 1e-9, top, xtol=1e-14, rtol=1e-13))
    # At the optimum the cost rate is (failed - planned)·h(T).
    return AgePlan(x * eta, (failed - planned) * k * math.pow(x, k - 1.0) / eta, wait)


def minimal_repair_age(eta: float, k: float, replace: float, repair: float) -> float:
    """Best age to replace when failures in between are only mended: eta·(replace/(repair·(k - 1)))^(1/k)."""
    if k <= 1.0:
        return math.inf
    return eta * math.exp(math.log(replace / (repair * (k - 1.0))) / k)


def p_wearing_out(broke_at: Sequence[int], well_at: Sequence[int]) -> tuple[float, float, float]:
    """Whether old parts break sooner: posterior of a Weibull shape over crashes lived through.

    A part that broke in its n-th crash is known to n - 1 < life <= n. Grid over ln eta (flat) and ln k
    (normal, 0 ± 0.5: no wear-out is as likely as its opposite).

    Args:
        broke_at: crashes lived through by parts that broke, the last one included.
        well_at: the same of parts that are still well, or were swapped unbroken.

    Returns:
        (P(k > 1), mean eta in crashes, mean k); (0.5, inf, 1) when nothing broke.
    """
    from crashworthy.upkeep.kernel import cumulative_hazard, hazard_step, log_seen

    broke = np.asarray([max(b, 1) for b in broke_at], dtype=np.float64)
    well = np.asarray([w for w in well_at if w > 0], dtype=np.float64)
    if not len(broke):
        return 0.5, math.inf, 1.0
    ln_k = np.linspace(-1.6, 1.6, 61)
    top = float(max(broke.max(), well.max() if len(well) else 1.0))
    ln_eta = np.linspace(math.log(0.5), math.log(top) + 7.0, 160)
    x, k = ln_eta[:, None, None], np.exp(ln_k)[None, :, None]
    log_l = (log_seen(hazard_step(broke - 1.0, broke, x, k)) - cumulative_hazard(broke - 1.0, x, k)).sum(
        axis=2
    )
    if len(well):
        log_l = log_l - cumulative_hazard(well, x, k).sum(axis=2)
    log_w = log_l - 0.5 * (ln_k / 0.5)[None, :] ** 2
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    eta = math.exp(float(w.sum(axis=1) @ ln_eta))
    return float(w[:, ln_k > 0].sum() + 0.5 * w[:, ln_k == 0].sum()), eta, float(w.sum(axis=0) @ np.exp(ln_k))
