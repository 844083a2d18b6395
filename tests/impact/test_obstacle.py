"""Distances and normals of what is flown into."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from crashworthy.impact.obstacle import BOX, CYLINDER, GAP, PLANE, RUBBLE, SPIKE, Shape, gap_normal

places = st.tuples(*[st.floats(-0.3, 0.3)] * 3)


@settings(deadline=None, max_examples=60)  # the first call may compile
@given(st.sampled_from((PLANE, CYLINDER, BOX, SPIKE, RUBBLE, GAP)), places, st.integers(0, 10_000))
def test_the_normal_is_the_slope_of_the_distance(kind, place, seed):
    """Outside an obstacle the normal has unit length and the gap grows along it metre by metre."""
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    axis, across = turn[0], turn[1]
    shape = Shape(
        (0.01, -0.02, 0.03), tuple(axis), tuple(across), tuple(np.cross(axis, across)), 0.02, 0.15, 0.04
    )
    gap, n = gap_normal(kind, shape, place)
    assume(gap > 1e-3)
    assert np.linalg.norm(n) == pytest.approx(1.0, abs=1e-9)
    h = 1e-6
    slope = [
        (gap_normal(kind, shape, tuple(place + h * e))[0] - gap_normal(kind, shape, tuple(place - h * e))[0])
        / (2.0 * h)
        for e in np.eye(3)
    ]
    # Half way between two posts or stones the slope jumps.
    assume(np.linalg.norm(slope) > 0.99)
    np.testing.assert_allclose(slope, n, atol=1e-3)
