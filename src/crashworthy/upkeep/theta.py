"""Theta: how many times as often parts break as the simulation says, and what that means for crashes to come.

A part with simulated hazard e in a crash (e = -log(1 - p)) survives it with probability exp(-theta·e).
Rare parts: the Gamma(a, b) prior stays Gamma(a + breaks, b + Σe), and breaks to come are negative binomial.
Frequent parts (props): the same kernel on a grid of ln theta, since theta·e is then no longer small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.upkeep.kernel import step_loglik

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Theta", "gamma_theta", "grid_theta", "negative_binomial_pmf", "poisson_pmf"]

_NODES: Final = 400


def negative_binomial_pmf(shape: float, rate: float, exposure: float, top: int) -> Floats:
    """P(D = 0..top) of a Poisson count over ``exposure`` whose rate is Gamma(shape, rate): (top + 1,)."""
    if exposure <= 1e-300 * rate:  # below that rate/exposure is no longer a number, and nothing can happen
        return np.asarray(np.eye(1, top + 1)[0], dtype=np.float64)
    j = np.arange(top)
    log_p = np.concatenate([[0.0], np.cumsum(np.log(shape + j) - np.log(j + 1.0))])
    log_p -= shape * np.log1p(exposure / rate) + np.arange(top + 1) * np.log1p(rate / exposure)
    return np.asarray(np.exp(log_p), dtype=np.float64)


def poisson_pmf(mean: Floats, top: int) -> Floats:
    """P(D = 0..top) for each mean: (means, top + 1)."""
    m = np.atleast_1d(np.asarray(mean, dtype=np.float64))[:, None]
    j = np.arange(top + 1)
    log_factorial = np.concatenate([[0.0], np.cumsum(np.log(np.arange(1, top + 1)))])
    with np.errstate(divide="ignore", invalid="ignore"):
        log_p = np.where(j == 0, 0.0, j * np.log(m)) - m - log_factorial
    return np.asarray(np.exp(log_p), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Theta:
    """Posterior of theta, observed over simulated.

    Attributes:
        shape, rate: of the Gamma posterior (exact for rare parts, its start for frequent ones).
        nodes, weights: (400,) exact posterior of a frequent part, weights sum to 1; empty for a rare one.
    """

    shape: float
    rate: float
    nodes: Floats
    weights: Floats

    @property
    def exact(self) -> bool:
        """Whether the grid is used."""
        return len(self.nodes) > 0

    @property
    def mean(self) -> float:
        """Posterior mean."""
        return float(self.weights @ self.nodes) if self.exact else self.shape / self.rate

    def interval(self, probability: float = 0.9) -> tuple[float, float]:
        """Central interval."""
        tail = (1.0 - probability) / 2.0
        if self.exact:
            cdf = np.cumsum(self.weights) - 0.5 * self.weights
            low, high = np.interp([tail, 1.0 - tail], cdf, self.nodes)
        else:
            from scipy.special import gammaincinv

            low, high = gammaincinv(self.shape, [tail, 1.0 - tail]) / self.rate
        return float(low), float(high)

    def sample(self, rng: np.random.Generator, size: int) -> Floats:
        """Draws of theta, (size,)."""
        if self.exact:
            return rng.choice(self.nodes, size=size, p=self.weights)
        return rng.gamma(self.shape, 1.0 / self.rate, size=size)

    def mean_breaks(self, hazards: Floats, crashes: Floats) -> float:
        """Expected breaks in crashes to come.

        Args:
            hazards: (parts, 3) simulated hazard by severity.
            crashes: (3,) crashes to come by severity, fractions allowed.
        """
        if self.exact:
            return float(self.weights @ _break_means(self.nodes, hazards, crashes))
        return self.mean * float((hazards @ crashes).sum())

    def demand(self, hazards: Floats, crashes: Floats, top: int) -> Floats:
        """P(breaks = 0..top) in crashes to come, (top + 1,); arguments as ``mean_breaks``.

        Rare: negative binomial. Frequent: Poisson about the exact mean, mixed over the posterior.
        """
        if self.exact:
            means = _break_means(self.nodes, hazards, crashes)
            return np.asarray(self.weights @ poisson_pmf(means, top), dtype=np.float64)
        return negative_binomial_pmf(self.shape, self.rate, float((hazards @ crashes).sum()), top)


def _break_means(theta: Floats, hazards: Floats, crashes: Floats) -> Floats:
    """Σ over parts and severities of crashes·(1 - exp(-theta·e)), for each theta."""
    p = -np.expm1(-theta[:, None, None] * hazards)
    return np.asarray((p @ crashes).sum(axis=1), dtype=np.float64)


def gamma_theta(prior_breaks: float, breaks: float, exposure: float) -> Theta:
    """Posterior of a rare part.

    Args:
        prior_breaks: shape and rate of the Gamma prior: the simulation is worth so many expected breaks.
        breaks: breaks seen.
        exposure: Σ of simulated hazards over all crashes and parts.
    """
    none = np.empty(0)
    return Theta(prior_breaks + breaks, prior_breaks + exposure, none, none)


def grid_theta(
    prior_breaks: float, breaks: Floats, units: Floats, hazards: Floats, loose_breaks: float
) -> Theta:
    """Posterior of a frequent part, exact.

    Args:
        prior_breaks: shape and rate of the Gamma prior.
        breaks: (parts, 3) breaks seen by part and severity.
        units: (3,) crashes by severity.
        hazards: (parts, 3) simulated hazard.
        loose_breaks: breaks that no crash names; each counts as one event of the process.
    """
    start = gamma_theta(prior_breaks, float(breaks.sum()) + loose_breaks, float((hazards @ units).sum()))
    ln = np.linspace(np.log(1e-4), np.log(1e4), _NODES)
    for _ in range(3):  # each pass closes in on where the weight is
        theta = np.exp(ln)
        # The prior density in ln theta carries the Jacobian theta.
        log_w = (prior_breaks + loose_breaks) * ln - prior_breaks * theta
        steps = theta[:, None, None] * hazards
        log_w += step_loglik(breaks, np.maximum(units, breaks), steps).sum(axis=(1, 2))
        weights = np.exp(log_w - log_w.max())
        inside = np.flatnonzero(weights > 1e-10)
        low, high = max(inside[0] - 1, 0), min(inside[-1] + 1, _NODES - 1)
        result = Theta(start.shape, start.rate, theta, weights / weights.sum())
        ln = np.linspace(ln[low], ln[high], _NODES)
    return result
