from __future__ import annotations

import json
import time
from typing import Any

import numpy as np
import pytest

from crashworthy.demo.flight import demo_flight, simulate_flight
from crashworthy.vibration.answers import LogReport
from crashworthy.vibration.log import FlightLog
from crashworthy.vibration.quality import QUESTIONS
from crashworthy.vibration.readers import read_log
from crashworthy.vibration.report import analyse


def test_finding_comes_first_with_numbers(report: LogReport) -> None:
    """The sentence names the corner, the figure with its error, and what to look at."""
    assert report.summary().startswith("Rear right: apparent unbalance 20.")
    assert "g mm" in report.summary()
    assert "prop" in report.summary()
    assert report.motors[0].verdict == "stands out"
    assert report.motors[0].corner == "rr"


def test_every_question_has_an_answer_with_reason(report: LogReport) -> None:
    """Each question is answered or refused, with why and what would change it."""
    # Speed from the spectrum is asked only where none was logged.
    assert {a.question for a in report.answers} == set(QUESTIONS) - {"speed"}
    for a in report.answers:
        assert a.text
        assert a.why
        assert a.change
        assert a.computed == (a.value is not None)


def test_report_is_plain_json_of_moderate_size(report: LogReport) -> None:
    """A page or a machine can take it: no nan, under 200 kB."""
    text = json.dumps(report.to_json(), allow_nan=False)
    assert len(text) < 200_000
    again = json.loads(text)
    assert again["summary"] == report.summary()
    assert len(again["spectrum"]["f_hz"]) == len(again["spectrum"]["yaw"]) <= 400


def test_without_a_build_the_rest_is_computed(log: FlightLog) -> None:
    """No quad: spectrum, blade passing and pack are there; unbalance and dose say that a build is needed."""
    report = analyse(log, None)
    assert report.answer("unbalance").verdict == "no build"
    assert report.answer("dose").verdict == "no build"
    assert report.answer("blade pass").computed
    assert report.answer("spectrum").computed
    assert report.answer("pack").computed


def test_demo_flight_names_the_rear_left_prop(quad: Any, tmp_path: Any) -> None:
    """The demo's chipped prop is found at the rear left, the file is small and says that it is simulated."""
    path = demo_flight(quad).write_csv(tmp_path / "demo.csv")
    assert path.stat().st_size < 5e6
    report = analyse(read_log(path), quad)
    assert report.summary().startswith("Rear left: apparent unbalance 1")
    assert [m.corner for m in report.motors if m.verdict == "stands out"] == ["rl"]
    assert "simulated" in report.notes[0]


def test_blade_passing_follows_the_truth(quad: Any, tmp_path: Any) -> None:
    """Twice the blade-passing force gives twice the figure."""
    got = []
    for force in (8.0, 16.0):  # well above the noise of 6 s
        made = simulate_flight(quad, 6.0, 8, blade_n=force, base_hz=250.0, sweep_hz=40.0, rough_n=0.5)
        answer = analyse(read_log(made.write_csv(tmp_path / "a.csv")), quad).answer("blade pass")
        assert answer.value is not None
        got.append(answer.value)
    assert got[1] / got[0] == pytest.approx(2.0, rel=0.05)


def test_campbell_shows_order_one_where_it_belongs(report: LogReport) -> None:
    """In each row of the map the loudest frequency above 100 Hz lies near the motors' speed."""
    chart = report.campbell
    assert chart is not None
    assert chart.kind == "speed"
    high = chart.f > 100
    peaks = chart.f[high][chart.level[:, high].argmax(axis=1)]
    assert np.median(np.abs(peaks - chart.rows)) < 40.0


def test_progress_rises_to_one(log: FlightLog, quad: Any) -> None:
    """A face can show progress: shares rise from 0 to 1 with words."""
    seen: list[tuple[float, str]] = []
    analyse(log, quad, progress=lambda share, what: seen.append((share, what)))
    shares = [s for s, _ in seen]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert all(w for _, w in seen)


def test_gaps_in_flight_change_little(log: FlightLog, quad: Any) -> None:
    """With a tenth of the log missing in pieces the finding stands, and the gaps are told."""
    from crashworthy.vibration.log import make_log

    keep = np.ones(len(log.t), bool)
    for at in range(2000, len(log.t), 8000):
        keep[at : at + 800] = False
    holed = make_log(
        source="x",
        reader="x",
        t=log.t[keep],
        gyro=np.asarray(log.gyro)[keep],
        speed_t=log.speed_t,
        speed=log.speed,
    )
    report = analyse(holed, quad)
    assert report.motors[0].corner == "rr"
    assert report.motors[0].unbalance == pytest.approx(20.0, rel=0.1)
    assert any("gaps with about" in n for n in report.notes)


def test_forty_seconds_take_a_few(quad: Any, tmp_path: Any) -> None:
    """40 s at 4000 samples a second are read and analysed within 20 s even on a busy machine."""
    path = simulate_flight(quad, 40.0, 2).write_csv(tmp_path / "long.csv")
    start = time.perf_counter()
    analyse(read_log(path), quad)
    assert time.perf_counter() - start < 20.0


def test_linear_algebra_runs_on_one_thread_meanwhile(log: FlightLog, quad: Any) -> None:
    """During an analysis the linear algebra has one thread; afterwards as many as before."""
    from threadpoolctl import threadpool_info

    def threads() -> list[int]:
        return [lib["num_threads"] for lib in threadpool_info() if lib["user_api"] == "blas"]

    before = threads()
    seen: list[int] = []
    analyse(log, quad, progress=lambda _share, _what: seen.extend(threads()))
    assert set(seen) == {1}
    assert threads() == before
