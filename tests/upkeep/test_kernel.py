from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crashworthy.upkeep.kernel import cumulative_hazard, hazard_step, step_loglik

ages = st.floats(0.1, 500.0)
lives = st.floats(0.5, 1000.0)
shapes = st.floats(0.4, 4.0)


def test_kernel_is_the_binomial_likelihood() -> None:
    """The kernel equals the binomial log likelihood of scipy but for the binomial factor."""
    from scipy.stats import binom

    step = np.array([0.01, 0.3, 2.0])
    ours = step_loglik(3, 10, step) + math.log(math.comb(10, 3))
    np.testing.assert_allclose(ours, binom.logpmf(3, 10, -np.expm1(-step)), rtol=1e-12)


def test_no_exposure_says_nothing() -> None:
    """A step of no exposure with nothing seen has likelihood 1, and with something seen 0."""
    assert step_loglik(0, 5, 0.0) == 0.0
    assert step_loglik(1, 5, 0.0) == -math.inf


@given(ages, ages, lives, shapes, st.floats(0.01, 100.0))
def test_kernel_does_not_depend_on_the_unit_of_age(
    a: float, b: float, eta: float, k: float, c: float
) -> None:
    """Measuring age in another unit and eta with it changes no hazard step."""
    low, high = sorted((a, b))
    here = hazard_step(low, high, math.log(eta), k)
    there = hazard_step(c * low, c * high, math.log(c * eta), k)
    # The step is a difference: its rounding error follows the larger term.
    scale = float(cumulative_hazard(high, math.log(eta), k))
    np.testing.assert_allclose(there, here, rtol=1e-9, atol=1e-11 * scale)


@given(ages, ages, ages, lives, shapes)
def test_steps_add_up(a: float, b: float, c: float, eta: float, k: float) -> None:
    """Surviving two steps one after the other is surviving both at once, so left truncation is automatic."""
    first, second, third = sorted((a, b, c))
    x = math.log(eta)
    parts = hazard_step(first, second, x, k) + hazard_step(second, third, x, k)
    scale = float(cumulative_hazard(third, x, k))
    np.testing.assert_allclose(parts, hazard_step(first, third, x, k), rtol=1e-9, atol=1e-12 * scale)


def test_hazard_at_age_zero_is_zero() -> None:
    """A screw that has not flown has no hazard behind it, whatever the shape."""
    assert cumulative_hazard(0.0, 1.0, 0.5) == 0.0
    assert cumulative_hazard(0.0, 1.0, 3.0) == pytest.approx(0.0, abs=0.0)
