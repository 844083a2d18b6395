"""Sound recordings as samples: WAV by itself, FLAC and others through an optional library."""

from __future__ import annotations

import wave
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import LogError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["INSTALL", "read_sound"]

INSTALL: Final = 'python -m pip install "crashworthy[sound]"'
"""Command that installs what kinds other than WAV need."""

MOST_CHANNELS: Final = 8

LONGEST: Final = 600.0
"""Longest recording that is read, s."""


def read_sound(path: str | Path) -> tuple[Floats, float]:
    """Samples (n,) within ±1 and rate of a recording; several channels are averaged.

    WAV is read without anything else installed; FLAC and other kinds through the optional library soundfile.

    Raises:
        LogError: it is no recording, damaged, empty or too long, or needs the extra that is not installed.
    """
    path = Path(path)
    with path.open("rb") as head:
        start = head.read(12)
    if start[:4] not in (b"RIFF", b"RIFX", b"RF64") or start[8:] != b"WAVE":
        return _read_other(path, start)
    try:
        with wave.open(str(path), "rb") as file:
            width, channels, rate = file.getsampwidth(), file.getnchannels(), file.getframerate()
            if not 4000 <= rate <= 400_000 or file.getnframes() > LONGEST * rate:
                what = f"{file.getnframes()} samples at {rate} a second"
                raise LogError(Problem(what, f"record up to {LONGEST:.0f} s at 48 000", path.name))
            raw = file.readframes(file.getnframes())
    except (wave.Error, EOFError, RuntimeError, ValueError):
        return _read_float(path)
    raw = raw[: len(raw) // (width * channels) * width * channels]
    if width == 1:
        y = (np.frombuffer(raw, dtype=np.uint8).astype(np.float64) - 128.0) / 128.0
    elif width == 3:
        b = np.frombuffer(raw, dtype=np.uint8).reshape(-1, 3).astype(np.int32)
        v = b[:, 0] | (b[:, 1] << 8) | (b[:, 2] << 16)
        y = (v - ((v >> 23) << 24)) / float(1 << 23)
    else:
        kind = {2: "<i2", 4: "<i4"}.get(width)
        if kind is None:
            raise LogError(Problem(f"{8 * width} bits a sample", "record with 16 or 24 bits", path.name))
        y = np.frombuffer(raw, dtype=kind).astype(np.float64) / float(1 << (8 * width - 1))
    return _mono(y.reshape(-1, channels), path), float(rate)


def _read_float(path: Path) -> tuple[Floats, float]:
    import warnings

    from scipy.io import wavfile

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # unknown chunks are no fault
            rate, y = wavfile.read(path)
    except Exception as problem:  # noqa: BLE001 - the library raises many kinds on damaged files
        raise LogError(
            Problem(f"is no WAV recording that can be read ({problem})", "record as WAV", path.name)
        ) from None
    if not 4000 <= rate <= 400_000 or y.size > 4 * LONGEST * rate:
        raise LogError(Problem(f"{len(y)} samples at {rate} a second", "record up to 600 s", path.name))
    if not y.size:
        raise LogError(Problem("holds no sound", "record five taps, a second apart", path.name))
    if y.dtype.kind == "f" and not np.isfinite(y).all():
        raise LogError(Problem("holds numbers that are none: it is damaged", "record again", path.name))
    scale = 1.0 if y.dtype.kind == "f" else float(np.iinfo(y.dtype).max)
    return _mono(np.asarray(y, dtype=np.float64).reshape(len(y), -1) / scale, path), float(rate)


def _read_other(path: Path, start: bytes) -> tuple[Floats, float]:
    """FLAC and whatever else the optional library reads."""
    try:
        import soundfile
    except (ImportError, OSError):  # OSError: the library is there, what it stands on is not
        what = "is FLAC" if start[:4] == b"fLaC" else "is no WAV recording that can be read"
        raise LogError(
            Problem(f"{what}; other kinds need an extra", f"record as WAV, or run: {INSTALL}", path.name)
        ) from None
    try:
        with soundfile.SoundFile(path) as file:
            rate, frames = file.samplerate, file.frames
            if not 4000 <= rate <= 400_000 or frames > LONGEST * rate or file.channels > MOST_CHANNELS:
                what = f"{frames} samples at {rate} a second"
                raise LogError(Problem(what, f"record up to {LONGEST:.0f} s at 48 000", path.name))
            y = file.read(frames=int(LONGEST * rate) + 1, dtype="float64", always_2d=True)
    except LogError:
        raise
    except Exception as problem:  # noqa: BLE001 - the library raises many kinds on damaged files
        raise LogError(
            Problem(f"is no recording that can be read ({problem})", "record as WAV or FLAC", path.name)
        ) from None
    return _mono(np.asarray(y, dtype=np.float64), path), float(rate)


def _mono(y: Floats, path: Path) -> Floats:
    out: Floats = y.mean(axis=1)
    if len(out) < 2000 or not np.isfinite(out).all() or not out.any():
        raise LogError(Problem("holds no sound", "record five taps, a second apart", path.name))
    return out
