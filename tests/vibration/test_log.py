from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import LogError
from crashworthy.vibration.log import make_log, release_hold, spread_ties


def even(n: int = 1000, fs: float = 1000.0) -> tuple[np.ndarray, np.ndarray]:
    """An even clock and three smooth rates."""
    t = np.arange(n) / fs
    return t, np.column_stack([np.sin(2 * np.pi * 5 * t), np.cos(2 * np.pi * 5 * t), t])


def test_short_gap_is_bridged_and_long_gap_splits() -> None:
    """Five lost samples are bridged by a straight line, six split the log."""
    t, y = even()
    for lost, parts in ((5, 1), (6, 2)):
        keep = np.ones(len(t), bool)
        keep[400 : 400 + lost] = False
        log = make_log(source="x", reader="x", t=t[keep], gyro=y[keep])
        assert len(log.segments()) == parts
        assert [g.samples for g in log.meta.gaps] == [lost]
        if parts == 1:
            whole = log.uniform(log.segments()[0])
            assert len(whole) == 1000
            chord = (2 * np.pi * 5.0) ** 2 * 6e-3**2 / 8  # how far a straight line strays from a sine
            np.testing.assert_allclose(whole, y, rtol=0, atol=1.01 * chord)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(20, 900), st.integers(1, 40)), max_size=6))
def test_segments_cover_every_sample_once(holes: list[tuple[int, int]]) -> None:
    """Segments never overlap, never hold a gap of more than five samples, and lose only single samples."""
    t, y = even()
    keep = np.ones(len(t), bool)
    for at, lost in holes:
        keep[at : at + lost] = False
    log = make_log(source="x", reader="x", t=t[keep], gyro=y[keep])
    seen = np.zeros(len(log.t), int)
    for s in log.segments():
        seen[s] += 1
        assert np.diff(log.t[s]).max() < 6.5e-3
    assert seen.max() == 1
    assert (seen == 0).sum() <= len(holes) + 1


def test_rows_that_are_not_finite_become_gaps() -> None:
    """A row with a missing number is left out and shows as a gap, never as a zero."""
    t, y = even()
    y[500:520, 1] = np.nan
    log = make_log(source="x", reader="x", t=t, gyro=y)
    assert log.meta.gaps[0].samples == 20
    assert len(log.t) == 980
    assert np.isfinite(log.gyro).all()


def test_clock_that_goes_back_keeps_the_longest_flight() -> None:
    """Two flights in one file: the longer is kept, the rest is reported."""
    t, y = even()
    clock = np.concatenate([t[:300], t[:700]])
    log = make_log(source="x", reader="x", t=clock, gyro=y)
    assert len(log.t) == 700
    assert "goes back" in log.meta.notes[0]


def test_held_values_are_released_to_their_updates() -> None:
    """A speed repeated in every row is read at its updates, and a long standstill stays a step."""
    t = np.arange(4000) / 4000.0
    updates = np.arange(0, 4000, 40)
    true = 300 + 50 * np.sin(2 * np.pi * 0.7 * t)
    held = np.repeat(true[updates], 40)[:, None]
    rt, rv = release_hold(t, held)
    assert len(rt) == pytest.approx(100, abs=2)
    np.testing.assert_allclose(np.interp(t[:3900], rt, rv[:, 0]), true[:3900], atol=0.1)
    step = np.where(t < 0.5, 100.0, 200.0)[:, None]
    both = np.column_stack([held, step])
    rt, rv = release_hold(t, both)
    assert abs(rv[:, 1] - np.where(rt < 0.5, 100.0, 200.0)).max() == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 9), st.floats(300.0, 8000.0))
def test_coarse_clock_is_spread(per_tick: int, fs: float) -> None:
    """A clock that ticks slower than the rows gets an even clock, never off by more than a tick."""
    t = np.arange(2000) / fs
    tick = per_tick / fs
    coarse = np.floor(t / tick + 1e-9) * tick
    out = spread_ties(coarse)
    np.testing.assert_allclose(out, t, atol=tick)
    assert np.diff(out).min() > 0
    stuck = t.copy()
    stuck[500:1200] = t[500]
    np.testing.assert_array_equal(spread_ties(stuck), stuck)


def test_a_log_of_nothing_is_refused_in_words() -> None:
    """No gyro, acceleration, speed or voltage: one clear message with a remedy."""
    with pytest.raises(LogError, match="nothing in it can be used") as caught:
        make_log(source="empty.csv", reader="csv", t=[0.0], gyro=[[1.0, 2.0, 3.0]])
    assert caught.value.problems[0].remedy
    assert caught.value.problems[0].file == "empty.csv"
