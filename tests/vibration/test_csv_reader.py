from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from crashworthy.errors import LogError
from crashworthy.quantities import DEG, G_N
from crashworthy.vibration.readers import Mapping, read_log
from crashworthy.vibration.readers.csv import guess
from crashworthy.vibration.readers.mapping import name_guess, unit_guess


def table(path: Path, header: str, rows: list[str], sep: str = "\n") -> Path:
    """Write a header and rows."""
    path.write_text(sep.join([header, *rows]) + sep, encoding="utf-8", newline="")
    return path


def gyro_rows(
    n: int = 400, fs: float = 1000.0, form: str = "{t:.6f},{x:.3f},{y:.3f},{z:.3f}", k: float = 100.0
) -> list[str]:
    """Rows of a clock (t in s, m in ms, u in microseconds) and three rates."""
    return [
        form.format(
            t=i / fs, u=round(i / fs * 1e6), m=i / fs * 1e3, x=k * np.sin(i), y=k * np.cos(i), z=0.5 * k
        )
        for i in range(n)
    ]


@pytest.mark.parametrize(
    ("header", "quantity"),
    [
        ("time_us", "time"), ("timestamp", "time"), ("t", "time"), ("Time (s)", "time"),
        ("time [ms]", "time"),
        ("gyro_x [deg/s]", "gyro_x"), ("gyroX(rad/s)", "gyro_x"), ("gyro[2]", "gyro_z"),
        ("gyro_rad[0]", "gyro_x"),
        ("rate_pitch", "gyro_y"), ("p", "gyro_x"), ("wz", "gyro_z"), ("omega_y", "gyro_y"),
        ("acc_x [g]", "acc_x"), ("accel[1]", "acc_y"), ("az", "acc_z"), ("acceleration_z_m/s2", "acc_z"),
        ("rpm_1", "speed_#1"), ("erpm[0]", "speed_#0"), ("motor2_rpm", "speed_#2"),
        ("esc[3].esc_rpm", "speed_#3"),
        ("speed_fl [Hz]", "speed_1"), ("rpm_rr", "speed_4"),
        ("motor[0]", "command_#0"), ("command_3", "command_#3"), ("throttle_rl", "command_3"),
        ("vbat", "volts"), ("voltage (V)", "volts"), ("current_a", "amps"), ("amperage", "amps"),
        ("setpoint[0]", "ignore"), ("latitude", "ignore"), ("motor_temperature", "ignore"),
        ("rssi", "ignore"),
    ],
)  # fmt: skip
def test_headers_are_recognised(header: str, quantity: str) -> None:
    """Common headers mean what a person would say they mean."""
    assert name_guess(header)[0] == quantity


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("gyro_x [deg/s]", "deg/s"),
        ("gyroX(rad/s)", "rad/s"),
        ("time_us", "us"),
        ("Time (ms)", "ms"),
        ("volts [V]", "V"),
        ("rpm_1", ""),
    ],
)
def test_units_in_headers_are_recognised(header: str, unit: str) -> None:
    """A unit in brackets or as last word is taken."""
    assert unit_guess(header) == unit


@pytest.mark.parametrize(
    ("sep", "form", "header"),
    [
        (",", "{t:.6f},{x:.3f},{y:.3f},{z:.3f}", "time [s],gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s]"),
        (";", "{t:.6f};{x:.3f};{y:.3f};{z:.3f}", "time;gyro_x;gyro_y;gyro_z"),
        ("\t", "{u}\t{x:.3f}\t{y:.3f}\t{z:.3f}", "time_us\tgyro_x\tgyro_y\tgyro_z"),
        (" ", "{m:.3f}   {x:.3f} {y:.3f}  {z:.3f}", "time_ms gyro_x gyro_y gyro_z"),
        ("|", "{u}|{x:.3f}|{y:.3f}|{z:.3f}", "t|p|q|r"),
        ("quoted", '"{u}","{x:.3f}","{y:.3f}","{z:.3f}"', '"time","gyro[0]","gyro[1]","gyro[2]"'),
        ("hash header", "{t:.6f} {x:.3f} {y:.3f} {z:.3f}", "# time gyro_x gyro_y gyro_z"),
    ],
)
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_any_delimiter_clock_and_line_end(
    tmp_path: Path, sep: str, form: str, header: str, ending: str
) -> None:
    """The same flight comes out of commas, semicolons, tabs, blanks and any clock or line end."""
    log = read_log(table(tmp_path / f"{len(sep)}.txt", header, gyro_rows(form=form), ending))
    assert log.fs == pytest.approx(1000.0, rel=1e-6)
    assert log.gyro is not None
    assert len(log.t) == 400
    np.testing.assert_allclose(log.gyro[:, 0], 100 * np.sin(np.arange(400)) * DEG, atol=1e-4)


def test_decimal_commas(tmp_path: Path) -> None:
    """1,5 is one and a half when semicolons part the columns."""
    rows = [r.replace(".", ",") for r in gyro_rows(form="{t:.6f};{x:.3f};{y:.3f};{z:.3f}")]
    log = read_log(table(tmp_path / "a.csv", "time;gyro_x;gyro_y;gyro_z", rows))
    assert log.gyro is not None
    np.testing.assert_allclose(log.gyro[:, 1], 100 * np.cos(np.arange(400)) * DEG, atol=1e-4)


def test_degrees_and_radians_are_told_by_range(tmp_path: Path) -> None:
    """Without a unit, a gyro that never passes 40 is in rad/s, a livelier one in deg/s."""
    for k, factor, unit in ((5.0, 1.0, "rad/s"), (200.0, DEG, "deg/s")):
        path = table(tmp_path / f"{k}.csv", "time,gyro_x,gyro_y,gyro_z", gyro_rows(k=k))
        log = read_log(path)
        assert log.gyro is not None
        assert log.gyro[7, 2] == pytest.approx(0.5 * k * factor, rel=1e-5)
        row = next(r for r in guess(path).rows if r.quantity == "gyro_x")
        assert row.unit == unit
        assert "percentile" in row.why


def test_preamble_and_comments_are_skipped(tmp_path: Path) -> None:
    """Lines of words above the table and comments within it do no harm."""
    head = '# made by a logger\n"craft","x"\n"firmware date","2026"\ntime,gyro_x,gyro_y,gyro_z'
    rows = gyro_rows()
    rows[200:200] = ["# a remark"]
    assert len(read_log(table(tmp_path / "a.csv", head, rows)).t) == 400


def test_blank_cells_are_slow_quantities(tmp_path: Path) -> None:
    """A quantity that stands in every tenth row only is read at those rows."""
    rows = [r + (f",{20 + i}" if i % 10 == 0 else ",") for i, r in enumerate(gyro_rows())]
    log = read_log(table(tmp_path / "a.csv", "time,gyro_x,gyro_y,gyro_z,volts [V]", rows))
    assert log.volts is not None
    assert len(log.volts) == 40
    assert log.meta.rates["power"] == pytest.approx(100.0, rel=1e-6)


def test_motors_that_report_in_turn(tmp_path: Path) -> None:
    """One motor a row is joined motor by motor; a motor that never reports is left out."""
    rows = []
    for i in range(400):
        cells = ["", "", "", ""]
        cells[i % 3] = str(18000 + 600 * (i % 3) + i)
        rows.append(f"{i / 100:.3f}," + ",".join(cells))
    log = read_log(table(tmp_path / "a.csv", "time,rpm_1,rpm_2,rpm_3,rpm_4", rows))
    assert log.speed is not None
    assert log.speed.shape[1] == 3
    t = log.speed_t
    for m in range(3):
        np.testing.assert_allclose(log.speed[5:-5, m] * 60, 18000 + 600 * m + 100 * t[5:-5], atol=1e-6)


def test_electrical_speed_takes_the_pole_pairs(tmp_path: Path) -> None:
    """Electrical turns are divided by the pole pairs given, or by seven with a note that says so."""
    rows = [f"{i / 100:.3f},{126000 + i % 7 * 10}" for i in range(100)]
    path = table(tmp_path / "a.csv", "time,erpm_1", rows)
    for pairs in (6, None):
        log = read_log(path, pole_pairs=pairs)
        assert log.speed is not None
        assert np.median(log.speed) == pytest.approx(126030 / 60 / (pairs or 7), rel=1e-3)
        assert any("assumption" in n for n in log.meta.notes) == (pairs is None)


def test_hundreds_of_electrical_turns_are_seen(tmp_path: Path) -> None:
    """Electrical speed logged in hundreds is scaled up, and the guess table says so."""
    path = table(tmp_path / "a.csv", "time,erpm[0]", [f"{i / 100:.3f},{1260 + i % 7}" for i in range(100)])
    log = read_log(path, pole_pairs=7)
    assert log.speed is not None
    assert np.median(log.speed) == pytest.approx(300.7, rel=1e-3)
    row = guess(path).rows[1]
    assert row.scale == 100.0
    assert "hundreds" in row.why


def test_millisecond_clock_keeps_every_row(tmp_path: Path) -> None:
    """Four rows a millisecond on a clock of whole milliseconds are 4000 samples a second, not 1000."""
    rows = [f"{i // 4},{i % 90},1,{i % 7}" for i in range(4000)]
    log = read_log(table(tmp_path / "a.csv", "time_ms,gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s]", rows))
    assert log.fs == pytest.approx(4000.0, rel=1e-6)
    assert len(log.t) == 4000
    assert any("share each tick" in n for n in log.meta.notes)


def test_axes_and_acceleration_units(tmp_path: Path) -> None:
    """Axes x forward, y right, z down is turned to y left, z up; g becomes m/s²."""
    rows = [f"{i / 500:.4f},10,20,30,0.1,0.2,{-1 + 0.001 * (i % 2)}" for i in range(200)]
    head = "# axes: FRD\ntime,gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s],acc_x [g],acc_y [g],acc_z [g]"
    log = read_log(table(tmp_path / "a.csv", head, rows))
    assert log.gyro is not None
    assert log.acc is not None
    np.testing.assert_allclose(log.gyro[0], np.array([10, -20, -30]) * DEG, rtol=1e-6)
    np.testing.assert_allclose(log.acc[0], np.array([0.1, -0.2, 1.0]) * G_N, rtol=1e-6)


def test_mapping_given_by_file(tmp_path: Path) -> None:
    """Columns that nobody could guess are read by a TOML or a JSON mapping, and survive the round trip."""
    path = table(tmp_path / "odd.csv", "a,b,c,d", gyro_rows())
    with pytest.raises(LogError, match="recognised as the time") as caught:
        read_log(path)
    assert "mapping" in caught.value.problems[0].remedy
    toml = tmp_path / "map.toml"
    toml.write_text(
        '[columns.a]\nquantity="time"\nunit="s"\n[columns.b]\nquantity="gyro_x"\nunit="deg/s"\nscale=-1.0\n'
        '[columns.c]\nquantity="gyro_y"\nunit="deg/s"\n[columns.d]\nquantity="gyro_z"\nunit="deg/s"\n'
    )
    mapping = Mapping.load(toml)
    log = read_log(path, mapping)
    assert log.gyro is not None
    np.testing.assert_allclose(log.gyro[:, 0], -100 * np.sin(np.arange(400)) * DEG, atol=1e-4)
    again = tmp_path / "map.json"
    again.write_text(json.dumps(mapping.to_json()))
    assert Mapping.load(again) == mapping


def test_guess_table_can_be_given_back(flight_csv: Path) -> None:
    """What the guess table shows reads the file just as the guess does."""
    found = guess(flight_csv)
    assert found.summary() == "14 of 14 columns are recognised."
    corrected = Mapping.from_dict(found.to_mapping().to_json())
    a, b = read_log(flight_csv), read_log(flight_csv, corrected)
    np.testing.assert_array_equal(a.gyro, b.gyro)
    json.dumps(found.to_json(), allow_nan=False)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"columns": {"a": {"quantity": "speeed", "unit": "s"}}}, "not known"),
        ({"columns": {"a": {"quantity": "time", "unit": "parsec"}}}, "does not fit"),
        ({"columns": {"a": {"quantity": "time", "unit": "s", "scale": "x"}}}, "not a number"),
        ({"columns": {"a": {"quantity": "gyro_x", "unit": "deg/s"}}}, "no column is the time"),
        ({"axes": "ned", "columns": {"a": {"quantity": "time", "unit": "s"}}}, "axes"),
        ({"columns": {k: {"quantity": "time", "unit": "s"} for k in "ab"}}, "given twice"),
        ([], "no columns"),
    ],
)
def test_bad_mapping_names_field_and_remedy(data: object, words: str) -> None:
    """Each fault of a mapping says where it is and what to write instead."""
    with pytest.raises(LogError, match=words) as caught:
        Mapping.from_dict(data, "map.toml")
    assert all(p.remedy and p.field for p in caught.value.problems)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"\x00\x01\x02" * 100, "no reader knows"),
        (b"hello there\nthis is a letter\n", "no table of numbers"),
        (b"time,gyro_x\n" + b"1" * 200000, "longer than"),
        (
            b"time,gyro_x,gyro_y,gyro_z\n0,nan,nan,nan\n1,nan,nan,nan\n2,nan,nan,nan\n",
            "nothing in it can be used",
        ),
        (b"time,gyro_x,gyro_y,gyro_z\n" + b"0.001,1,2,3\n" * 50, "nothing in it can be used"),
        (b"time,a,b\n0,1,2\n1,2,3\n2,3,4\n", "nothing in it can be used"),
        (b"alpha,beta\n0,1\n1,2\n2,3\n", "recognised as the time"),
    ],
)
def test_bad_files_get_one_clear_message(tmp_path: Path, content: bytes, words: str) -> None:
    """Empty, binary, wordy, endless, blank or frozen files are refused with what to do."""
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    with pytest.raises(LogError, match=words) as caught:
        read_log(path)
    assert caught.value.problems[0].remedy


def test_ragged_rows_are_counted_and_a_ragged_file_refused(tmp_path: Path) -> None:
    """A few torn rows are left out and reported with their line; too many and the file is refused."""
    rows = gyro_rows()
    rows[100] = "0.1,5"
    rows[200] = "0.2,x,y,z"
    log = read_log(table(tmp_path / "a.csv", "time,gyro_x,gyro_y,gyro_z", rows))
    assert log.meta.dropouts == 2
    assert "line 102" in log.meta.notes[0]
    for i in range(10, 400, 3):
        rows[i] = "torn"
    with pytest.raises(LogError, match="ragged") as caught:
        read_log(table(tmp_path / "b.csv", "time,gyro_x,gyro_y,gyro_z", rows))
    assert caught.value.problems[0].line == 12


def test_missing_file_and_folder(tmp_path: Path) -> None:
    """A path that is not a file is told apart from a bad file."""
    with pytest.raises(LogError, match="no such file"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(LogError, match="is a folder"):
        read_log(tmp_path)


def test_mapping_to_a_lost_column(tmp_path: Path) -> None:
    """A mapping made for another file names the columns it misses and those there are."""
    path = table(tmp_path / "a.csv", "time,gyro_x,gyro_y,gyro_z", gyro_rows())
    mapping = Mapping.from_dict({"columns": {"clock": {"quantity": "time", "unit": "s"}}})
    with pytest.raises(LogError, match="no column is called 'clock'") as caught:
        read_log(path, mapping)
    assert "gyro_x" in caught.value.problems[0].remedy


def test_what_comes_before_damage_is_read(tmp_path: Path) -> None:
    """Zero bytes far into a file: the rows before them are read, and the damage is told."""
    rows = "".join(f"{i / 1000:.3f},{i % 7},{i % 5},{i % 3},{i % 11}\n" for i in range(700_000))
    head = "time [s],gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s],volts [V]\n"
    data = bytearray((head + rows).encode())
    assert len(data) > 10_000_000
    data[-2000:-1000] = bytes(1000)
    path = tmp_path / "damaged.csv"
    path.write_bytes(data)
    log = read_log(path)
    assert len(log.t) > 400_000
    assert any("before the damage" in n for n in log.meta.notes)
