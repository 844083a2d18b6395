"""Damage that a part's own crashes added up, what strength is left, and what tapping says of both.

Every crash that the part lived through has a distribution of loads (``alike``); particles draw from it:

    D  <- D + min(L/S50, 1)^p             damage of a survived hit (Palmgren-Miner; power law)
    S  =  S50 exp(delta) (1 - D/2)        what is left (``impact.learn.weakened``)
    w  <- w * prod Phi(-(ln L - ln S)/beta)   the part is still there: particles it would have broken fade

delta comes from its posterior (``strengths``), p evenly from its range. Tap tests join the same posterior:
for each particle ln f = a - s D + noise is a normal regression in closed form (a free, s ~ N(slope,
slope_sd²)), whose marginal likelihood weighs the particle. So a dull ring speaks for damage, a clear one
against it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.impact.learn import WEAR_POWER
from crashworthy.upkeep.strengths import GRID

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.strength.capacity import Capacity
    from crashworthy.upkeep.crash_loads import CrashLoads

    Floats = NDArray[np.float64]

__all__ = ["SORTS", "Accumulated", "DamageLaw", "Tapped", "accumulate"]

SORTS: Final = {"arm": "carbon", "plate": "carbon", "motor": "metal", "standoff": "metal"}
"""Kinds whose damage adds up, and how: laminate by matrix cracks, metal by dents."""

PARTICLES: Final = 1500

_FEW: Final = 48


@dataclass(frozen=True, slots=True)
class DamageLaw:
    """How damage adds up and what tapping says of it.

    Attributes:
        power: (low, high) of p.
        slope, slope_sd: s, drop of ln f at D = 1.
        tap_error: scatter of one tap's frequency, as a share.
        limit: strength left that is held against.
        tap_limit: stiffness left that is held against.
    """

    power: tuple[float, float]
    slope: float = 0.1
    slope_sd: float = 0.1
    tap_error: float = 0.01
    limit: float = 0.8
    tap_limit: float = 0.9

    @classmethod
    def assumed(cls, sort: str) -> DamageLaw:
        """The assumed law of "carbon" or "metal": p half as large to half as large again."""
        p = WEAR_POWER[sort]
        return cls((0.75 * p, 1.5 * p))


@dataclass(frozen=True, slots=True)
class Tapped:
    """A tap test: ring ``hz``, after ``crashes`` of those that the part lived through."""

    hz: tuple[float, ...]
    crashes: int


@dataclass(frozen=True, slots=True)
class Accumulated:
    """What a part's crashes have done to it; every triple is (median, low, high), 5-95 %.

    Attributes:
        crashes: lived through.
        damage: D.
        left: strength left, as a share of the new part's.
        p_below: probability that less than ``limit`` is left.
        limit: strength left that is held against.
        weaker: how many times as often it breaks as a new one, in crashes like those it had.
        hardest: load over the new part's strength in its hardest crash.
        taps: tap tests used.
        stiffness: left since new, by damage and taps together; None without two taps.
        p_soft: probability that less than the tap limit of it is left; None without two taps.
        slope: s, (mean, sd); None without two taps.
        misfit: last tap less what the damage explains, in standard errors; None without two taps.
    """

    crashes: int
    damage: tuple[float, float, float]
    left: tuple[float, float, float]
    p_below: float
    limit: float
    weaker: float
    hardest: tuple[float, float, float]
    taps: int
    stiffness: tuple[float, float, float] | None
    p_soft: float | None
    slope: tuple[float, float] | None
    misfit: float | None

    def summary(self) -> str:
        """A clause with numbers."""
        d, low, high = (100 * x for x in self.damage)
        s, s_low, s_high = (100 * x for x in self.left)
        text = (
            f"{self.crashes} crashes used up {d:.0f} % ({low:.0f}-{high:.0f}), strength left {s:.0f} % "
            f"({s_low:.0f}-{s_high:.0f})"
        )
        if self.stiffness is not None:
            k, a, b = (100 * x for x in self.stiffness)
            text += f", stiffness {k:.0f} % ({a:.0f}-{b:.0f}) by {self.taps} taps and damage together"
        return text

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        rows = {n: getattr(self, n) for n in self.__slots__}
        plain = {n: list(v) if isinstance(v, tuple) else v for n, v in rows.items()}
        return plain | {"summary": self.summary()}


class _Part:
    """Loads of one part over its median strengths, mode by mode, in every simulated crash."""

    def __init__(self, loads: CrashLoads, modes: Sequence[Capacity]) -> None:
        with np.errstate(divide="ignore"):
            self.ln_ratio = [np.log(loads.load(m) / m.median) for m in modes]
        self.beta = [m.beta for m in modes]
        self.worst = np.max(self.ln_ratio, axis=0)

    def log_survival(self, draws: NDArray[np.int64], ln_strength: Floats) -> Floats:
        """(particles,) ln of the chance to survive these draws at some strength over S50."""
        from scipy.special import log_ndtr

        total = np.zeros(len(draws))
        for z, beta in zip(self.ln_ratio, self.beta, strict=True):
            total += log_ndtr(np.minimum((ln_strength - z[draws]) / beta, 40.0))
        return total


def accumulate(
    loads: CrashLoads,
    modes: Sequence[Capacity],
    lived: Sequence[NDArray[np.int64]],
    law: DamageLaw,
    shift: Floats | None = None,
    taps: Sequence[Tapped] = (),
    seed: int = 0,
    particles: int = PARTICLES,
) -> Accumulated:
    """Add up the damage of one part.

    Args:
        loads: the campaign.
        modes: the part's, with tabled medians.
        lived: for each crash it lived through, in order, the simulated crashes that fit it.
        law: how damage adds up.
        shift: (grid,) weights of delta over ``strengths.GRID``; delta 0 when None.
        taps: tap tests of this very part, in order.
        seed: of the Philox stream.
        particles: how many.
    """
    rng = np.random.Generator(np.random.Philox(seed))
    part = _Part(loads, modes)
    n = particles
    delta = np.zeros(n) if shift is None else np.array(GRID)[_systematic(rng, np.asarray(shift), n)]
    power = rng.uniform(*law.power, n)
    damage, hardest = np.zeros(n), np.full(n, -np.inf)
    at_tap = np.zeros((n, len(taps)))
    log_w = np.zeros(n)
    state: list[Any] = [delta, power, damage, hardest]
    for number in range(len(lived) + 1):
        for k, tap in enumerate(taps):
            if min(tap.crashes, len(lived)) == number:
                at_tap[:, k] = np.minimum(state[2], 1.0)
        if number == len(lived):
            break
        delta, power, damage, hardest = state
        draws = lived[number][rng.integers(0, len(lived[number]), n)]
        z = part.worst[draws] - delta
        log_w = log_w + part.log_survival(draws, delta + np.log1p(-0.5 * np.minimum(damage, 1.0)))
        damage = damage + np.exp(power * np.minimum(z, 0.0))
        state = [delta, power, damage, np.maximum(hardest, z)]
        w = np.exp(log_w - log_w.max())
        if w.sum() ** 2 < 0.5 * n * (w @ w):
            keep = _systematic(rng, w / w.sum(), n)
            state = [x[keep] for x in state]
            at_tap, log_w = at_tap[keep], np.zeros(n)
    delta, _, damage, hardest = state
    damage = np.minimum(damage, 1.0)
    fit = _Taps(taps, at_tap, damage, law) if len(taps) >= 2 else None
    if fit is not None:
        log_w = log_w + fit.log_marginal
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    left = 1.0 - 0.5 * damage
    return Accumulated(
        crashes=len(lived),
        damage=_three(damage, w),
        left=_three(left, w),
        p_below=float(w[left < law.limit].sum()),
        limit=law.limit,
        weaker=_weaker(part, lived, delta, left, w),
        hardest=_three(np.exp(hardest), w),
        taps=len(taps),
        stiffness=None if fit is None else fit.stiffness(w),
        p_soft=None if fit is None else fit.p_soft(w),
        slope=None if fit is None else fit.slope(w),
        misfit=None if fit is None else fit.misfit(w),
    )


def _systematic(rng: np.random.Generator, weights: Floats, n: int) -> NDArray[np.int64]:
    """Systematic resampling: (n,) indices in proportion to the weights, shuffled."""
    at = (np.arange(n) + rng.random()) / n
    found = np.minimum(np.searchsorted(np.cumsum(weights / weights.sum()), at), len(weights) - 1)
    return np.asarray(rng.permutation(found), dtype=np.int64)


def _three(x: Floats, w: Floats) -> tuple[float, float, float]:
    order = np.argsort(x)
    cumulative = np.cumsum(w[order]) - 0.5 * w[order]
    low, middle, high = np.interp((0.05, 0.5, 0.95), cumulative, x[order])
    return float(middle), float(low), float(high)


def _weaker(part: _Part, lived: Sequence[NDArray[np.int64]], delta: Floats, left: Floats, w: Floats) -> float:
    """Chance of breaking in the crashes it had over that of a new part, both averaged over the particles."""
    if not lived:
        return 1.0
    draws, count = np.unique(np.concatenate(lived), return_counts=True)
    # Particles at even steps of the weights stand for all of them.
    order = np.argsort(left)
    at = np.searchsorted(np.cumsum(w[order]), (np.arange(_FEW) + 0.5) / _FEW)
    some = order[np.minimum(at, len(w) - 1)]
    now, new = (
        sum(float(-np.expm1(part.log_survival(draws, np.full(len(draws), s))) @ count) for s in strength)
        for strength in (delta[some] + np.log(left[some]), delta[some])
    )
    return max(1.0, now / new) if new > 1e-12 else 1.0


class _Taps:
    """ln f = a - s D + noise for every particle at once, a ~ N(first tap, 1), s ~ N(slope, slope_sd²)."""

    def __init__(self, taps: Sequence[Tapped], at_tap: Floats, damage: Floats, law: DamageLaw) -> None:
        y = np.array([np.mean(np.log(t.hz)) for t in taps])
        var = np.array([law.tap_error**2 / len(t.hz) for t in taps])
        X = np.stack([np.ones_like(at_tap), -at_tap], axis=2)  # (particles, taps, 2)
        mean0, var0 = np.array([y[0], law.slope]), np.diag([1.0, law.slope_sd**2])
        S = X @ var0 @ X.transpose(0, 2, 1) + np.diag(var)
        r = y - X @ mean0
        gain = var0 @ X.transpose(0, 2, 1) @ np.linalg.inv(S)
        self.mean = mean0 + (gain @ r[:, :, None])[:, :, 0]
        self.var = var0 - gain @ X @ var0
        _, logdet = np.linalg.slogdet(S)
        self.log_marginal = -0.5 * (logdet + np.einsum("pt,pts,ps->p", r, np.linalg.inv(S), r))
        self._damage, self._law = damage, law
        self._residual = (y[-1] - (X @ self.mean[:, :, None])[:, -1, 0]) / np.sqrt(var[-1])

    def _draws(self, w: Floats) -> tuple[Floats, Floats]:
        """Stiffness left since new and weights, each particle with its own s at three quantiles."""
        sd = np.sqrt(np.maximum(self.var[:, 1, 1], 0.0))
        # Normal quantiles at 1/6, 1/2, 5/6: equally likely thirds of s.
        s = self.mean[:, 1][:, None] + sd[:, None] * np.array([-0.9674215661, 0.0, 0.9674215661])
        k = np.exp(-2.0 * np.maximum(s, 0.0) * self._damage[:, None])
        return k.ravel(), np.repeat(w / 3.0, 3)

    def stiffness(self, w: Floats) -> tuple[float, float, float]:
        """(median, low, high) of k/k0."""
        return _three(*self._draws(w))

    def p_soft(self, w: Floats) -> float:
        """Probability that less than the limit is left."""
        k, weights = self._draws(w)
        return float(weights[k < self._law.tap_limit].sum())

    def slope(self, w: Floats) -> tuple[float, float]:
        """Mean and sd of s."""
        mean = float(w @ self.mean[:, 1])
        var = float(w @ (self.var[:, 1, 1] + (self.mean[:, 1] - mean) ** 2))
        return mean, float(np.sqrt(max(var, 0.0)))

    def misfit(self, w: Floats) -> float:
        """Last tap less its fit, in standard errors."""
        return float(w @ self._residual)
