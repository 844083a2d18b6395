from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from crashworthy.build.assemble import load
from crashworthy.demo.flight import demo_flight, simulate_flight
from crashworthy.vibration.readers import read_log
from crashworthy.vibration.report import analyse

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module", params=["gannet", "dunlin"])
def craft(request: pytest.FixtureRequest) -> Quad:
    """Each example build: props in with the corners' order, props out with an order of its own."""
    return load(EXAMPLES / f"{request.param}.toml")


def line(y: np.ndarray, t: np.ndarray, f: float) -> float:
    """Amplitude of one line by a direct sum."""
    w = np.hanning(len(t))
    return float(2 * abs((w * (y - y.mean()) * np.exp(-2j * np.pi * f * t)).sum()) / w.sum())


def test_yaw_line_is_what_mechanics_says(craft: Quad) -> None:
    """One unbalanced motor at a steady 300 Hz shakes yaw by U ω r / Izz, within 1 %."""
    made = simulate_flight(
        craft, 3.0, 1, (20.0, 0.0, 0.0, 0.0), base_hz=300.0, sweep_hz=0.0, spread_hz=0.0,
        rough_n=0.0, blade_n=0.0, noise_dps=0.0, jitter=0.0, fs=8000.0,
    )  # fmt: skip
    hub = craft.parts[craft.arms[0].prop].centre - craft.mass_properties.cog
    # Full inverse: the tensor of a real build has small products of inertia.
    w = 2 * np.pi * 300.0
    f = 20e-6 * w**2 * np.array([1.0, -1j * made.truth.spin[0], 0.0])
    rate = np.linalg.solve(craft.mass_properties.inertia, np.cross(hub, f)) / (1j * w)
    t = np.arange(24000) / 8000.0
    got = line(made.columns["gyro_z [deg/s]"][8000:], t[8000:], 300.0)
    assert got == pytest.approx(np.degrees(abs(rate[2])), rel=0.01)


def test_same_seed_same_flight(craft: Quad) -> None:
    """A flight is settled by its seed."""
    a, b, c = (simulate_flight(craft, 1.0, s) for s in (4, 4, 5))
    for name in a.columns:
        np.testing.assert_array_equal(a.columns[name], b.columns[name])
    assert not np.array_equal(a.columns["gyro_z [deg/s]"], c.columns["gyro_z [deg/s]"])


def test_file_says_that_it_is_invented(craft: Quad, tmp_path: Path) -> None:
    """The first line says invented; slow quantities leave blanks; nothing is lost in writing."""
    made = simulate_flight(craft, 1.0, 4)
    text = made.write_csv(tmp_path / "a.csv").read_text(encoding="utf-8").splitlines()
    assert text[0].startswith("# simulated, invented")
    assert len(text) == 4003
    assert text[4].endswith(",,,")
    log = read_log(tmp_path / "a.csv")
    assert log.meta.invented
    assert log.gyro is not None
    np.testing.assert_allclose(np.degrees(log.gyro[:, 0]), made.columns["gyro_x [deg/s]"], atol=0.006)


def test_battery_sags_by_its_resistances(craft: Quad) -> None:
    """Voltage stays between empty and full cells, falls with current, and falls as charge is drawn."""
    made = simulate_flight(craft, 30.0, 2, fs=500.0)
    v, i = made.columns["volts [V]"], made.columns["amps [A]"]
    rows = np.isfinite(v)
    assert 6 * 3.3 < v[rows].min() < v[rows].max() < 6 * 4.2
    assert np.corrcoef(v[rows], i[rows])[0, 1] < -0.5
    assert v[rows][-100:].mean() < v[rows][:100].mean()


def test_demo_flight_is_read_right_on_both_builds(craft: Quad, tmp_path: Path) -> None:
    """The demo's bad prop is found at the rear left, whatever the turning sense and motor order."""
    report = analyse(read_log(demo_flight(craft).write_csv(tmp_path / "a.csv")), craft)
    assert [m.corner for m in report.motors if m.verdict == "stands out"] == ["rl"]
    assert report.motors[0].unbalance == pytest.approx(14.0, rel=0.1)
    found = {m.corner: m.unbalance for m in report.motors}
    for corner, true in zip(("fl", "fr", "rr"), (2.0, 2.8, 2.4), strict=True):
        assert found[corner] == pytest.approx(true, rel=0.1)
