from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from crashworthy.errors import LogError
from crashworthy.vibration.readers import read_flights, read_log
from crashworthy.vibration.readers.recorder import RecorderReader


@pytest.fixture(scope="module")
def writer(write_recorder: Any) -> Any:
    """The encoder of the format."""
    return write_recorder


def test_every_quantity_comes_back(writer: Any, tmp_path: Path) -> None:
    """What the encoder wrote is read: rates, acceleration, speed, command, voltage and current, in SI."""
    rows = writer.flight_rows(2.0)
    path = tmp_path / "a.bin"
    path.write_bytes(writer.recording(rows))
    log = read_log(path)
    assert log.meta.reader == "recorder"
    assert log.fs == pytest.approx(1000.0)
    assert log.gyro is not None
    assert log.acc is not None
    assert np.degrees(log.gyro) == pytest.approx(rows[:, 1:4], abs=1e-4)
    assert log.acc == pytest.approx(rows[:, 4:7] / 2048 * 9.80665, abs=1e-4)
    assert log.speed is not None
    assert log.speed[0] == pytest.approx(rows[0, 11:15] * 100 / 60 / 7)
    assert log.command is not None
    assert log.command[-1] == pytest.approx((rows[-1, 7:11] - 48) / 1999)
    assert log.volts is not None
    assert log.volts[0] == pytest.approx(rows[0, 15] / 100)
    assert log.amps is not None
    assert log.amps[-1] == pytest.approx(rows[-1, 16] / 100)
    assert log.meta.notes == ()


def test_several_recordings_are_several_flights(writer: Any, tmp_path: Path) -> None:
    """Each recording of a file is a flight of its own, whatever their clocks say."""
    path = tmp_path / "a.bin"
    parts = [writer.flight_rows(s, seed=k) for k, s in enumerate((2.0, 3.0, 1.5))]
    path.write_bytes(b"".join(writer.recording(p) for p in parts) + b"\xff" * 500)
    found = read_flights(path)
    assert [round(log.duration, 1) for log in found] == [2.0, 3.0, 1.5]
    assert [log.meta.flight for log in found] == [1, 2, 3]


def test_cut_file_is_read_up_to_the_cut(writer: Any, tmp_path: Path) -> None:
    """A file cut inside a frame gives every whole frame before, and says at which byte it was cut."""
    path = tmp_path / "a.bin"
    whole = writer.recording(writer.flight_rows(2.0), end=False)
    path.write_bytes(whole[:-9])
    log = read_log(path)
    assert 1995 <= len(log.t) < 2000
    assert any(f"cut at byte {len(whole) - 9}" in n for n in log.meta.notes)


def test_damage_in_the_middle_costs_a_stretch(writer: Any, tmp_path: Path) -> None:
    """Bytes overwritten cost frames up to the next whole one; the notes say how many and where."""
    path = tmp_path / "a.bin"
    rows = writer.flight_rows(3.0)
    data = bytearray(writer.recording(rows))
    middle = len(data) // 2
    data[middle : middle + 60] = b"\x03" * 60
    path.write_bytes(data)
    log = read_log(path)
    assert log.gyro is not None
    assert 2900 < len(log.t) < 3000
    near = np.rint(log.t * 1000).astype(int)
    wrong = np.abs(np.degrees(log.gyro) - rows[near, 1:4]).max(axis=1) > 0.01
    assert wrong.sum() <= 32
    assert any("damaged" in n and "near byte" in n for n in log.meta.notes)


def test_recording_with_a_broken_header_does_not_hide_the_next(writer: Any, tmp_path: Path) -> None:
    """The second recording is read though the first one's header makes no sense; both are told."""
    path = tmp_path / "a.bin"
    bad = writer.recording(writer.flight_rows(1.0), extra={"P interval": "0/1"})
    path.write_bytes(bad + writer.recording(writer.flight_rows(2.0)))
    log = read_log(path)
    assert log.duration == pytest.approx(2.0, abs=0.01)
    assert any("byte 0" in n and "makes no sense" in n for n in log.meta.notes)
    path.write_bytes(bad)
    with pytest.raises(LogError, match="makes no sense"):
        read_log(path)


@pytest.mark.parametrize(
    ("extra", "what"),
    [
        ({"Field P encoding": ",".join(["10"] * 18)}, "encoding 10 of P frames cannot be decoded"),
        ({"Field I predictor": "0,0"}, "header is damaged"),
        ({"Field I name": "a"}, "names no fields"),
        ({"I interval": "nonsense"}, "makes no sense"),
    ],
)
def test_headers_that_cannot_be_used(writer: Any, tmp_path: Path, extra: dict[str, str], what: str) -> None:
    """A header that cannot be decoded is refused in words before the library sees it."""
    path = tmp_path / "a.bin"
    path.write_bytes(writer.recording(writer.flight_rows(1.0), extra=extra))
    with pytest.raises(LogError, match=what):
        read_log(path)


def test_without_the_library_the_command_is_told(
    writer: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the extra the error says exactly what to run."""
    path = tmp_path / "a.bin"
    path.write_bytes(writer.recording(writer.flight_rows(1.0)))
    monkeypatch.setitem(sys.modules, "orangebox", None)
    with pytest.raises(LogError, match=r'pip install "crashworthy\[recorder\]"'):
        read_log(path)


def test_other_files_are_not_taken_for_recordings(tmp_path: Path) -> None:
    """A table or random bytes are left to the other readers."""
    path = tmp_path / "a.bin"
    for content in (b"time,gyro_x\n0,1\n", bytes(range(256))):
        path.write_bytes(content)
        assert RecorderReader().sniff(path) == 0.0
