from __future__ import annotations

import struct
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from crashworthy.errors import LogError
from crashworthy.vibration.readers import read_flights, read_log
from crashworthy.vibration.report import analyse

COMBINED = "sensor_combined:uint64_t timestamp;float[3] gyro_rad;float[3] accelerometer_m_s2;"
ESC = "esc_report:uint64_t timestamp;int32_t esc_rpm;"
STATUS = "esc_status:uint64_t timestamp;uint8_t esc_count;esc_report[8] esc;"
BATTERY = "battery_status:uint64_t timestamp;float voltage_v;float current_a;"
FIFO = (
    "sensor_gyro_fifo:uint64_t timestamp;uint64_t timestamp_sample;float dt;float scale;uint8_t samples;"
    "int16_t[8] x;int16_t[8] y;int16_t[8] z;"
)


def combined(n: int = 1000, fs: float = 250.0) -> np.ndarray:
    """Rows of gyro and acceleration."""
    t = np.arange(n) / fs
    return np.column_stack([t * 1e6 + 5e6, np.sin(t), np.cos(t), t, 0 * t, 0 * t, 0 * t - 9.8])


def test_topics_become_one_log(tmp_path: Path, write_ulog: Any) -> None:
    """Gyro, acceleration, speed, voltage and current are read in SI and in the quad's axes."""
    t = np.arange(200) / 50.0 * 1e6 + 5e6
    esc = np.zeros((200, 2 + 16))
    esc[:, 0], esc[:, 1] = t, 4
    for m in range(4):
        esc[:, 2 + 2 * m], esc[:, 3 + 2 * m] = t, 18000 + 60 * m + np.arange(200)
    power = np.column_stack([t, 24 - t * 1e-8, 30 + np.sin(t * 1e-6)])
    path = write_ulog(
        tmp_path / "a.ulg",
        [COMBINED, ESC, STATUS, BATTERY],
        [("sensor_combined", 0, combined()), ("esc_status", 0, esc), ("battery_status", 0, power)],
        (120, 40),
    )
    log = read_log(path)
    assert log.meta.reader == "ulog"
    assert log.fs == pytest.approx(250.0)
    assert log.meta.dropouts == 2
    assert log.gyro is not None
    assert log.acc is not None
    assert log.speed is not None
    assert log.amps is not None
    np.testing.assert_allclose(log.gyro[100], [np.sin(0.4), -np.cos(0.4), -0.4], atol=1e-6)
    np.testing.assert_allclose(log.acc[0], [0, 0, 9.8], atol=1e-5)
    assert log.speed.shape[1] == 4
    np.testing.assert_allclose(log.speed[0], [300, 301, 302, 303], rtol=1e-9)


def test_slow_log_is_called_slow(tmp_path: Path, write_ulog: Any, quad: Any) -> None:
    """A log of 250 samples a second without speeds answers that, with reasons, and never that all is well."""
    path = write_ulog(tmp_path / "a.ulg", [COMBINED], [("sensor_combined", 0, combined())])
    report = analyse(read_log(path), quad)
    assert report.answer("unbalance").verdict == "not logged"
    assert report.answer("dose").verdict == "too slow"
    assert "250 samples/s, needs 1000" in report.answer("dose").text
    assert "no motor speed was logged" in report.summary()
    assert not {"healthy", "fine", "good"} & set(report.summary().lower().split())


def test_batches_are_unpacked_and_fastest_source_taken(tmp_path: Path, write_ulog: Any) -> None:
    """Eight raw samples a message become one even clock; the faster source wins over the slow one."""
    n, fs = 300, 4000.0
    k = np.arange(n * 8)
    raw = np.column_stack([np.round(1000 * np.sin(k / 40)), np.round(500 * np.cos(k / 40)), k % 50]).astype(
        int
    )
    rows = np.zeros((n, 5 + 24))
    last = (np.arange(n) * 8 + 7) / fs * 1e6 + 5e6
    rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3], rows[:, 4] = last + 300, last, 1e6 / fs, 0.001, 8
    for a in range(3):
        rows[:, 5 + 8 * a : 13 + 8 * a] = raw[:, a].reshape(n, 8)
    path = write_ulog(
        tmp_path / "a.ulg",
        [COMBINED, FIFO],
        [("sensor_combined", 0, combined(100)), ("sensor_gyro_fifo", 0, rows)],
    )
    log = read_log(path)
    assert log.fs == pytest.approx(fs, rel=1e-6)
    assert log.gyro is not None
    np.testing.assert_allclose(log.gyro[:, 0], raw[:, 0] * 0.001, atol=1e-6)
    np.testing.assert_allclose(log.gyro[:, 2], -raw[:, 2] * 0.001, atol=1e-6)
    assert any("sensor_gyro_fifo 0" in note for note in log.meta.notes)


def test_missing_extra_says_how_to_install_it(
    tmp_path: Path, write_ulog: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the optional library the message is the command that installs it."""
    path = write_ulog(tmp_path / "a.ulg", [COMBINED], [("sensor_combined", 0, combined(50))])
    monkeypatch.setitem(sys.modules, "pyulog", None)
    with pytest.raises(LogError, match="extra") as caught:
        read_log(path)
    assert caught.value.problems[0].remedy == 'run: python -m pip install "crashworthy[ulog]"'


def test_truncated_file_gives_what_is_there(tmp_path: Path, write_ulog: Any) -> None:
    """Half a file gives half a flight."""
    path = write_ulog(tmp_path / "a.ulg", [COMBINED], [("sensor_combined", 0, combined())])
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert 450 < len(read_log(path).t) < 510


@pytest.mark.parametrize(
    "definitions",
    [
        ["sensor_combined:uint64_t timestamp;sensor_combined[2] again;"],
        ["a:float[60000] x;", "sensor_combined:uint64_t timestamp;a[60000] y;"],
    ],
)
def test_formats_that_unfold_without_end_are_refused(tmp_path: Path, definitions: list[str]) -> None:
    """A format that nests itself, or unfolds to billions of fields, is refused at once."""
    body = b"ULog\x01\x12\x35\x01" + struct.pack("<Q", 0)
    for d in definitions:
        body += struct.pack("<HB", len(d), ord("F")) + d.encode()
    body += struct.pack("<HB", 3 + 15, ord("A")) + struct.pack("<BH", 0, 0) + b"sensor_combined"
    path = tmp_path / "bomb.ulg"
    path.write_bytes(body)
    with pytest.raises(LogError, match="unfolds to more than"):
        read_log(path)


def test_header_alone_is_refused_in_words(tmp_path: Path) -> None:
    """A file that is only its magic number gets a clear message."""
    path = tmp_path / "a.ulg"
    path.write_bytes(b"ULog\x01\x12\x35")
    with pytest.raises(LogError, match="too damaged"):
        read_log(path)


def test_logs_behind_each_other_and_a_cut_one(write_ulog: Any, tmp_path: Path) -> None:
    """Two logs in one file are two flights; where the second is cut is told by its byte."""
    t = np.arange(600) / 250.0 * 1e6
    z = 0 * t
    definition = ["sensor_combined:uint64_t timestamp;float[3] gyro_rad;float[3] accelerometer_m_s2;"]
    rows = np.column_stack([t, np.sin(t * 1e-4), z, z + 1, z, z, z])
    first = write_ulog(tmp_path / "a.ulg", definition, [("sensor_combined", 0, rows)]).read_bytes()
    both = tmp_path / "b.ulg"
    both.write_bytes(first + first[:-200])
    found = read_flights(both)
    assert [log.meta.flight for log in found] == [1, 2]
    assert found[0].duration > found[1].duration > 2.0
    assert not any("damaged" in n for n in found[0].meta.notes)
    assert any("cut at byte" in n for n in found[1].meta.notes)
