from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.demo.flight import simulate_flight
from crashworthy.vibration.airframe import airframe
from crashworthy.vibration.log import FlightLog, make_log
from crashworthy.vibration.orders import alias
from crashworthy.vibration.quality import quality
from crashworthy.vibration.report import analyse


def bare(
    fs: float, hz: float = 300.0, seconds: float = 8.0, updates: float = 100.0, motors: int = 4
) -> FlightLog:
    """Noise of any rate with steady speeds."""
    t = np.arange(round(seconds * fs)) / fs
    slow = np.arange(round(seconds * updates)) / updates
    rng = np.random.default_rng(1)
    return make_log(
        source="x", reader="x", t=t, gyro=rng.standard_normal((len(t), 3)) * 0.1,
        speed_t=slow, speed=hz + rng.standard_normal((len(slow), motors)),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("fs", "question", "verdict"),
    [
        (250, "unbalance", "too slow"), (500, "unbalance", "too slow"), (800, "unbalance", "too slow"),
        (1000, "unbalance", "can"), (1000, "blade pass", "too slow"), (2000, "blade pass", "too slow"),
        (3200, "blade pass", "can"), (500, "dose", "too slow"), (1000, "dose", "can"), (250, "spectrum",
        "can"),
    ],
)  # fmt: skip
def test_rate_rules(quad: Any, fs: float, question: str, verdict: str) -> None:
    """Order 1 needs three samples a turn, blade passing three a blade, dose 1000 a second."""
    rule = quality(bare(fs), airframe(quad))[question]
    assert rule.verdict == verdict
    if verdict == "too slow":
        assert f"{fs:.0f} samples/s, needs" in rule.why
        assert "samples/s or more" in rule.change


@settings(max_examples=60, deadline=None)
@given(st.floats(60.0, 600.0), st.sampled_from([200.0, 250.0, 333.0, 500.0, 1000.0, 2000.0]))
def test_folded_line_is_never_called_computed(hz: float, fs: float) -> None:
    """Whatever the speed, a log in which order 1 would fold is refused."""
    rule = quality(bare(fs, hz, 5.0), None)["unbalance"]
    if alias(hz, fs) < 0.99 * hz:
        assert rule.verdict == "too slow"


@pytest.mark.parametrize(
    ("changes", "question", "words"),
    [
        ({"updates": 10.0}, "unbalance", "10 updates/s, needs 45"),
        ({"motors": 3}, "unbalance", "3 motor speeds were logged, the build has 4"),
        ({"seconds": 3.0}, "unbalance", "3.0 s of flight, needs 4"),
        ({"hz": 10.0}, "unbalance", "hardly turn"),
    ],
)
def test_other_reasons_are_named(quad: Any, changes: dict[str, Any], question: str, words: str) -> None:
    """Slow telemetry, missing motors, a short flight and standing motors each have their own words."""
    rule = quality(bare(2000.0, **changes), airframe(quad))[question]
    assert not rule.can
    assert words in rule.why


def test_slow_flight_with_a_bad_prop_is_not_called_well(quad: Any, tmp_path: Any) -> None:
    """A bent prop in a log of 500 samples a second: "too slow" with both rates, and no figure."""
    from crashworthy.vibration.readers import read_log

    made = simulate_flight(quad, 8.0, 2, (2.0, 2.0, 25.0, 2.0), fs=500.0)
    report = analyse(read_log(made.write_csv(tmp_path / "a.csv")), quad)
    answer = report.answer("unbalance")
    assert answer.verdict == "too slow"
    assert answer.value is None
    assert report.motors == ()
    assert "log too slow: 500 samples/s" in report.summary()
    assert "stands out" not in report.summary()


def test_full_scale_is_noticed(quad: Any) -> None:
    """A gyro that stands at its full scale earns a caution."""
    log = bare(2000.0)
    gyro = np.clip(np.asarray(log.gyro) * 1000, -34.9, 34.9)
    full = make_log(source="x", reader="x", t=log.t, gyro=gyro, speed_t=log.speed_t, speed=log.speed)
    rule = quality(full, airframe(quad))["unbalance"]
    assert rule.verdict == "caution"
    assert "full scale" in rule.why
