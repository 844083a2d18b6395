from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.demo.flight import SimulatedFlight
from crashworthy.vibration.answers import LogReport
from crashworthy.vibration.pack import pack_resistance, why_not
from crashworthy.vibration.readers import read_log
from crashworthy.vibration.report import analyse


def test_resistance_of_the_simulated_pack(report: LogReport, flight: SimulatedFlight) -> None:
    """30 mΩ come back within 4 % from a short flight, with charge and lowest voltage."""
    assert report.pack is not None
    assert report.pack.r0 == pytest.approx(flight.truth.r0, rel=0.04)
    i = flight.columns["amps [A]"]
    used = np.nanmean(i) * 12.0 / 3.6
    assert report.pack.used == pytest.approx(used, rel=0.02)
    assert report.pack.lowest == pytest.approx(np.nanmin(flight.columns["volts [V]"]), abs=1e-3)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.005, 0.2), st.integers(0, 1000))
def test_resistance_is_found_whatever_it_is(r0: float, seed: int) -> None:
    """A pack of 5 to 200 mΩ comes back within 3 %, and the stated error holds."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, 60, 0.02)
    i = 30 + 15 * np.sin(2 * np.pi * t / 3.1 + seed) + 10 * np.sin(2 * np.pi * t / 0.9)
    v = 25 - 0.01 * t - r0 * i + 0.005 * rng.standard_normal(len(t))
    found = pack_resistance(t, v, i)
    assert found.r0 == pytest.approx(r0, rel=0.03, abs=3e-4)
    assert abs(found.r0 - r0) < 6 * found.error + 1e-6
    assert found.residual == pytest.approx(0.005, rel=0.2)


def test_steady_current_says_nothing() -> None:
    """A current that hardly changes, or a handful of readings, is refused with a reason."""
    t = np.arange(0, 60, 0.02)
    assert "hardly changes" in why_not(t, 30 + 0.1 * np.sin(t))[0]
    assert "readings" in why_not(t[:20], 30 + 10 * np.sin(t[:20]))[0]


def test_log_without_gyro_still_tells_the_pack(tmp_path: object) -> None:
    """Voltage and current alone give resistance; everything else says what was not logged."""
    path = tmp_path / "pack.csv"  # type: ignore[operator] # a Path
    t = np.arange(0, 40, 0.05)
    i = 30 + 15 * np.sin(2 * np.pi * t / 3.1)
    path.write_text(
        "time [s],volts [V],amps [A]\n"
        + "".join(f"{a:.3f},{24 - 0.03 * b - 0.002 * a:.4f},{b:.3f}\n" for a, b in zip(t, i, strict=True))
    )
    report = analyse(read_log(path), None)
    assert report.answer("pack").value == pytest.approx(30.0, rel=0.01)
    assert report.summary().startswith("Pack resistance 30.0")
    for question in ("unbalance", "spectrum", "dose", "blade pass"):
        assert report.answer(question).verdict == "not logged"
        assert "no gyro" in report.answer(question).why
