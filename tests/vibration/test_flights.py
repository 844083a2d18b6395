from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from crashworthy.errors import LogError
from crashworthy.vibration.flights import split
from crashworthy.vibration.log import make_log
from crashworthy.vibration.readers import read_flights, read_log


def table(path: Path, *clocks: np.ndarray, speed: np.ndarray | None = None) -> Path:
    """A table of several stretches of rows, each with its own clock."""
    rows = ["time,gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s],rpm_1,rpm_2"]
    at = 0
    for k, clock in enumerate(clocks):
        for x in clock:
            turn = 18000.0 if speed is None else speed[at]
            rows.append(f"{x:.4f},{10 * (k + 1) + np.sin(300 * x):.3f},1,{at % 7},{turn:.0f},{turn:.0f}")
            at += 1
    path.write_text("\n".join(rows) + "\n")
    return path


def test_clock_that_starts_again_begins_a_flight(tmp_path: Path) -> None:
    """Three flights with clocks that start again are three logs, each with its own rows."""
    clocks = [np.arange(n) / 500.0 for n in (900, 2000, 700)]
    found = read_flights(table(tmp_path / "a.csv", *clocks))
    assert [round(log.duration, 1) for log in found] == [1.8, 4.0, 1.4]
    assert [(log.meta.flight, log.meta.flights) for log in found] == [(1, 3), (2, 3), (3, 3)]
    means = [float(np.degrees(log.gyro[:, 0]).mean()) for log in found if log.gyro is not None]
    assert means == pytest.approx([10, 20, 30], abs=0.2)


def test_long_pause_parts_flights_and_a_short_one_does_not(tmp_path: Path) -> None:
    """Nothing logged for four seconds ends a flight; for one second it is a gap."""
    t = np.concatenate(
        [np.arange(1000) / 500.0, np.arange(1000) / 500.0 + 3.0, np.arange(1000) / 500.0 + 9.0]
    )
    found = read_flights(table(tmp_path / "a.csv", t))
    assert [round(log.duration, 1) for log in found] == [5.0, 2.0]
    assert found[1].meta.begins == pytest.approx(9.0, abs=0.01)
    assert found[1].t[0] == 0.0
    assert len(found[0].meta.gaps) == 1


def test_motors_at_rest_part_flights(tmp_path: Path) -> None:
    """Disarmed for five seconds between two runs: two flights; a second of rest does not part them."""
    t = np.arange(6000) / 500.0
    speed = 18000.0 + 900.0 * np.round(np.sin(40 * t), 2)
    speed[1500:4000] = 0.0
    assert len(read_flights(table(tmp_path / "a.csv", t, speed=speed))) == 2
    speed = 18000.0 + 900.0 * np.round(np.sin(40 * t), 2)
    speed[1500:2000] = 0.0
    assert len(read_flights(table(tmp_path / "b.csv", t, speed=speed))) == 1


def test_flight_is_chosen_by_number_else_the_longest(tmp_path: Path) -> None:
    """The number asked for is given; without one the longest, and a note says that there are more."""
    path = table(tmp_path / "a.csv", np.arange(900) / 500.0, np.arange(2000) / 500.0)
    assert read_log(path, flight=1).duration == pytest.approx(1.798, abs=0.01)
    longest = read_log(path)
    assert longest.meta.flight == 2
    assert "2 flights" in longest.meta.notes[0]
    with pytest.raises(LogError, match="there is no flight 3"):
        read_log(path, flight=3)


def test_stray_rows_are_no_flights() -> None:
    """A time that leaps ahead or falls back for one row costs that row, not the rest of the flight."""
    t = np.arange(2000) / 500.0
    y = np.ones((2000, 3)) * np.arange(2000)[:, None]
    t[400] = 1e6
    t[900] = 0.001
    log = make_log(source="x", reader="x", t=t, gyro=y)
    assert len(log.t) == 1998
    assert "2 rows are out of order" in log.meta.notes[0]
    assert split(log) == (log,)


def test_short_parts_are_left_out_and_told(tmp_path: Path) -> None:
    """A blip of half a second between pauses is no flight, and the notes say where it was."""
    t = np.concatenate(
        [np.arange(1000) / 500.0, np.arange(200) / 500.0 + 8.0, np.arange(1000) / 500.0 + 15.0]
    )
    found = read_flights(table(tmp_path / "a.csv", t))
    assert len(found) == 2
    assert any("0.4 s at 8.0 s" in n for n in found[0].meta.notes)
