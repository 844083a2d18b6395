"""The bytes of ULog files, looked at beside the library: logs one behind the other, damage, formats."""

from __future__ import annotations

import mmap
import re
import struct
from typing import TYPE_CHECKING, BinaryIO, Final

from crashworthy.errors import LogError, Problem

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["MAGIC", "MOST_FIELDS", "Onward", "check_formats", "first_damage", "log_starts"]

MAGIC: Final = b"ULog\x01\x12\x35"
"""First seven bytes of a file."""

HEADER: Final = 16
"""Bytes before the first message: magic number, version, time."""

MOST_LOGS: Final = 64
KINDS: Final = frozenset(b"BFIMPQALCRDSO")
"""Letters of the messages that the format knows."""

MOST_FIELDS: Final = 100_000
"""A message that unfolds to more fields than this is damage, not data."""

_FIELD: Final = re.compile(rb"^(\w+)(?:\[(\d{1,9})\])? \w+$")


class Onward:
    """A file for the library that moves on past its end.

    When a message is longer than what is left of the file, the library steps back from where it would have
    ended, again and again to the same place. Here a read past the end moves on all the same, so that each
    step back is a byte further than the last.
    """

    def __init__(self, file: BinaryIO) -> None:
        """Take over a file that is open at its beginning."""
        self._file, self._at = file, file.tell()

    def read(self, size: int = -1) -> bytes:
        """What is there of ``size`` bytes."""
        data = self._file.read(size)
        self._at += len(data) if size < 0 else size
        return data

    def seek(self, offset: int, whence: int = 0) -> int:
        """Go to a byte; returns it."""
        to = self._at + offset if whence == 1 else offset
        self._at = self._file.seek(to, 2 if whence == 2 else 0)
        return self._at

    def tell(self) -> int:
        """Where it stands."""
        return self._at

    def close(self) -> None:
        """Leave the file to whoever opened it."""


def log_starts(path: Path) -> list[int]:
    """Bytes at which a log begins; [0] for a file with one, or with none."""
    if path.stat().st_size < len(MAGIC):
        return [0]
    out: list[int] = []
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        at = data.find(MAGIC)
        while at >= 0 and len(out) < MOST_LOGS:
            out.append(at)
            at = data.find(MAGIC, at + len(MAGIC))
    return out if out and out[0] == 0 else [0]


def first_damage(path: Path, begin: int, end: int) -> int | None:
    """Byte of the first message that is none, or that the end of the file cuts off; None in a sound log."""
    if end - begin <= HEADER:
        return None
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        at = begin + HEADER
        while at < end:
            if at + 3 > end or data[at + 2] not in KINDS:
                return at
            size = data[at] | data[at + 1] << 8
            if at + 3 + size > end:
                return at
            at += 3 + size
    return None


def check_formats(head: bytes, name: str) -> None:
    """Refuse message formats that would unfold without end, before the library unfolds them.

    Raises:
        LogError: a format nests itself or unfolds to more than ``MOST_FIELDS`` fields.
    """
    formats: dict[bytes, list[tuple[bytes, int]]] = {}
    at = 0
    while True:  # resynchronise on any "F" header, so that damage cannot hide one
        at = head.find(b"F", at + 1)
        if at < 2 or at >= len(head):
            break
        (size,) = struct.unpack("<H", head[at - 2 : at])
        body = head[at + 1 : at + 1 + size]
        key, colon, fields = body.partition(b":")
        if not colon or not key.replace(b"_", b"").isalnum():
            continue
        rows = [_FIELD.match(f) for f in fields.split(b";") if f]
        formats[key] = [(m.group(1), int(m.group(2) or 1)) for m in rows if m]

    sizes: dict[bytes, int] = {}

    def unfold(key: bytes, depth: int) -> int:
        if key not in formats:
            return 1
        if key in sizes:
            return sizes[key]
        total = 0
        if depth < 20:
            for kind, count in formats[key]:
                total += count * unfold(kind, depth + 1)
                if total > MOST_FIELDS:
                    break
        else:
            total = MOST_FIELDS + 1
        sizes[key] = total
        return total

    for key in formats:
        if unfold(key, 0) > MOST_FIELDS:
            raise LogError(
                Problem(
                    f"message {key.decode('ascii', 'replace')!r} unfolds to more than {MOST_FIELDS} fields: "
                    "the file is damaged",
                    "copy the log again",
                    name,
                )
            )
