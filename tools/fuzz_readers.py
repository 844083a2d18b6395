"""Throw damaged files at every reader: each must give a log or the documented error, soon, in little memory.

    python tools/fuzz_readers.py [--count 20000] [--seed 1] [--only csv,ulog] [--report FILE]

Inputs come from a seeded mutator: valid files with bytes changed, cut, repeated or exchanged, tokens and
numbers of their own kind put in, lengths falsified; and plain random bytes behind the right magic number. An
input fails when it raises anything but ``LogError``, takes longer than ten seconds, or makes the process grow
past its limit. The files are built by the small writers that the tests use.
"""

from __future__ import annotations

import argparse
import importlib.util
import io
import random
import resource
import signal
import struct
import sys
import tempfile
import time
import wave
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.errors import LogError
from crashworthy.vibration.readers.csv import CsvReader
from crashworthy.vibration.readers.recorder import RecorderReader
from crashworthy.vibration.readers.ulog import UlogReader
from crashworthy.vibration.report import analyse
from crashworthy.vibration.sound import read_sound
from crashworthy.vibration.tap import tap_test

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).resolve().parents[1]
LONGEST = 10.0
ROOM = 1 << 30

NUMBERS = [
    b"0",
    b"-1",
    b"1e308",
    b"-1e400",
    b"nan",
    b"inf",
    b"",
    b"99999999999999999999",
    b"0x7fffffff",
    b"1/0",
    b"0/0",
    b"4097/1",
    b"65536",
    b"255",
    b"256",
    b"1,1",
    b"-0.0",
    b"1e-320",
    b"true",
    b"\xff\xfe",
    b"\xc3\x28",
]
TOKENS = {
    "csv": [
        b"time",
        b"gyro_x",
        b"rpm_1",
        b"volts",
        b"amps",
        b"[deg/s]",
        b"us",
        b",",
        b";",
        b"\t",
        b"\n",
        b'"',
        b"#",
        b"\r",
        b"erpm",
        b"command_1",
        b"acc_x [g]",
    ],
    "ulog": [
        b"uint64_t timestamp;",
        b"float[999999999] x;",
        b"sensor_gyro_fifo:",
        b"ULog\x01\x12\x35",
        b"F",
        b"A",
        b"D",
        b"\xff\xff",
        b"esc_report[8] esc;",
        b"\x00\x00D",
    ],
    "recorder": [
        b"H ",
        b"H P interval:0/1\n",
        b"H I interval:0\n",
        b"Field P encoding",
        b"I",
        b"P",
        b"S",
        b"E",
        b"G",
        b"H Product:Blackbox flight data recorder",
        b"E\xffEnd of log\x00",
        b"E\x0e",
        b"\xff" * 6,
        b"H Field S name:a\nH Field S predictor:0\nH Field S encoding:6\n",
    ],
    "sound": [
        b"RIFF",
        b"WAVE",
        b"fmt ",
        b"data",
        b"\xff\xff\xff\xff",
        b"\x00\x00\x00\x00",
        b"LIST",
        b"\x03\x00",
    ],
}


@dataclass
class Tally:
    """What came of the inputs of one reader."""

    reader: str
    count: int = 0
    read: int = 0
    refused: int = 0
    slowest: float = 0.0
    seconds: float = 0.0
    grown_mb: float = 0.0
    failed: list[str] = field(default_factory=list)
    errors: Counter[str] = field(default_factory=Counter)

    def line(self) -> str:
        """One row of the report."""
        return (
            f"| {self.reader} | {self.count} | {self.read} | {self.refused} | {len(self.errors)} | "
            f"{1000 * self.slowest:.0f} ms | {self.grown_mb:.0f} MB | {len(self.failed)} |"
        )


def beside(name: str) -> Any:
    """One of the tests' writers."""
    path = ROOT / "tests" / "vibration" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(f"fuzz_{name}", path)
    if spec is None or spec.loader is None:
        raise SystemExit(f"{path} is not there")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def csv_seeds() -> list[bytes]:
    """Tables of three kinds."""
    t = np.arange(150) / 500.0
    wide = "time,gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s],rpm_1,volts,amps\n" + "".join(
        f"{x:.4f},{10 * np.sin(900 * x):.2f},1,2,{18000 + i},{24 - x:.3f},{30 + i % 9}\n"
        for i, x in enumerate(t)
    )
    comma = "time;gyro_x;gyro_y;gyro_z\n" + "".join(
        f"{x:.3f};1,5;{i % 7},25;3\n".replace(".", ",") for i, x in enumerate(t)
    )
    two = "# simulated\ntime_us\tgx\tgy\tgz\n" + "".join(
        f"{2000 * (i % 90)}\t{i % 11}\t{i % 5}\t{i % 3}\n" for i in range(150)
    )
    return [wide.encode(), comma.encode(), two.encode()]


def ulog_seeds() -> list[bytes]:
    """A small log, and two behind each other."""
    t = np.arange(60) / 250.0 * 1e6
    z = 0 * t
    with tempfile.TemporaryDirectory() as folder:
        one: bytes = (
            beside("ulog_writer")
            .write_ulog(
                Path(folder) / "a.ulg",
                [
                    "sensor_combined:uint64_t timestamp;float[3] gyro_rad;float[3] accelerometer_m_s2;",
                    "battery_status:uint64_t timestamp;float voltage_v;float current_a;",
                    "esc_report:uint64_t timestamp;int32_t esc_rpm;",
                    "esc_status:uint64_t timestamp;uint8_t esc_count;esc_report[2] esc;",
                ],
                [
                    ("sensor_combined", 0, np.column_stack([t, z, z, z + 1, z, z, z])),
                    ("battery_status", 0, np.column_stack([t, z + 24, z + 30])),
                    ("esc_status", 0, np.column_stack([t, z + 2, t, z + 18000, t, z + 17000])),
                ],
                (5,),
            )
            .read_bytes()
        )
    return [one, one[:3000] + one]


def recorder_seeds() -> list[bytes]:
    """A small recording, two behind each other, and one without an end."""
    writer = beside("recorder_writer")
    one: bytes = writer.recording(writer.flight_rows(0.1))
    two: bytes = writer.recording(writer.flight_rows(0.07, seed=1), end=False)
    return [one, two + one, two]


def sound_seeds() -> list[bytes]:
    """A ring as 16-bit, 24-bit and floating-point WAV, and as FLAC when that can be written."""
    t = np.arange(6000) / 8000.0
    y = np.exp(-20 * (t % 0.3)) * np.sin(2 * np.pi * 180 * t) * 0.5
    out = []
    for width in (2, 3):
        buffer = io.BytesIO()
        with wave.open(buffer, "wb") as file:
            file.setparams((1, width, 8000, 0, "NONE", ""))
            whole = (y * (1 << (8 * width - 1))).astype(np.int64)
            file.writeframes(b"".join(int(v).to_bytes(width, "little", signed=True) for v in whole))
        out.append(buffer.getvalue())
    data = y.astype("<f4").tobytes()
    head = struct.pack(
        "<4sI4s4sIHHIIHH", b"RIFF", 36 + len(data), b"WAVE", b"fmt ", 16, 3, 1, 8000, 32000, 4, 32
    )
    out.append(head + struct.pack("<4sI", b"data", len(data)) + data)
    try:
        import soundfile
    except ImportError:
        return out
    buffer = io.BytesIO()
    soundfile.write(buffer, y, 8000, format="FLAC")
    return [*out, buffer.getvalue()]


def mutate(rng: random.Random, kind: str, seeds: list[bytes]) -> bytes:
    """One input."""
    if rng.random() < 0.08:
        magic = {
            "csv": b"time,a\n",
            "ulog": b"ULog\x01\x12\x35\x01" + bytes(8),
            "sound": b"RIFF\x00\x00\x00\x00WAVE",
        }
        head = magic.get(kind, b"H Product:Blackbox flight data recorder\n") if rng.random() < 0.7 else b""
        return head + rng.randbytes(rng.randrange(1200))
    out = bytearray(rng.choice(seeds))
    for _ in range(rng.choice((1, 1, 2, 3, 6, 12))):
        n = len(out)
        at = rng.randrange(n) if n else 0
        near = rng.randrange(min(n, 700)) if n else 0  # headers are where most goes wrong
        place = rng.choice((at, near))
        what = rng.randrange(10)
        if what == 0 and n:
            out[place] ^= 1 << rng.randrange(8)
        elif what == 1:
            out[place : place + 1] = rng.randbytes(rng.randrange(1, 5))
        elif what == 2:
            del out[place : place + rng.randrange(1, 200)]
        elif what == 3:
            out[place:place] = out[at : at + rng.randrange(1, 120)] * rng.choice((1, 1, 2, 5))
        elif what == 4:
            del out[at:]
        elif what == 5:
            token = rng.choice(TOKENS[kind])
            out[place : place + rng.choice((0, len(token)))] = token
        elif what == 6:
            out[place : place + rng.randrange(6)] = rng.choice(NUMBERS)
        elif what == 7 and n > 8:
            struct.pack_into("<H", out, min(place, n - 2), rng.choice((0, 1, 255, 32767, 65535)))
        elif what == 8 and n > 8:
            struct.pack_into("<I", out, min(place, n - 4), rng.choice((0, 1, 1 << 31, 0xFFFFFFFF)))
        else:
            other = rng.choice(seeds)
            cut = rng.randrange(len(other))
            out[place:place] = other[cut : cut + rng.randrange(1, 400)]
    return bytes(out)


class TookTooLongError(BaseException):
    """An input did not end in time; not an Exception, so that no reader can swallow it."""


def _alarm(*_: object) -> None:
    raise TookTooLongError


def _grown() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def log_work(reader: Any) -> Callable[[Path, int], object]:
    """Look at a file, read it, and now and then analyse what was read."""

    def work(path: Path, k: int) -> object:
        reader.sniff(path)
        logs = reader.read_all(path)
        if k % 25 == 0:
            analyse(logs[0], None).to_json()
        return logs

    return work


def sound_work(path: Path, _k: int) -> object:
    """Read a recording and fit its taps."""
    return tap_test(*read_sound(path))


WORK: dict[str, tuple[Callable[[Path, int], object], Callable[[], list[bytes]], str]] = {
    "csv": (log_work(CsvReader()), csv_seeds, "a.csv"),
    "ulog": (log_work(UlogReader()), ulog_seeds, "a.ulg"),
    "recorder": (log_work(RecorderReader()), recorder_seeds, "a.bin"),
    "sound": (sound_work, sound_seeds, "a.wav"),
}


def fuzz(kind: str, count: int, seed: int, folder: Path) -> Tally:
    """Throw ``count`` inputs at one reader."""
    work, make, name = WORK[kind]
    seeds = make()
    tally = Tally(kind)
    path = folder / name
    for content in seeds:  # what is imported late would count against the first input
        path.write_bytes(content)
        work(path, 0)
    before = _grown()
    rng = random.Random(f"{kind} {seed}")  # noqa: S311 - inputs for a test
    signal.signal(signal.SIGALRM, _alarm)
    begun = time.perf_counter()
    for k in range(count):
        content = mutate(rng, kind, seeds)
        path.write_bytes(content)
        start = time.perf_counter()
        signal.setitimer(signal.ITIMER_REAL, LONGEST)
        try:
            work(path, k)
            tally.read += 1
        except LogError as error:
            tally.refused += 1
            tally.errors[error.problems[0].what[:24]] += 1
        except (Exception, TookTooLongError) as problem:  # noqa: BLE001 - any of them is the finding
            kept = folder / f"{kind}-{seed}-{k}.bin"
            kept.write_bytes(content)
            tally.failed.append(f"{kept.name}: {problem!r}")
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0.0)
        tally.count += 1
        tally.slowest = max(tally.slowest, time.perf_counter() - start)
    tally.seconds = time.perf_counter() - begun
    tally.grown_mb = _grown() - before
    return tally


def main() -> None:
    """Run and print the report; exit status 1 when an input failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default=",".join(WORK))
    parser.add_argument("--report", type=Path)
    parser.add_argument("--keep", type=Path, help="folder for inputs that failed")
    asked = parser.parse_args()
    soft = resource.getrlimit(resource.RLIMIT_AS)[1]
    rows, failed = [], []
    with tempfile.TemporaryDirectory() as temporary:
        folder = asked.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for kind in asked.only.split(","):
            size = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
            resource.setrlimit(resource.RLIMIT_AS, (size + ROOM, soft))
            tally = fuzz(kind, asked.count, asked.seed, folder)
            print(f"{tally.line()} {tally.seconds:.0f} s", flush=True)
            rows.append(tally.line())
            failed += tally.failed
    head = (
        "# Damaged files thrown at the readers\n\n"
        f"`python tools/fuzz_readers.py --count {asked.count} --seed {asked.seed}`: valid files with bytes "
        "changed, cut, repeated, exchanged\nor replaced by tokens of their own kind, and random bytes behind "
        "the right magic number. An input fails when it\nraises anything but the documented error, takes "
        f"over {LONGEST:.0f} s, or needs over {ROOM >> 20} MB.\n\n"
        "| reader | inputs | read | refused | kinds of refusal | slowest | memory grew by | failed |\n"
        "|---|---|---|---|---|---|---|---|\n"
    )
    if asked.report:
        asked.report.write_text(head + "\n".join(rows) + "\n", encoding="utf-8")
    for line in failed[:40]:
        print(line)
    sys.exit(bool(failed))


if __name__ == "__main__":
    main()
