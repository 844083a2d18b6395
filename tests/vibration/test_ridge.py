from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from crashworthy.demo.flight import simulate_flight
from crashworthy.vibration.log import FlightLog, make_log
from crashworthy.vibration.report import analyse
from crashworthy.vibration.ridge import ridge
from crashworthy.vibration.shorttime import short_time


@pytest.mark.parametrize(("seed", "fs"), [(31, 4000.0), (32, 2000.0), (33, 1000.0)])
def test_speed_is_read_from_the_spectrum(quad: Any, seed: int, fs: float) -> None:
    """Without telemetry the loudest comb follows one of the motors within 3 Hz, 9 times in 10 within 10."""
    made = simulate_flight(quad, 16.0, seed, (2.0, 8.0, 3.0, 20.0), fs=fs).columns
    t, rows = made["time_us"] * 1e-6, np.isfinite(made["rpm_1"])
    gyro = np.radians(np.column_stack([made[f"gyro_{a} [deg/s]"] for a in "xyz"]))
    short = short_time(make_log(source="x", reader="x", t=t, gyro=gyro))
    assert short is not None
    found = ridge(short)
    assert found is not None
    assert found.sure
    true = [np.interp(found.t, t[rows], made[f"rpm_{m}"][rows] / 60.0) for m in range(1, 5)]
    off = np.abs(np.array(true) - found.f).min(axis=0)
    assert np.median(off) < 3.0
    assert np.quantile(off, 0.9) < 10.0
    assert found.error > np.median(off)


def test_noise_and_a_steady_resonance_are_no_motor() -> None:
    """White noise has no comb; a line that stands still is not called a motor's for sure."""
    rng = np.random.default_rng(4)
    t = np.arange(60_000) / 4000.0
    noise = rng.standard_normal((len(t), 3))
    short = short_time(make_log(source="x", reader="x", t=t, gyro=noise))
    assert short is not None
    assert ridge(short) is None
    still = noise + 3.0 * np.sin(2 * np.pi * 231.0 * t)[:, None]
    short = short_time(make_log(source="x", reader="x", t=t, gyro=still))
    assert short is not None
    found = ridge(short)
    assert found is None or not found.sure


def test_report_says_that_no_motor_can_be_named(log: FlightLog, quad: Any) -> None:
    """A log without speeds and commands: speed from the spectrum, unbalance still not told, orders drawn."""
    bare = replace(log, speed=None, speed_t=None, command=None, command_t=None)
    report = analyse(bare, quad)
    speed = report.answer("speed")
    assert speed.computed
    assert "which motor it is cannot be told" in speed.text
    assert report.speed_source == "spectrum"
    assert not report.answer("unbalance").computed
    assert report.motors == ()
    assert report.campbell is not None
    assert report.campbell.kind == "speed"
    assert report.to_json()["comb"]["median_hz"] == pytest.approx(speed.value, abs=0.1)
