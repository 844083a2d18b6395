"""How fast the screws of a joint group work loose, learned from checks, and how often to look.

Each screw's time to loosen, in packs of dose, is Weibull(eta, k), shared within the group. A posterior on a
grid of (ln eta, k) is multiplied by the kernel at each scheduled check. With F the posterior predictive
distribution, a check costing c minutes and a screw flown loose costing h minutes a pack, looking every tau
packs costs C(tau) = (c + n·h·∫0..tau F)/tau a pack; its minimum solves tau·F(tau) - ∫F = c/(n·h). The cost of
flying loose is used, not P(loose) at the check: that one has no interior optimum when k <= 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.kernel import cumulative_hazard, hazard_step, step_loglik

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from crashworthy.upkeep.history import CheckRow
    from crashworthy.upkeep.priors import GroupPrior

    Floats = NDArray[np.float64]

__all__ = [
    "BIN",
    "Calibration",
    "Posterior",
    "calibrate",
    "fit",
    "informative",
    "legendre",
    "prior_posterior",
    "time_loose",
    "update",
    "weibull_optimum",
]

_ETA_NODES: Final = 72
_K_NODES: Final = 25
# ±5 and ±4 standard deviations: a quad 20 times better or worse than the prior median still has its node.
_ETA_REACH: Final = 5.0
_K_REACH: Final = 4.0

BIN: Final = 0.25
"""Ages are rounded to this many packs when many checks are fitted at once."""


@lru_cache(maxsize=4)
def legendre(order: int) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes and weights on 0..1."""
    x, w = np.polynomial.legendre.leggauss(order)
    return (x + 1.0) / 2.0, w / 2.0


def time_loose(tau: float, ln_eta: Floats | float, k: Floats | float) -> Floats:
    """∫0..tau F(u) du, expected packs flown loose by one screw between two checks, broadcast over the nodes.

    Substituting u = tau·x² smooths F's power-law start; 24 Gauss-Legendre nodes then reach 1e-9.
    """
    x, w = legendre(24)
    steps = cumulative_hazard(
        tau * x[:, None] ** 2, np.asarray(ln_eta).reshape(1, -1), np.asarray(k).reshape(1, -1)
    )
    return np.asarray(tau * ((2.0 * x * w) @ -np.expm1(-steps)), dtype=np.float64)


def weibull_optimum(eta: float, k: float, check_cost: float, loose_cost: float) -> float:
    """Best interval when eta and k are known.

    Args:
        eta: characteristic life, packs.
        k: shape.
        check_cost: minutes a check costs, c.
        loose_cost: minutes a pack with all screws loose costs, n·h.

    Returns:
        tau solving tau·F(tau) - ∫0..tau F = c/(n·h), packs; inf when even running for ever costs less.
    """
    ratio = check_cost / loose_cost
    ln_eta = math.log(eta)

    def excess(tau: float) -> float:
        return float(tau * -math.expm1(-((tau / eta) ** k)) - time_loose(tau, ln_eta, k)[0] - ratio)

    # The limit of tau·F - ∫F is the mean life.
    if ratio >= eta * math.gamma(1.0 + 1.0 / k):
        return math.inf
    low, high = 0.0, eta * math.pow((k + 1.0) / k * ratio / eta, 1.0 / (k + 1.0))
    while excess(high) < 0:
        low, high = high, 2.0 * high
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if excess(middle) < 0 else (low, middle)
    return (low + high) / 2.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """The two numbers that make a prior say what common practice says.

    Attributes:
        eta_median: median characteristic life, packs.
        loose_minutes: cost h of one screw flown loose for one pack, min.
    """

    eta_median: float
    loose_minutes: float


def _axes(prior: GroupPrior) -> tuple[Floats, Floats, Floats]:
    """Offsets of ln eta from its median, shapes k, and the normalised prior weights (72, 25)."""
    z = np.linspace(-_ETA_REACH, _ETA_REACH, _ETA_NODES)
    y = np.linspace(-_K_REACH, _K_REACH, _K_NODES)
    weights = np.exp(-0.5 * (z[:, None] ** 2 + y[None, :] ** 2))
    return z * prior.sd_ln_eta, prior.k_median * np.exp(y * prior.sd_ln_k), weights / weights.sum()


@lru_cache(maxsize=32)
def calibrate(prior: GroupPrior) -> Calibration:
    """Solve eta's median from ``p_any``, then h from the optimality condition at ``target_tau``.

    Raises:
        JournalError: no median between 1e-3 and 1e6 target intervals gives ``p_any``.
    """
    offsets, k, weights = _axes(prior)
    tau = prior.target_tau

    def found(ln_median: float) -> float:
        step = cumulative_hazard(tau, (ln_median + offsets)[:, None], k[None, :])
        return float(1.0 - np.sum(weights * np.exp(-prior.screws * step)))

    low, high = math.log(tau * 1e-3), math.log(tau * 1e6)
    if not found(high) < prior.p_any < found(low):
        raise JournalError(
            Problem(
                f"no life of the screws gives p_any {prior.p_any:g}",
                "choose a share between 0 and 1 that is less extreme",
                field=f"loosening.{prior.upkeep}.p_any",
            )
        )
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if found(middle) > prior.p_any else (low, middle)
    ln_eta = np.repeat(offsets + low, _K_NODES)
    shapes = np.tile(k, _ETA_NODES)
    flat = weights.ravel()
    F = float(flat @ -np.expm1(-cumulative_hazard(tau, ln_eta, shapes)))
    loose = float(time_loose(tau, ln_eta, shapes) @ flat)
    return Calibration(math.exp(low), prior.check_minutes / (prior.screws * (tau * F - loose)))


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What is known of a joint group's screws.

    Attributes:
        prior: the belief it grew from.
        ln_eta: (72,) log of characteristic life, packs.
        k: (25,) Weibull shape.
        weights: (72, 25) probabilities, sum 1.
        checks: scheduled checks taken in.
    """

    prior: GroupPrior
    ln_eta: Floats
    k: Floats
    weights: Floats
    checks: int = 0

    @property
    def mean_eta(self) -> float:
        """Posterior mean of the characteristic life, packs."""
        return float(self.weights.sum(axis=1) @ np.exp(self.ln_eta))

    @property
    def sd_ln_eta(self) -> float:
        """Posterior standard deviation of ln eta."""
        w = self.weights.sum(axis=1)
        mean = float(w @ self.ln_eta)
        return math.sqrt(float(w @ (self.ln_eta - mean) ** 2))

    def eta_interval(self, probability: float = 0.9) -> tuple[float, float, float]:
        """Low end, median and high end of the central interval of eta, packs."""
        cdf = np.cumsum(self.weights.sum(axis=1))
        # Each node speaks for the cell around it, so half of its weight lies below it.
        middle = cdf - 0.5 * self.weights.sum(axis=1)
        tail = (1.0 - probability) / 2.0
        low, median, high = np.exp(np.interp([tail, 0.5, 1.0 - tail], middle, self.ln_eta))
        return float(low), float(median), float(high)

    def p_loose(self, age: float) -> float:
        """Predictive probability F(age) that one screw is loose at that age (dose in packs)."""
        step = cumulative_hazard(age, self.ln_eta[:, None], self.k[None, :])
        return float(np.sum(self.weights * -np.expm1(-step)))

    def p_any(self, age: float, screws: int, seen: float = 0.0) -> float:
        """Predictive probability that at least one of ``screws`` is loose at ``age``: 1 - E[exp(-n·dH)].

        Args:
            age: dose since they were tightened, packs.
            screws: how many.
            seen: age at which all were last known tight; dH is the step of hazard from there.
        """
        step = hazard_step(seen, age, self.ln_eta[:, None], self.k[None, :])
        return float(np.sum(self.weights * -np.expm1(-screws * step)))


@lru_cache(maxsize=32)
def prior_posterior(prior: GroupPrior) -> Posterior:
    """The posterior before any check."""
    offsets, k, weights = _axes(prior)
    return Posterior(prior, math.log(calibrate(prior).eta_median) + offsets, k, weights)


def informative(rows: Iterable[CheckRow]) -> tuple[CheckRow, ...]:
    """Rows that inform the interval: scheduled looks at at least one screw.

    A check made because something rattled, or after a crash, is informative censoring and stays out.

    Raises:
        JournalError: a row says more loose than looked at, or its ages are negative, unordered or not finite.
    """
    kept = []
    for row in rows:
        if not 0 <= row.loose <= row.looked:
            raise JournalError(
                Problem(f"{row.loose} loose of {row.looked} looked at", "correct the check", field="loose")
            )
        if not 0 <= row.age_from <= row.age_to < math.inf:
            raise JournalError(
                Problem(
                    f"ages {row.age_from:g} to {row.age_to:g} do not rise", "correct the check", field="age"
                )
            )
        if row.reason == "scheduled" and row.looked:
            kept.append(row)
    return tuple(kept)


def _tempered(posterior: Posterior, loglik: Floats, checks: int) -> Posterior:
    with np.errstate(divide="ignore"):
        log_weights = np.log(posterior.weights) + loglik
    weights = np.exp(log_weights - log_weights.max())
    return Posterior(
        posterior.prior, posterior.ln_eta, posterior.k, weights / weights.sum(), posterior.checks + checks
    )


def _ages(row: CheckRow) -> tuple[float, float]:
    """Ages of a row; a loose screw found at once after a look loosened within one bin, not in no time."""
    if row.loose and row.age_to - row.age_from < BIN:
        return row.age_from, row.age_from + BIN
    return row.age_from, row.age_to


def update(posterior: Posterior, row: CheckRow) -> Posterior:
    """Take in one check, exactly; a row that does not inform the interval changes nothing.

    Raises:
        JournalError: see ``informative``.
    """
    for kept in informative((row,)):
        low, high = _ages(kept)
        step = hazard_step(low, high, posterior.ln_eta[:, None], posterior.k[None, :])
        return _tempered(posterior, step_loglik(kept.loose, kept.looked, step), 1)
    return posterior


def fit(prior: GroupPrior, rows: Iterable[CheckRow]) -> Posterior:
    """Take in many checks at once; ages are rounded to ``BIN`` so that equal steps are computed once.

    Raises:
        JournalError: see ``informative``.
    """
    start = prior_posterior(prior)
    kept = informative(rows)
    if not kept:
        return start
    binned: dict[tuple[int, int], list[int]] = {}
    for row in kept:
        low, high = (round(age / BIN) for age in _ages(row))
        if row.loose:
            high = max(high, low + 1)
        cell = binned.setdefault((low, high), [0, 0])
        cell[0] += row.loose
        cell[1] += row.looked
    nodes = sorted({i for pair in binned for i in pair})
    ages = np.array(nodes, dtype=np.float64) * BIN
    place = {i: j for j, i in enumerate(nodes)}
    hazards = cumulative_hazard(ages[:, None, None], start.ln_eta[:, None], start.k[None, :])
    loglik = np.zeros_like(start.weights)
    for (low, high), (loose, looked) in sorted(binned.items()):
        loglik += step_loglik(loose, looked, hazards[place[high]] - hazards[place[low]])
    return _tempered(start, loglik, len(kept))
