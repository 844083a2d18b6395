"""A small writer of the openly documented flight-recorder format: header, whole frames, differences."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np

NAMES = [
    "loopIteration",
    "time",
    *(f"gyroADC[{i}]" for i in range(3)),
    *(f"accSmooth[{i}]" for i in range(3)),
    *(f"motor[{i}]" for i in range(4)),
    *(f"eRPM[{i}]" for i in range(4)),
    "vbatLatest",
    "amperageLatest",
]
SIGNED = [0, 0, *[1] * 6, *[0] * 8, 0, 1][: len(NAMES)]
I_PREDICTOR = [0] * len(NAMES)
I_ENCODING = [1, 1, *[0] * 6, *[1] * 4, *[1] * 4, 1, 0]
# increment; straight line; previous for gyro and acceleration; mean of two for motors; previous for the rest
P_PREDICTOR = [6, 2, 1, 1, 1, 1, 1, 1, 3, 3, 3, 3, 1, 1, 1, 1, 1, 1]
# nothing; signed; three together (tag2_3s32); signed; four together (tag8_4s16); up to eight tagged
P_ENCODING = [9, 0, 0, 0, 0, 7, 7, 7, 0, 0, 0, 0, 8, 8, 8, 8, 6, 6]


def unsigned(value: int) -> bytes:
    """Seven bits a byte, the lowest first."""
    value &= 0xFFFFFFFF
    out = bytearray()
    while value > 127:
        out.append(value & 127 | 128)
        value >>= 7
    out.append(value)
    return bytes(out)


def signed(value: int) -> bytes:
    """Zig-zag, then as unsigned."""
    return unsigned(value << 1 if value >= 0 else (-value << 1) - 1)


def three(values: list[int]) -> bytes:
    """Three numbers of 8, 16 or 24 bits behind one byte of sizes."""
    lead, body = 3 << 6, b""
    for i, v in enumerate(values):
        size = 0 if -128 <= v < 128 else 1 if -32768 <= v < 32768 else 2
        lead |= size << (2 * i)
        body += int(v).to_bytes(size + 1, "little", signed=True)
    return bytes([lead]) + body


def four(values: list[int]) -> bytes:
    """Four numbers of 0 or 16 bits behind one byte of sizes."""
    lead, body = 0, b""
    for i, v in enumerate(values):
        if v:
            lead |= 3 << (2 * i)
            body += struct.pack(">h", v)
    return bytes([lead]) + body


def tagged(values: list[int]) -> bytes:
    """Up to eight numbers, those that are zero left out."""
    lead = sum(1 << i for i, v in enumerate(values) if v)
    return bytes([lead]) + b"".join(signed(v) for v in values if v)


def header(extra: dict[str, str] | None = None) -> bytes:
    """Lines of text above the frames."""
    rows = {
        "Product": "Blackbox flight data recorder",
        "Data version": "2",
        "I interval": "32",
        "P interval": "1/1",
        "Field I name": ",".join(NAMES),
        "Field I signed": ",".join(map(str, SIGNED)),
        "Field I predictor": ",".join(map(str, I_PREDICTOR)),
        "Field I encoding": ",".join(map(str, I_ENCODING)),
        "Field P predictor": ",".join(map(str, P_PREDICTOR)),
        "Field P encoding": ",".join(map(str, P_ENCODING)),
        "gyro_scale": "0x3f800000",
        "acc_1G": "2048",
        "motorOutput": "48,2047",
        "motor_poles": "14",
        **(extra or {}),
    }
    return "".join(f"H {k}:{v}\n" for k, v in rows.items()).encode()


def recording(rows: np.ndarray[Any, Any], *, end: bool = True, extra: dict[str, str] | None = None) -> bytes:
    """One recording of rows of whole numbers, a column for each of ``NAMES`` but the first.

    Args:
        rows: (n, 17) time in us, gyro deg/s, acceleration, motor output, hundreds of erpm, 0.01 V, 0.01 A.
        end: write the end mark.
        extra: header lines, to change or add.
    """
    out = bytearray(header(extra))
    past: list[list[int]] = []
    for k, row in enumerate(rows.astype(np.int64).tolist()):
        now = [k, *row]
        if k % 32 == 0:
            parts = [signed(v) if e == 0 else unsigned(v) for v, e in zip(now, I_ENCODING, strict=True)]
            out += b"I" + b"".join(parts)
            past = [now, now]
            continue
        a, b = past
        guess = [
            0 if p == 6 else 2 * x - y if p == 2 else int((x + y) / 2) if p == 3 else x
            for p, x, y in zip(P_PREDICTOR, a, b, strict=True)
        ]
        d = [n - g for n, g in zip(now, guess, strict=True)]
        out += b"P" + b"".join(signed(v) for v in d[1:5]) + three(d[5:8])
        out += b"".join(signed(v) for v in d[8:12]) + four(d[12:16]) + tagged(d[16:18])
        past = [now, a]
    if end:
        out += b"E\xffEnd of log\x00"
    return bytes(out)


def flight_rows(
    seconds: float = 2.0, fs: float = 1000.0, begin: int = 5_000_000, seed: int = 0
) -> np.ndarray[Any, Any]:
    """Rows of a small made-up flight."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * fs)) / fs
    rows = np.empty((len(t), 17))
    rows[:, 0] = begin + t * 1e6
    for a in range(3):
        rows[:, 1 + a] = 200 * np.sin(2 * np.pi * (90 + a) * t) + rng.normal(0, 3, len(t))
        rows[:, 4 + a] = (2048 if a == 2 else 0) + rng.normal(0, 300, len(t))
    for m in range(4):
        rows[:, 7 + m] = 800 + 300 * np.sin(2 * np.pi * 0.7 * t + m)
        rows[:, 11 + m] = 1200 + 200 * np.sin(2 * np.pi * 0.7 * t + m)
    rows[:, 15] = 2480 - 20 * t
    rows[:, 16] = 3000 + 1500 * np.sin(2 * np.pi * 0.5 * t)
    return np.rint(rows)
