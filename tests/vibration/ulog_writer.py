"""A small writer of the published ULog format, for tests: header, formats, subscriptions, data, dropouts."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import numpy as np

CODES = {
    "uint64_t": "Q",
    "uint32_t": "I",
    "uint8_t": "B",
    "int32_t": "i",
    "int16_t": "h",
    "float": "f",
    "uint16_t": "H",
}


def message(kind: str, body: bytes) -> bytes:
    """One message: size, type, body."""
    return struct.pack("<HB", len(body), ord(kind)) + body


def fields(definition: str) -> list[tuple[str, str, int]]:
    """(type, name, count) of each field of "name:type a;type[3] b"."""
    out = []
    for part in definition.split(":", 1)[1].split(";"):
        if part:
            kind, name = part.split(" ")
            base, _, count = kind.partition("[")
            out.append((base, name, int(count.rstrip("]")) if count else 0))
    return out


def pack_code(definition: str, formats: dict[str, str]) -> str:
    """Struct code of a format, nested ones unfolded."""
    code = ""
    for kind, _, count in fields(definition):
        one = CODES[kind] if kind in CODES else pack_code(formats[kind], formats)
        code += one * max(count, 1)
    return code


def write_ulog(
    path: Path,
    definitions: list[str],
    topics: list[tuple[str, int, np.ndarray]],
    dropouts: tuple[int, ...] = (),
) -> Path:
    """Write a file.

    Args:
        path: where to.
        definitions: formats, "name:type field;type field;".
        topics: (format name, instance, rows as a 2-d array with timestamp in microseconds first).
        dropouts: durations in ms, written in the middle.
    """
    formats = {d.split(":", 1)[0]: d for d in definitions}
    out = bytearray(b"ULog\x01\x12\x35\x01" + struct.pack("<Q", 0))
    out += message("B", bytes(40))
    for d in definitions:
        out += message("F", d.encode())
    for i, (name, instance, _) in enumerate(topics):
        out += message("A", struct.pack("<BH", instance, i) + name.encode())
    rows: list[tuple[float, int, Any]] = []
    for i, (_, _, values) in enumerate(topics):
        rows += [(float(r[0]), i, r) for r in values]
    rows.sort(key=lambda r: (r[0], r[1]))
    codes = ["<" + pack_code(formats[name], formats) for name, _, _ in topics]
    for k, (_, i, row) in enumerate(rows):
        if k == len(rows) // 2:
            for d in dropouts:
                out += message("O", struct.pack("<H", d))
        cells = [float(v) if c == "f" else int(v) for c, v in zip(codes[i][1:], row, strict=True)]
        out += message("D", struct.pack("<H", i) + struct.pack(codes[i], *cells))
    path.write_bytes(bytes(out))
    return path
