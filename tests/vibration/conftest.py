"""What the tests of this room share: the small quad, one simulated flight and its report."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from crashworthy.demo.flight import SimulatedFlight, simulate_flight
from crashworthy.vibration.readers import read_log
from crashworthy.vibration.report import analyse

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.vibration.answers import LogReport
    from crashworthy.vibration.log import FlightLog


def beside(name: str) -> Any:
    """Load a helper module that lies beside this file."""
    spec = importlib.util.spec_from_file_location(f"vibration_{name}", Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def make_quad() -> Any:
    """The maker of small quads, by turning sense and order of the motors."""
    return beside("small_quad").small_quad


@pytest.fixture(scope="session")
def quad(make_quad: Any) -> Quad:
    """The small quad, props turning inwards."""
    made: Quad = make_quad()
    return made


@pytest.fixture(scope="session")
def write_ulog() -> Any:
    """The writer of ULog files."""
    return beside("ulog_writer").write_ulog


@pytest.fixture(scope="session")
def write_recorder() -> Any:
    """The writer of flight-recorder files."""
    return beside("recorder_writer")


@pytest.fixture(scope="session")
def flight(quad: Quad) -> SimulatedFlight:
    """Twelve simulated seconds: 2, 8, 3 and 20 g mm, telemetry 12 ms late."""
    return simulate_flight(quad, 12.0, 5, (2.0, 8.0, 3.0, 20.0), speed_lag=0.012)


@pytest.fixture(scope="session")
def flight_csv(flight: SimulatedFlight, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same as a CSV file."""
    return flight.write_csv(tmp_path_factory.mktemp("flight") / "flight.csv")


@pytest.fixture(scope="session")
def log(flight_csv: Path) -> FlightLog:
    """The same, read."""
    return read_log(flight_csv)


@pytest.fixture(scope="session")
def report(log: FlightLog, quad: Quad) -> LogReport:
    """The same, analysed."""
    return analyse(log, quad)
