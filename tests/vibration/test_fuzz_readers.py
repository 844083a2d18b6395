from __future__ import annotations

import contextlib
import importlib.util
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal  # noqa: F401 - its first import is slow and would count against the first example
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crashworthy.errors import LogError
from crashworthy.vibration.log import FlightLog
from crashworthy.vibration.readers.csv import CsvReader, guess
from crashworthy.vibration.readers.mapping import Mapping
from crashworthy.vibration.readers.ulog import UlogReader
from crashworthy.vibration.report import analyse

FUZZ = settings(
    max_examples=150,
    deadline=10000,  # a hang, not a busy machine
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
CELL = st.one_of(
    st.floats(width=32).map(str), st.integers(-(10**20), 10**20).map(str), st.text(max_size=6), st.just("")
)
HEAD = st.sampled_from(
    [
        "time",
        "time_us",
        "gyro_x",
        "gyro_y [deg/s]",
        "gyro_z",
        "rpm_1",
        "erpm_2",
        "volts",
        "amps",
        "acc_x",
        "x",
        "",
    ]
)


def only_log_errors(reader: Any, path: Path, content: bytes) -> None:
    """Read and analyse; anything but a log or a LogError is a failure."""
    path.write_bytes(content)
    assert reader.sniff(path) >= 0.0
    log = None
    with contextlib.suppress(LogError):
        log = reader.read(path)
    if log is None:
        return
    assert isinstance(log, FlightLog)
    analyse(log, None).to_json()


@FUZZ
@given(st.binary(max_size=2000))
def test_csv_random_bytes(tmp_path: Path, content: bytes) -> None:
    """Any bytes as CSV: a log or a LogError."""
    only_log_errors(CsvReader(), tmp_path / "a.csv", content)


@FUZZ
@given(
    st.lists(HEAD, min_size=1, max_size=6),
    st.lists(st.lists(CELL, min_size=1, max_size=6), max_size=12),
    st.sampled_from([",", ";", "\t", " "]),
)
def test_csv_wild_tables(tmp_path: Path, head: list[str], rows: list[list[str]], sep: str) -> None:
    """Any table of cells: a log or a LogError, for reading and for guessing."""
    path = tmp_path / "a.csv"
    content = "\n".join(sep.join(r) for r in [head, *rows]).encode("utf-8", "replace")
    only_log_errors(CsvReader(), path, content)
    if content:
        with contextlib.suppress(LogError):
            guess(path).to_json()


@FUZZ
@given(st.data())
def test_csv_mutated_flight(tmp_path: Path, data: st.DataObject) -> None:
    """A good table with bytes changed, cut or repeated: a log or a LogError."""
    t = np.arange(120) / 1000.0
    rows = [f"{x:.4f},{10 * np.sin(x * 900):.2f},1,2,18000,{24 - x:.3f},{30 + x:.2f}" for x in t]
    good = "time,gyro_x,gyro_y,gyro_z,rpm_1,volts,amps\n" + "\n".join(rows) + "\n"
    only_log_errors(CsvReader(), tmp_path / "a.csv", mutate(data, good.encode()))


def mutate(data: st.DataObject, content: bytes) -> bytes:
    """Change, cut or repeat a few stretches."""
    out = bytearray(content)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, max(len(out) - 1, 0)))
        kind = data.draw(st.integers(0, 3))
        if kind == 0:
            out[at : at + 1] = data.draw(st.binary(min_size=1, max_size=4))
        elif kind == 1:
            del out[at : at + data.draw(st.integers(1, 200))]
        elif kind == 2:
            out[at:at] = out[at : at + 60]
        else:
            del out[at:]
    return bytes(out)


@pytest.fixture(scope="module")
def good_ulog(write_ulog: Any, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A small sound log."""
    t = np.arange(60) / 250.0 * 1e6
    z = 0 * t
    path = tmp_path_factory.mktemp("u") / "good.ulg"
    write_ulog(
        path,
        [
            "sensor_combined:uint64_t timestamp;float[3] gyro_rad;float[3] accelerometer_m_s2;",
            "battery_status:uint64_t timestamp;float voltage_v;float current_a;",
        ],
        [
            ("sensor_combined", 0, np.column_stack([t, z, z, z + 1, z, z, z])),
            ("battery_status", 0, np.column_stack([t, z + 24, z + 30])),
        ],
        (5,),
    )
    return path.read_bytes()


@FUZZ
@given(data=st.data())
def test_ulog_mutated_flight(tmp_path: Path, good_ulog: bytes, data: st.DataObject) -> None:
    """A good binary log with bytes changed, cut or repeated: a log or a LogError."""
    only_log_errors(UlogReader(), tmp_path / "a.ulg", mutate(data, good_ulog))


@FUZZ
@given(st.binary(max_size=600))
def test_ulog_random_bytes(tmp_path: Path, content: bytes) -> None:
    """The magic number followed by any bytes: a log or a LogError."""
    only_log_errors(UlogReader(), tmp_path / "a.ulg", b"ULog\x01\x12\x35\x01" + bytes(8) + content)
    only_log_errors(UlogReader(), tmp_path / "a.ulg", content)


@FUZZ
@given(
    st.recursive(
        st.none() | st.floats() | st.text(max_size=5),
        lambda x: st.dictionaries(st.text(max_size=8), x, max_size=3) | st.lists(x, max_size=3),
        max_leaves=8,
    )
)
def test_mapping_any_value(value: object) -> None:
    """Any JSON value as mapping: a mapping or a LogError."""
    for data in (value, {"columns": value}, {"columns": {"a": value}}):
        with contextlib.suppress(LogError):
            assert Mapping.from_dict(data).columns


def fuzzer() -> Any:
    """The maintainers' tool, of which this runs a small slice."""
    path = Path(__file__).parents[2] / "tools" / "fuzz_readers.py"
    spec = importlib.util.spec_from_file_location("fuzz_readers", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz_readers"] = module  # its dataclass looks itself up
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("kind", ["csv", "ulog", "recorder", "sound"])
def test_damaged_files_of_every_kind(kind: str, tmp_path: Path) -> None:
    """Two hundred damaged files a reader: the documented error or a log, within ten seconds each."""
    tally = fuzzer().fuzz(kind, 200, 7, tmp_path)
    assert tally.failed == []
    assert tally.read > 20
    assert tally.refused > 20
