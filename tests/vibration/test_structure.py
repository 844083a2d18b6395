"""Arm modes, looseness and crashes of simulated flights."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.demo.faults import Blow, Faults
from crashworthy.demo.flight import simulate_flight
from crashworthy.vibration.airframe import airframe
from crashworthy.vibration.bearing import ball_level, ball_orders
from crashworthy.vibration.log import FlightLog, make_log
from crashworthy.vibration.modes import arm_mode
from crashworthy.vibration.report import analyse
from crashworthy.vibration.shafts import Shafts
from crashworthy.vibration.shorttime import ShortTime, short_time
from crashworthy.vibration.strikes import strikes


@pytest.fixture(scope="module")
def as_log() -> Any:
    """From a simulated flight to a log without a file, as the bench does."""
    path = Path(__file__).parents[2] / "bench" / "verdict.py"
    spec = importlib.util.spec_from_file_location("bench_verdict", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.as_log


def spectra(log: FlightLog, quad: Any) -> ShortTime:
    """Short-time spectra with orders masked."""
    assert log.speed_t is not None
    assert log.speed is not None
    short = short_time(log, Shafts.of(log.speed_t, log.speed, 0.008), airframe(quad))
    assert short is not None
    assert short.masked is not None
    return short


@pytest.mark.parametrize("seed", [201, 202])
def test_arm_mode_is_found_within_half_a_percent(quad: Any, as_log: Any, seed: int) -> None:
    """With all arms at 230 Hz and damping 2.5 %, both diagonals say so; two modes are not claimed."""
    log = as_log(simulate_flight(quad, 40.0, seed, arm_hz=(230.0,) * 4))
    short = spectra(log, quad)
    assert short.masked is not None
    for k in (0, 1):
        mode = arm_mode(short.f, short.masked[:, k], short.seen)
        assert mode is not None
        assert mode.f == pytest.approx(230.0, rel=0.005)
        assert mode.damping == pytest.approx(0.025, rel=0.2)
        assert abs(mode.f - 230.0) < 4 * mode.f_error
        assert not mode.pair


def test_a_tenth_less_stiffness_of_one_arm_is_seen(quad: Any, as_log: Any) -> None:
    """Rear right at 218.2 Hz: its diagonal drops and splits, the other stays."""
    log = as_log(simulate_flight(quad, 40.0, 203, arm_hz=(230.0, 230.0, 230.0, 218.2)))
    short = spectra(log, quad)
    assert short.masked is not None
    bad, good = (arm_mode(short.f, short.masked[:, k], short.seen) for k in (0, 1))
    assert bad is not None
    assert good is not None
    assert good.f == pytest.approx(230.0, rel=0.005)
    assert bad.f < 230.0 - 10 * bad.f_error
    assert bad.pair[0] == pytest.approx(218.2, rel=0.006)
    assert bad.pair[1] == pytest.approx(230.0, rel=0.006)


def test_masked_density_leaves_no_order_in(quad: Any, as_log: Any) -> None:
    """Twenty times the unbalance changes the masked density of yaw by under a quarter (orders: x 400)."""
    levels = []
    for u in (1.0, 20.0):
        log = as_log(simulate_flight(quad, 16.0, 204, (u,) * 4))
        short = spectra(log, quad)
        assert short.masked is not None
        use = (short.seen > 6) & (short.f > 60) & (short.f < 900)
        levels.append(np.median(short.masked[use, 2]))
    assert levels[1] == pytest.approx(levels[0], rel=0.25)


def test_short_time_density_is_welchs() -> None:
    """The mean density equals scipy's Welch estimate of the same segments."""
    from scipy.signal import welch

    y = np.random.default_rng(2).standard_normal((20000, 3))
    log = make_log(source="x", reader="x", t=np.arange(20000) / 2000.0, gyro=y)
    short = short_time(log, points=1024)
    assert short is not None
    f, density = welch(np.asarray(log.gyro), 2000.0, nperseg=1024, axis=0)
    np.testing.assert_allclose(short.f, f, rtol=1e-12)
    np.testing.assert_allclose(short.density, density, rtol=2e-4)


def test_loose_motor_screws_leave_harmonics(quad: Any, as_log: Any) -> None:
    """Rattling in a clearance shows at two and three times a turn of that motor, and not of the others."""
    calm = analyse(as_log(simulate_flight(quad, 12.0, 205)), quad).features
    made = simulate_flight(quad, 12.0, 205, faults=Faults(gap=(0.0, 60e-6, 0.0, 0.0)))
    loose = analyse(as_log(made), quad).features
    assert calm is not None
    assert loose is not None
    rise = {c: loose.motors[c]["third"] - calm.motors[c]["third"] for c in calm.motors}
    assert rise["fr"] > 1.5
    assert max(v for c, v in rise.items() if c != "fr") < 0.6 * rise["fr"]


def test_bearing_tone_needs_acceleration(quad: Any, as_log: Any) -> None:
    """A worn bearing lifts the tone of its motor in the acceleration; without one no level is given."""
    made = simulate_flight(
        quad, 16.0, 206, faults=Faults(bearing=(0.0, 0.0, 12.0, 0.0)), accelerometer=True
    )  # fmt: skip
    log = as_log(made)
    assert log.speed_t is not None
    shafts = Shafts.of(log.speed_t, log.speed, 0.008)
    level = ball_level(log, shafts)
    assert level is not None
    assert int(np.argmax(level)) == 2
    assert ball_level(replace(log, acc=None, acc_t=None), shafts) is None
    report = analyse(replace(log, acc=None, acc_t=None), quad)
    assert report.verdict is not None
    assert any(line.startswith("Bearings:") for line in report.verdict.cannot)


@settings(max_examples=40, deadline=None)
@given(st.integers(4, 20), st.floats(0.05, 0.6), st.floats(0.0, 0.7))
def test_ball_orders_hang_together(balls: int, ratio: float, angle: float) -> None:
    """Outer and inner race add up to the number of balls; the cage turns at outer / balls."""
    got = ball_orders(balls, ratio, 1.0, angle)
    assert got.outer + got.inner == pytest.approx(balls, rel=1e-12)
    assert got.cage * balls == pytest.approx(got.outer, rel=1e-12)
    assert got.ball > 0


def test_crashes_are_found_and_flying_is_not(quad: Any, as_log: Any) -> None:
    """Three simulated crashes come back in time and order of severity; a flight without has none."""
    blows = (Blow(3.0, 1.0, 8.0), Blow(7.0, 3.0, 12.0), Blow(10.0, 7.0, 15.0))
    made = simulate_flight(quad, 12.0, 207, faults=Faults(blows=blows), accelerometer=True, fs=2000.0)
    found = strikes(as_log(made))
    assert [round(s.at, 1) for s in found] == [3.0, 7.0, 10.0]
    assert [s.severity for s in found] == ["scuff", "hit", "slam"]
    assert found[2].clipped > 0
    assert found[2].velocity == pytest.approx(7.0, rel=0.5)
    assert found[1].velocity == pytest.approx(3.0, rel=0.5)
    calm = as_log(simulate_flight(quad, 12.0, 208, accelerometer=True, fs=2000.0))
    assert strikes(calm) == ()


def test_gyro_alone_sees_hard_crashes_and_says_that_it_is_less_sure(quad: Any, as_log: Any) -> None:
    """Without acceleration a jump of the rates is told, not sure; and the answer says caution."""
    made = simulate_flight(quad, 8.0, 209, faults=Faults(blows=(Blow(4.0, 5.0, 20.0),)), fs=2000.0)
    report = analyse(as_log(made), quad)
    assert [round(s.at) for s in report.strikes] == [4]
    assert not report.strikes[0].sure
    assert report.answer("crashes").verdict == "caution"
