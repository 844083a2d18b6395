"""The one likelihood kernel: an event seen, or not, over a step of exposure.

A unit that is well at the start of a step fails within it with probability 1 - exp(-dH), dH the step of
cumulative hazard. Of n such units m failed: log L = m·log(1 - exp(-dH)) - (n - m)·dH. Screws loosening
between two looks (interval-censored, left truncation included) and parts breaking in a crash are the same
thing with another dH. Nelson, Applied Life Data Analysis (1982), ch. 9 (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["cumulative_hazard", "hazard_step", "log_seen", "step_loglik"]


def cumulative_hazard(age: ArrayLike, ln_eta: ArrayLike, k: ArrayLike) -> Floats:
    """Weibull cumulative hazard (age/eta)^k, broadcast; 0 at age 0.

    Args:
        age: in the unit of eta, 0 or more.
        ln_eta: log of the characteristic life.
        k: shape.
    """
    with np.errstate(divide="ignore"):
        ln_age = np.log(np.asarray(age, dtype=np.float64))
    return np.asarray(np.exp(np.asarray(k) * (ln_age - np.asarray(ln_eta))), dtype=np.float64)


def hazard_step(age_from: ArrayLike, age_to: ArrayLike, ln_eta: ArrayLike, k: ArrayLike) -> Floats:
    """Step of Weibull cumulative hazard between two ages, broadcast."""
    return np.maximum(cumulative_hazard(age_to, ln_eta, k) - cumulative_hazard(age_from, ln_eta, k), 0.0)


def log_seen(step: ArrayLike) -> Floats:
    """log(1 - exp(-step)), the log probability of the event within the step; -inf at step 0."""
    with np.errstate(divide="ignore"):
        return np.log(-np.expm1(-np.asarray(step, dtype=np.float64)))


def step_loglik(events: ArrayLike, units: ArrayLike, step: ArrayLike) -> Floats:
    """Log likelihood of ``events`` among ``units`` over a hazard step, without the binomial factor.

    Args:
        events: how many had the event.
        units: how many were exposed.
        step: step of cumulative hazard, 0 or more; all three broadcast.
    """
    m, n, d = (np.asarray(x, dtype=np.float64) for x in (events, units, step))
    # 0·log 0 is 0: nothing seen over no exposure says nothing.
    seen = np.where(m > 0, m * np.where(m > 0, log_seen(d), 0.0), 0.0)
    return np.asarray(seen - (n - m) * d, dtype=np.float64)
