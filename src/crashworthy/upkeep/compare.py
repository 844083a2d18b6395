"""Counts side by side: intervals of a rate or a share, and whether one build breaks less than another.

Exact intervals: Garwood, Biometrika 28:437 (1936) for a Poisson rate; Clopper and Pearson (1934) for a
share. The Bayesian ones take Jeffreys' prior; with no event their lower end is the
quantile itself, not 0 (a convention).
"""

from __future__ import annotations

from dataclasses import dataclass

from crashworthy.errors import JournalError, Problem

__all__ = ["RateRatio", "p_fewer", "rate_interval", "rate_ratio", "share_interval"]


@dataclass(frozen=True, slots=True)
class RateRatio:
    """Ratio of two break rates, new over old, without any prior.

    Attributes:
        ratio: of the raw rates; inf when the old one is 0.
        low, high: exact conditional interval.
        p_value: central two-sided exact p of equal rates: twice the smaller tail, at most 1.
    """

    ratio: float
    low: float
    high: float
    p_value: float


def _counted(events: float, base: float, name: str) -> None:
    if not (events >= 0 and base > 0):
        raise JournalError(
            Problem(f"{events:g} events over {name} {base:g}", "give 0 or more events over more than 0")
        )


def rate_interval(
    events: int, exposure: float, probability: float = 0.95, *, jeffreys: bool = False
) -> tuple[float, float]:
    """Central interval of a Poisson rate.

    Args:
        events: how many were seen.
        exposure: over how much (packs, crashes, expected breaks).
        probability: of the interval.
        jeffreys: Gamma(k + 1/2) posterior instead of Garwood's exact interval.

    Raises:
        JournalError: negative events or no exposure.
    """
    from scipy.special import gammaincinv

    _counted(events, exposure, "an exposure of")
    tail = (1.0 - probability) / 2.0
    if jeffreys:
        low, high = gammaincinv(events + 0.5, [tail, 1.0 - tail])
    else:
        low = gammaincinv(events, tail) if events else 0.0
        high = gammaincinv(events + 1, 1.0 - tail)
    return float(low) / exposure, float(high) / exposure


def share_interval(
    events: int, trials: int, probability: float = 0.95, *, jeffreys: bool = False
) -> tuple[float, float]:
    """Central interval of a share, Clopper-Pearson or Jeffreys; arguments as ``rate_interval``.

    Raises:
        JournalError: negative events, no trials, or more events than trials.
    """
    from scipy.special import betaincinv

    _counted(events, trials, "trials of")
    if events > trials:
        raise JournalError(Problem(f"{events} events in {trials} trials", "correct the counts"))
    tail = (1.0 - probability) / 2.0
    if jeffreys:
        low, high = betaincinv(events + 0.5, trials - events + 0.5, [tail, 1.0 - tail])
    else:
        low = betaincinv(events, trials - events + 1, tail) if events else 0.0
        high = betaincinv(events + 1, trials - events, 1.0 - tail) if events < trials else 1.0
    return float(low), float(high)


def rate_ratio(
    new_events: int, new_exposure: float, old_events: int, old_exposure: float, probability: float = 0.95
) -> RateRatio:
    """Compare two Poisson rates exactly, given the total: the new events are then binomial.

    Source: Fay, "Two-sided exact tests and matching confidence intervals", The R Journal 2(1):53 (2010),
    central method (from memory).

    Raises:
        JournalError: negative events or no exposure.
    """
    from scipy.special import bdtr, bdtrc

    _counted(new_events, new_exposure, "an exposure of")
    _counted(old_events, old_exposure, "an exposure of")
    total = new_events + old_events
    scale = old_exposure / new_exposure
    if total == 0:
        return RateRatio(float("nan"), 0.0, float("inf"), 1.0)
    low, high = share_interval(new_events, total, probability)
    share = new_exposure / (new_exposure + old_exposure)
    below = float(bdtr(new_events, total, share))
    above = 1.0 if new_events == 0 else float(bdtrc(new_events - 1, total, share))
    return RateRatio(
        ratio=new_events / old_events * scale if old_events else float("inf"),
        low=low / (1.0 - low) * scale,
        high=high / (1.0 - high) * scale if high < 1.0 else float("inf"),
        p_value=min(1.0, 2.0 * min(below, above)),
    )


def p_fewer(
    new_events: float, new_exposure: float, old_events: float, old_exposure: float, prior_shape: float = 0.5
) -> float:
    """Posterior probability that the new rate is the lower one.

    Both rates have a Gamma(events + prior_shape, exposure) posterior; their share is then Beta, so that
    P(new < old) = I_x(a_new, a_old) with x = b_new/(b_new + b_old).

    Raises:
        JournalError: negative events or no exposure.
    """
    from scipy.special import betainc

    _counted(new_events, new_exposure, "an exposure of")
    _counted(old_events, old_exposure, "an exposure of")
    x = new_exposure / (new_exposure + old_exposure)
    return float(betainc(new_events + prior_shape, old_events + prior_shape, x))
