from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.build.quad import CORNERS
from crashworthy.demo.flight import simulate_flight
from crashworthy.errors import LogError
from crashworthy.vibration.airframe import Airframe, airframe
from crashworthy.vibration.answers import LogReport
from crashworthy.vibration.readers import read_log
from crashworthy.vibration.report import analyse
from crashworthy.vibration.unbalance import GRADES, grade, grade_value, permissible, signatures


def by_corner(report: LogReport) -> dict[str, Any]:
    """Cards by corner."""
    return {m.corner: m for m in report.motors}


def flown(quad: Any, path: Path, seconds: float, seed: int, unbalance: Any, **more: Any) -> LogReport:
    """Simulate, write, read, analyse."""
    return analyse(
        read_log(simulate_flight(quad, seconds, seed, unbalance, **more).write_csv(path / "a.csv")), quad
    )


def test_unbalance_of_each_motor_is_found(report: LogReport) -> None:
    """2, 8, 3 and 20 g mm come back within a tenth and within three stated errors."""
    found = by_corner(report)
    for corner, true in zip(CORNERS, (2.0, 8.0, 3.0, 20.0), strict=True):
        card = found[corner]
        assert card.unbalance == pytest.approx(true, rel=0.1)
        assert abs(card.unbalance - true) < 3 * card.error


@pytest.mark.parametrize("seed", [101, 102, 103])
def test_unbalance_holds_on_other_flights(quad: Any, tmp_path: Path, seed: int) -> None:
    """Unseen flights of 2000 samples a second: within a tenth where it is more than 1 g mm."""
    rng = np.random.default_rng(seed)
    true = tuple(float(x) for x in rng.uniform(1.0, 25.0, 4))
    report = flown(quad, tmp_path, 10.0, seed, true, fs=2000.0)
    for corner, u in zip(CORNERS, true, strict=True):
        assert by_corner(report)[corner].unbalance == pytest.approx(u, rel=0.1)


def test_no_unbalance_reads_as_none(quad: Any, tmp_path: Path) -> None:
    """Perfect props read under 0.2 g mm and nothing stands out."""
    report = flown(quad, tmp_path, 6.0, 7, (0.0, 0.0, 0.0, 0.0))
    assert max(m.unbalance or 0.0 for m in report.motors) < 0.2
    assert "No motor stands out" in report.summary()


def test_equal_speeds_are_not_separable(quad: Any, tmp_path: Path) -> None:
    """Four motors at one speed: said to be not separable, with what would help, and no figure."""
    report = flown(quad, tmp_path, 8.0, 3, (2.0, 8.0, 3.0, 20.0), spread_hz=0.0, speed_noise_hz=0.0)
    assert [m.verdict for m in report.motors] == ["not separable"] * 4
    assert all(m.unbalance is None for m in report.motors)
    assert report.answer("unbalance").verdict == "not separable"
    assert "throttle" in report.motors[0].change


def test_error_grows_as_speeds_come_together(quad: Any, tmp_path: Path) -> None:
    """Motors 1 Hz apart have a larger stated error, or fewer blocks, than motors 8 Hz apart."""
    far = flown(quad, tmp_path, 8.0, 4, (2.0, 8.0, 3.0, 20.0), fs=2000.0)
    near = flown(quad, tmp_path, 8.0, 4, (2.0, 8.0, 3.0, 20.0), fs=2000.0, spread_hz=1.0)
    for corner in CORNERS:
        a, b = by_corner(far)[corner], by_corner(near)[corner]
        assert b.inflation > a.inflation
        assert b.blocks < a.blocks


def test_bent_prop_shows_as_track(quad: Any, tmp_path: Path) -> None:
    """A once-a-turn force along one shaft is given to that motor, and leaves unbalance alone."""
    report = flown(
        quad, tmp_path, 10.0, 6, (3.0, 3.0, 3.0, 3.0), track_n=(0.0, 1.0, 0.0, 0.0), arm_hz=(900.0,) * 4
    )
    found = by_corner(report)
    assert found["fr"].track == pytest.approx(1.0, rel=0.25)
    assert max(found[c].track for c in ("fl", "rl", "rr")) < 0.3 * found["fr"].track
    for c in CORNERS:
        assert found[c].unbalance == pytest.approx(3.0, rel=0.1)


def test_motor_order_and_spin_come_from_the_build(make_quad: Any, flight_csv: Path) -> None:
    """The log's motor order is the sheet's; a wrong turning sense fits the figures worse."""
    order = ("rr", "rl", "fr", "fl")
    moved = by_corner(analyse(read_log(flight_csv), make_quad("in", order)))
    assert moved["fl"].motor == 4
    assert moved["fl"].unbalance == pytest.approx(20.0, rel=0.1)
    with pytest.raises(LogError, match="each corner once"):
        airframe(make_quad("in", ("fl", "fl", "rl", "rr")))


def test_spin_changes_sides(quad: Any, make_quad: Any) -> None:
    """Props out turn the other way at every corner."""
    np.testing.assert_array_equal(airframe(quad).spin, -airframe(make_quad("out")).spin)
    assert airframe(quad).spin.tolist() == [-1.0, 1.0, 1.0, -1.0]


def test_low_pass_is_divided_out(quad: Any, tmp_path: Path) -> None:
    """With the gyro's second-order cut-off given, unbalance returns; without, it reads low."""
    made = simulate_flight(quad, 8.0, 9, (10.0, 10.0, 10.0, 10.0), fs=2000.0, low_pass_hz=300.0)
    log = read_log(made.write_csv(tmp_path / "a.csv"))
    plain = np.mean([m.unbalance or 0.0 for m in analyse(log, quad).motors])
    known = analyse(log, quad, cutoff_hz=300.0, cutoff_order=2)
    assert plain < 8.5
    assert np.mean([m.unbalance or 0.0 for m in known.motors]) == pytest.approx(10.0, rel=0.05)
    assert any("low pass leaves only" in n for n in analyse(log, quad, cutoff_hz=250.0).notes)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.5, 3.0), st.integers(0, 3))
def test_signature_scales_with_the_body(k: float, motor: int) -> None:
    """Twice the inertia halves the rate, twice the arm doubles the yaw."""
    a = 0.08
    rotors = np.array([[a, a, 0.01], [a, -a, 0.01], [-a, a, 0.01], [-a, -a, 0.01]])
    frame = Airframe(np.diag([3e-3, 4e-3, 6e-3]), rotors, np.ones(4), ("fl", "fr", "rl", "rr"), np.ones(4))
    base = signatures(frame)[motor]
    np.testing.assert_allclose(
        signatures(replace(frame, inertia=frame.inertia * k))[motor], base / k, rtol=1e-12
    )
    wide = signatures(replace(frame, rotors=frame.rotors * [k, k, 1.0]))[motor]
    np.testing.assert_allclose(wide[0, 2], base[0, 2] * k, rtol=1e-12)
    np.testing.assert_allclose(wide[0, :2], base[0, :2], rtol=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 1.0), st.floats(1000.0, 40000.0), st.sampled_from(GRADES))
def test_grade_is_the_inverse_of_permissible(mass: float, rpm: float, g: float) -> None:
    """A rotor with exactly the permissible unbalance has exactly that grade."""
    u = permissible(g, mass, rpm)
    assert grade_value(u, mass, rpm) == pytest.approx(g, rel=1e-12)
    assert grade(g * 0.999) == f"G{g:g}"
    assert grade(5386.0) == "over G4000"
