"""Pooling of estimates and of shares: what quads of a crew have in common, and how far each goes its own way.

Estimates y_i with error s_i: y_i ~ N(theta_i, s_i), theta_i ~ N(mu, tau). tau gets a half-normal prior and is
kept whole on a grid; DerSimonian and Laird's one value is only a check, for it is 0 too often. Shares k_i of
n_i: a Beta for the crew, by moments or by maximum likelihood. (Gelman et al., Bayesian Data Analysis, 3rd ed.
2013, ch. 5; DerSimonian and Laird 1986; both from memory.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import JournalError, Problem

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "CommonEffect",
    "PooledEffects",
    "beta_by_likelihood",
    "beta_by_moments",
    "common_effect",
    "pool_effects",
]

_NODES: Final = 80


@dataclass(frozen=True, slots=True)
class CommonEffect:
    """All estimates taken as one, and how badly that fits.

    Attributes:
        mean, error: weighted by 1/s².
        q: Cochran's Q.
        tau2: DerSimonian and Laird's variance between quads.
    """

    mean: float
    error: float
    q: float
    tau2: float


@dataclass(frozen=True, slots=True, eq=False)
class PooledEffects:
    """Estimates informed by each other.

    Attributes:
        mean, sd: (n,) posterior of each.
        crew: (mean, sd) of the crew's mean.
        newcomer: (mean, sd) for one that has not been seen.
        tau: posterior mean of the spread between quads.
    """

    mean: Floats
    sd: Floats
    crew: tuple[float, float]
    newcomer: tuple[float, float]
    tau: float


def _estimates(values: ArrayLike, errors: ArrayLike) -> tuple[Floats, Floats]:
    y, s = (np.asarray(v, dtype=np.float64).ravel() for v in (values, errors))
    if y.shape != s.shape or not len(y) or not np.all(np.isfinite([y, s])) or np.any(s <= 0):
        raise JournalError(Problem("estimates and errors do not fit", "give one error above 0 for each"))
    return y, s


def common_effect(values: ArrayLike, errors: ArrayLike) -> CommonEffect:
    """Weighted mean, Cochran's Q and DerSimonian and Laird's tau².

    Raises:
        JournalError: lengths differ or an error is not above 0.
    """
    y, s = _estimates(values, errors)
    w = 1.0 / s**2
    mean = float(w @ y / w.sum())
    q = float(w @ (y - mean) ** 2)
    scale = float(w.sum() - (w @ w) / w.sum())
    tau2 = max(0.0, (q - (len(y) - 1)) / scale) if scale > 0.0 else 0.0
    return CommonEffect(mean, float(1.0 / math.sqrt(w.sum())), q, tau2)


def pool_effects(
    values: ArrayLike, errors: ArrayLike, tau_sd: float = 0.5, mean_sd: float = 1.0
) -> PooledEffects:
    """Pool estimates with the spread between them kept whole.

    Args:
        values: (n,) estimates, as differences from what is believed beforehand.
        errors: (n,) their standard errors.
        tau_sd: of the half-normal prior of the spread.
        mean_sd: of the normal prior of the crew's mean about 0.

    Raises:
        JournalError: lengths differ or an error is not above 0.
    """
    y, s = _estimates(values, errors)
    tau = (np.arange(_NODES) + 0.5) / _NODES * 5.0 * tau_sd
    v = s[None, :] ** 2 + tau[:, None] ** 2
    precision = (1.0 / v).sum(axis=1) + 1.0 / mean_sd**2
    mu = (y / v).sum(axis=1) / precision
    # Marginal likelihood of tau with the crew's mean integrated out.
    log_w = (
        -0.5 * np.log(v).sum(axis=1)
        - 0.5 * np.log(precision)
        - 0.5 * ((y**2 / v).sum(axis=1) - mu**2 * precision)
        - 0.5 * (tau / tau_sd) ** 2
    )
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    own = tau[:, None] ** 2 / v  # share of an estimate's own voice
    means = own * y + (1.0 - own) * mu[:, None]
    variances = own * s**2 + (1.0 - own) ** 2 / precision[:, None]

    def mixed(m: Floats, var: Floats) -> tuple[Floats, Floats]:
        middle = np.tensordot(w, m, 1)
        return middle, np.sqrt(np.tensordot(w, var + (m - middle) ** 2, 1))

    mean, sd = mixed(means, variances)
    crew, new = mixed(mu, 1.0 / precision), mixed(mu, 1.0 / precision + tau**2)
    return PooledEffects(
        mean,
        sd,
        (float(crew[0]), float(crew[1])),
        (float(new[0]), float(new[1])),
        float(w @ tau),
    )


def _shares(counts: ArrayLike, trials: ArrayLike) -> tuple[Floats, Floats]:
    k, n = (np.asarray(v, dtype=np.float64).ravel() for v in (counts, trials))
    if k.shape != n.shape or len(k) < 2 or np.any(k < 0) or np.any(k > n) or np.any(n <= 0):
        raise JournalError(
            Problem("shares need counts within trials", "give two or more, none without trials")
        )
    return k, n


def beta_by_moments(counts: ArrayLike, trials: ArrayLike) -> tuple[float, float]:
    """Beta(a, b) whose mean and variance are those of the raw shares (Bayesian Data Analysis, section 5.1).

    Raises:
        JournalError: counts outside trials, or shares that do not vary.
    """
    k, n = _shares(counts, trials)
    share = k / n
    mean, variance = float(share.mean()), float(share.var(ddof=1))
    if variance <= 0.0:
        raise JournalError(Problem("every share is the same", "pool them as one count"))
    size = mean * (1.0 - mean) / variance - 1.0
    return mean * size, (1.0 - mean) * size


def beta_by_likelihood(counts: ArrayLike, trials: ArrayLike) -> tuple[float, float]:
    """Beta(a, b) of greatest beta-binomial likelihood.

    Raises:
        JournalError: counts outside trials, or shares that do not vary more than chance.
    """
    from scipy.optimize import minimize
    from scipy.special import betaln

    k, n = _shares(counts, trials)

    def loss(x: Floats) -> float:
        a, b = np.exp(x)
        return float(-np.sum(betaln(a + k, b + n - k) - betaln(a, b)))

    start = np.log(np.maximum(beta_by_moments(k, n), 0.1))
    found = minimize(loss, start, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-11})
    a, b = np.exp(found.x)
    if not found.success or a + b > 1e6:
        raise JournalError(Problem("these shares do not vary more than chance", "pool them as one count"))
    return float(a), float(b)
