"""Trends over packs, pack health, taps and inferred speeds."""

from __future__ import annotations

import contextlib
import struct
import sys
import wave
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crashworthy.errors import CrashworthyError, LogError
from crashworthy.vibration.inferred import infer_speeds
from crashworthy.vibration.log import FlightLog
from crashworthy.vibration.packs import pack_health
from crashworthy.vibration.report import analyse
from crashworthy.vibration.shafts import Shafts
from crashworthy.vibration.sound import read_sound
from crashworthy.vibration.tap import bar_modulus, compare, ring_down, tap_test
from crashworthy.vibration.trend import FALSE_PER_100, LIMIT, cusum, scores, trend


def test_steady_quads_are_seldom_called() -> None:
    """Over 100 packs at most the stated share (and a half more) of steady quads is called."""
    x = 0.12 * np.random.default_rng(1).standard_normal((4000, 100))
    share = (cusum(scores(x, 0.10)).max(axis=1) > LIMIT).mean()
    assert share < 1.5 * FALSE_PER_100
    assert share > 0.3 * FALSE_PER_100


def test_a_rise_by_half_is_called_within_eight_packs() -> None:
    """Unbalance up by half after 20 packs: called within 8 packs in 95 of 100 quads; its begin is near."""
    x = 0.12 * np.random.default_rng(2).standard_normal((300, 40))
    x[:, 20:] += np.log(1.5)
    found = [trend("unbalance", row, 0.10) for row in x]
    late = [t.called for t in found if t.called is not None and t.called >= 20]
    assert np.quantile(late, 0.95) <= 28
    assert np.median([abs((t.began or 0) - 20) for t in found]) <= 3
    assert "risen to 1." in found[0].summary()


def test_few_flights_make_no_trend() -> None:
    """Two flights: said to be too few."""
    assert "too few" in trend("unbalance", [0.1, 0.2], 0.1).summary()
    assert trend("unbalance", [], 0.1).values == ()


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-5, 5), min_size=3, max_size=30), st.floats(-10, 10))
def test_trend_does_not_mind_the_level(values: list[float], shift: float) -> None:
    """Another unit (a constant added to logarithms) changes no score."""
    a = trend("x", values, 0.1)
    b = trend("x", [v + shift for v in values], 0.1)
    np.testing.assert_allclose(a.sums, b.sums, atol=1e-6)


def test_a_tired_pack_is_told_with_cautions() -> None:
    """Resistance up by seven tenths: retirement is hinted at, with the cautions."""
    flights = [
        {"r0_mohm": r, "lowest_v": 19.0, "cells": 6, "used_mah": 1100.0}
        for r in (20.0, 20.5, 19.8, 25.0, 34.0)
    ]
    got = pack_health("B3", flights)
    assert got is not None
    assert got.ratio == pytest.approx(1.7, rel=0.01)
    assert "retire" in got.text
    assert "BELOW" in got.text
    assert "recycling" in " ".join(got.to_json()["cautions"])
    assert pack_health("none", []) is None


def ring(f: float, damping: float, fs: int, rng: np.random.Generator, noise: float) -> Any:
    """One ring with a second mode and noise."""
    t = np.arange(int(0.4 * fs)) / fs
    w = 2 * np.pi * f
    y = np.exp(-damping * w * t) * np.sin(w * np.sqrt(1 - damping**2) * t + 1.0)
    y += 0.3 * np.exp(-0.03 * 2.76 * w * t) * np.sin(2.76 * w * t)
    return y + noise * rng.standard_normal(len(t))


@settings(max_examples=25, deadline=None)
@given(st.floats(90.0, 300.0), st.floats(0.01, 0.08), st.integers(0, 99))
def test_ring_down_is_read(f: float, damping: float, seed: int) -> None:
    """Frequency within 0.3 % and damping within a tenth, at 30 dB."""
    got = ring_down(ring(f, damping, 48000, np.random.default_rng(seed), 0.005), 48000.0)
    assert got is not None
    assert got[0] == pytest.approx(f, rel=0.003)
    assert got[1] == pytest.approx(damping, rel=0.1)


def taps(path: Path, f: float, damping: float = 0.03, width: int = 2, channels: int = 1) -> Path:
    """Write five taps as a WAV file."""
    rng = np.random.default_rng(3)
    silence = 0.002 * rng.standard_normal(24000)
    parts = [silence]
    for _ in range(5):
        parts += [0.5 * ring(f * rng.normal(1, 0.004), damping, 48000, rng, 0.004), silence]
    y = np.clip(np.concatenate(parts), -1, 1)
    top = (1 << (8 * width - 1)) - 1
    raw = (y * top).astype(np.int64)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(width)
        file.setframerate(48000)
        data = np.repeat(raw, channels)
        if width == 1:
            file.writeframes((data + 128).astype(np.uint8).tobytes())
        else:
            file.writeframes(b"".join(struct.pack("<q", v)[:width] for v in data.tolist()))
    return path


@pytest.mark.parametrize(("width", "channels"), [(2, 1), (3, 2)])
def test_five_taps_make_a_figure(tmp_path: Path, width: int, channels: int) -> None:
    """A recording of five taps: all five, their median within half a percent."""
    got = tap_test(*read_sound(taps(tmp_path / "a.wav", 185.0, width=width, channels=channels)))
    assert len(got.taps) == 5
    assert got.f == pytest.approx(185.0, rel=0.005)
    assert got.damping == pytest.approx(0.03, rel=0.15)
    assert "median of 5 taps" in got.summary()


def test_lost_stiffness_is_told(tmp_path: Path) -> None:
    """A tenth lower frequency is a fifth less stiffness; more damping points at the screws."""
    first = tap_test(*read_sound(taps(tmp_path / "a.wav", 185.0)))
    low = tap_test(*read_sound(taps(tmp_path / "b.wav", 0.9 * 185.0, damping=0.06)))
    assert "Stiffness 81" in compare(low, first) or "Stiffness 80" in compare(low, first)
    assert "screws first" in compare(low, first)
    assert "No loss" in compare(first, first)


def test_float_wav_is_read_too(tmp_path: Path) -> None:
    """Phones also record floating-point samples."""
    from scipy.io import wavfile

    rng = np.random.default_rng(4)
    y = np.concatenate([np.zeros(9000), ring(200.0, 0.02, 44100, rng, 0.001)]).astype(np.float32)
    wavfile.write(tmp_path / "f.wav", 44100, y)
    assert tap_test(*read_sound(tmp_path / "f.wav")).f == pytest.approx(200.0, rel=0.005)


@settings(max_examples=60, deadline=2000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=400), st.booleans())
def test_damaged_recordings_are_refused(tmp_path: Path, junk: bytes, head: bool) -> None:
    """Any bytes: the documented error or a figure, nothing else."""
    path = tmp_path / "x.wav"
    start = b"RIFF\x24\x08\x00\x00WAVEfmt \x10\x00\x00\x00" if head else b""
    path.write_bytes(start + junk)
    with contextlib.suppress(CrashworthyError):
        tap_test(*read_sound(path))


def test_silence_has_no_tap() -> None:
    """Noise without taps: said, with what to do."""
    with pytest.raises(LogError, match="tap"):
        tap_test(np.random.default_rng(5).standard_normal(48000), 48000.0)


def test_bar_modulus_scales() -> None:
    """Twice the mass doubles the modulus, twice the frequency makes it four times."""
    base = bar_modulus(0.012, 1900.0, 0.02, 0.1, 0.004)
    assert base == pytest.approx(32.402e9, rel=1e-4)
    assert bar_modulus(0.024, 1900.0, 0.02, 0.1, 0.004) == pytest.approx(2 * base, rel=1e-12)
    assert bar_modulus(0.012, 3800.0, 0.02, 0.1, 0.004) == pytest.approx(4 * base, rel=1e-12)


def test_speeds_are_inferred_from_commands(log: FlightLog, quad: Any) -> None:
    """Without telemetry: the loudest motor within 0.5 %, half of all within 3 %, marked inferred."""
    blind = replace(log, speed=None, speed_t=None)
    shafts = infer_speeds(blind)
    assert shafts is not None
    assert shafts.inferred
    assert log.speed_t is not None
    true = Shafts.of(log.speed_t, np.asarray(log.speed), 0.012)
    t = np.arange(1.0, 11.0, 0.05)
    off = np.abs(shafts.at(t)[1] / true.at(t)[1] - 1.0)
    assert np.median(off) < 0.03
    assert np.median(off[:, 3]) < 0.005
    report = analyse(blind, quad)
    assert report.speed_source == "inferred"
    assert report.answer("unbalance").verdict == "caution"
    assert report.verdict is None
    assert report.features is None
    assert "inferred" in report.notes[0]
    assert report.motors[0].corner == "rr"


def test_nothing_is_inferred_without_voltage(log: FlightLog) -> None:
    """No commands or no voltage: no speeds are made up."""
    assert infer_speeds(replace(log, volts=None, power_t=None)) is None
    assert infer_speeds(replace(log, command=None, command_t=None)) is None


@pytest.mark.parametrize("kind", ["FLAC", "OGG"])
def test_other_kinds_of_sound_ring_alike(tmp_path: Path, kind: str) -> None:
    """The same five taps as FLAC or another kind give the frequency that WAV gives."""
    import soundfile

    fs = 48000
    t = np.arange(5 * fs) / fs
    y = 0.5 * np.exp(-2 * np.pi * 180 * 0.03 * (t % 1.0)) * np.sin(2 * np.pi * 180 * (t % 1.0))
    path = tmp_path / f"a.{kind.lower()}"
    soundfile.write(path, y, fs, format=kind)
    test = tap_test(*read_sound(path))
    assert test.f == pytest.approx(180.0, rel=2e-3)


def test_flac_without_the_extra_says_what_to_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the extra the error names the command; WAV needs none."""
    monkeypatch.setitem(sys.modules, "soundfile", None)
    path = tmp_path / "a.flac"
    path.write_bytes(b"fLaC" + bytes(100))
    with pytest.raises(LogError, match=r'pip install "crashworthy\[sound\]"'):
        read_sound(path)
