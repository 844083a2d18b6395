from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import JournalError
from crashworthy.upkeep.compare import p_fewer, rate_interval, rate_ratio, share_interval


def test_jeffreys_intervals() -> None:
    """Jeffreys' intervals of counts and shares equal independently computed values."""
    assert rate_interval(2, 1.0, jeffreys=True) == pytest.approx((0.415606, 6.416251), abs=1e-6)
    assert share_interval(2, 300, jeffreys=True) == pytest.approx((0.001388, 0.021213), abs=1e-6)
    assert share_interval(2, 600, jeffreys=True) == pytest.approx((0.000693, 0.010650), abs=1e-6)


def test_ends_of_a_share() -> None:
    """No event leaves the lower end at 0 and every event the upper end at 1."""
    assert share_interval(0, 10)[0] == 0.0
    assert share_interval(0, 10)[1] == pytest.approx(0.308497, abs=1e-6)
    assert share_interval(10, 10)[1] == 1.0


@given(st.integers(0, 30), st.integers(0, 30), st.floats(1.0, 1000.0), st.floats(1.0, 1000.0))
@settings(max_examples=60, deadline=None)
def test_swapping_the_builds_swaps_the_answer(a: int, b: int, t: float, u: float) -> None:
    """P(new breaks less) and P(old breaks less) sum to one, and the exact p does not care which is new."""
    assert p_fewer(a, t, b, u) + p_fewer(b, u, a, t) == pytest.approx(1.0, abs=1e-9)
    assert rate_ratio(a, t, b, u).p_value == pytest.approx(rate_ratio(b, u, a, t).p_value, abs=1e-9)


@given(st.integers(0, 20), st.integers(0, 20), st.floats(1.0, 100.0))
@settings(max_examples=60, deadline=None)
def test_p_and_interval_agree(a: int, b: int, t: float) -> None:
    """The ratio's 95 % interval leaves out 1 exactly when the central p is below 0.05."""
    found = rate_ratio(a, t, b, 50.0)
    if abs(found.p_value - 0.05) > 1e-6:
        assert (found.low > 1.0 or found.high < 1.0) == (found.p_value < 0.05)


def test_nothing_seen_tells_nothing() -> None:
    """Without any break the exact comparison has p 1 and no bounds."""
    found = rate_ratio(0, 100.0, 0, 100.0)
    assert found.p_value == 1.0
    assert (found.low, found.high) == (0.0, math.inf)
    assert rate_ratio(3, 100.0, 0, 100.0).high == math.inf


def test_impossible_counts_are_refused() -> None:
    """Negative events, no exposure, or more events than trials are refused with words."""
    with pytest.raises(JournalError):
        rate_interval(-1, 1.0)
    with pytest.raises(JournalError):
        rate_ratio(1, 0.0, 1, 1.0)
    with pytest.raises(JournalError, match="correct the counts"):
        share_interval(5, 4)
