"""Orders beside a second library: least squares in blocks against a Vold-Kalman filter of other hands."""

from __future__ import annotations

import numpy as np
import pytest
from rota.extract import order_waveform

from crashworthy.vibration.log import make_log
from crashworthy.vibration.orders import Shafts, order_tracks


def test_orders_of_four_shafts_as_another_library_finds_them() -> None:
    """Four manoeuvring shafts: both find the amplitudes put in within 6 %, and agree within 6 %."""
    fs, seconds = 2000.0, 10.0
    t = np.arange(round(fs * seconds)) / fs
    common = 240.0 + 30.0 * np.sin(2 * np.pi * 0.3 * t)
    speed = common[:, None] + np.array([-12.0, -4.0, 5.0, 13.0])
    angle = 2 * np.pi * np.cumsum(speed, axis=0) / fs
    true = np.array([1.0, 2.0, 3.0, 0.5])
    rng = np.random.default_rng(6)
    y = (true * np.cos(angle + rng.uniform(0, 6, 4))).sum(axis=1) + 0.2 * rng.standard_normal(len(t))
    components = order_waveform(y, fs, 60.0 * speed, [1.0] * 4, bandwidth=2.0, shafts=[0, 1, 2, 3])
    inner = slice(round(fs), -round(fs))
    other = np.median(np.abs(components.envelopes[inner]), axis=0)
    log = make_log(source="x", reader="x", t=t, gyro=np.column_stack([y, y, y]))
    tracks = order_tracks(log, Shafts.of(t[::10], speed[::10]), [1.0])
    ours = np.median(np.abs(tracks.amplitude[:, :, 0, 0]), axis=0)
    assert ours == pytest.approx(true, rel=0.06)
    assert other == pytest.approx(true, rel=0.06)
    assert ours == pytest.approx(other, rel=0.06)
