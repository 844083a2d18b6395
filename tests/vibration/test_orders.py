from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.demo.flight import SimulatedFlight
from crashworthy.vibration.lag import lag_search, speed_scale
from crashworthy.vibration.log import FlightLog, make_log
from crashworthy.vibration.orders import Shafts, alias, blocks, order_tracks


def test_shaft_angle_is_the_exact_integral_of_straight_lines() -> None:
    """Between updates the speed is a straight line and the angle its integral."""
    t = np.array([0.0, 1.0, 3.0])
    shafts = Shafts.of(t, np.array([[10.0], [20.0], [0.0]]))
    turns, f, known = shafts.at(np.array([0.5, 1.0, 2.0]))
    np.testing.assert_allclose(turns[:, 0], [6.25, 15.0, 30.0], rtol=1e-12)
    np.testing.assert_allclose(f[:, 0], [15.0, 20.0, 10.0], rtol=1e-12)
    assert known.all()
    assert not shafts.at(np.array([-0.1, 3.1]))[2].any()


def test_hole_in_the_telemetry_is_unknown() -> None:
    """Where updates are missing for long the speed is not made up."""
    t = np.concatenate([np.arange(0, 1, 0.01), np.arange(2, 3, 0.01)])
    known = Shafts.of(t, np.full((len(t), 1), 100.0)).at(np.array([0.5, 1.5, 2.5]))[2]
    assert known.tolist() == [True, False, True]


@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 5000.0), st.floats(50.0, 8000.0))
def test_alias_lies_below_half_the_rate(f: float, fs: float) -> None:
    """A folded line lies between 0 and fs/2, and a slow one stays where it is."""
    a = alias(f, fs)
    assert -1e-9 <= a <= fs / 2 + 1e-6
    if f <= fs / 2:
        assert a == pytest.approx(f)


def test_lag_is_found(log: FlightLog, flight: SimulatedFlight) -> None:
    """The simulated telemetry is 12 ms late; the search says so within 1 ms and is sure."""
    lag = lag_search(log)
    assert lag.seconds == pytest.approx(flight.truth.lag, abs=1e-3)
    assert lag.known


def test_lag_is_not_claimed_without_a_line(log: FlightLog) -> None:
    """Noise has no lag."""
    noise = np.random.default_rng(0).standard_normal((len(log.t), 3))
    blank = make_log(source="x", reader="x", t=log.t, gyro=noise, speed_t=log.speed_t, speed=log.speed)
    assert not lag_search(blank).known


def test_pole_pairs_show_in_the_energy(log: FlightLog) -> None:
    """Of five to nine pole pairs the true one explains most of order 1."""
    energy = speed_scale(log, 0.012, [7 / p for p in range(5, 10)])
    assert int(np.argmax(energy)) == 2
    assert energy[2] > 5 * np.delete(energy, 2).max()


def test_two_tones_of_two_shafts_are_told_apart() -> None:
    """Amplitude and phase of orders 1 and 3 of two shafts 9 Hz apart come back within 1 %."""
    t = np.arange(8000) / 4000.0
    slow = np.arange(0, 2.01, 0.01)
    speed = np.column_stack([np.full(len(slow), 200.0), np.full(len(slow), 209.0)])
    truth = {(0, 0): 0.3, (0, 1): 0.02j, (1, 0): -0.1 + 0.1j, (1, 1): 0.05}
    y = sum((c * np.exp(2j * np.pi * speed[0, m] * (1, 3)[k] * t)).real for (m, k), c in truth.items())
    gyro = np.column_stack([y, 2 * y, 0 * y])
    log = make_log(source="x", reader="x", t=t, gyro=gyro, speed_t=slow, speed=speed)
    tracks = order_tracks(log, Shafts.of(slow, speed), [1.0, 3.0])
    for (m, k), c in truth.items():
        np.testing.assert_allclose(tracks.amplitude[:, m, k, 0], c, atol=0.003)
        np.testing.assert_allclose(tracks.amplitude[:, m, k, 1], 2 * c, atol=0.006)


def test_blocks_do_not_cross_gaps() -> None:
    """A block lies whole on one side of a gap."""
    t = np.concatenate([np.arange(0, 2, 0.001), np.arange(3, 5, 0.001)])
    log = make_log(source="x", reader="x", t=t, gyro=np.ones((len(t), 3)))
    where = blocks(log)
    assert len(where) > 10
    for start in where.start:
        assert log.t[start + where.size - 1] - log.t[start] < 0.51
