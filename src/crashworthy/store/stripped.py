"""Pictures without what a camera writes beside them: place, time, device. No pixel is coded again.

Only what a decoder needs is copied, segment by segment; everything after the end mark is cut off.
Formats: JPEG (ITU-T T.81, annex B), PNG (ISO/IEC 15948, clause 5), WebP (RFC 9649, section 2).
"""

from __future__ import annotations

import re
import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crashworthy.errors import Problem, StoreError

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["PIXELS", "Picture", "kind_of", "stripped"]

PIXELS: Final = 200_000_000
"""Most pixels of a picture: one that claims more would choke whoever looks at it."""

_PNG: Final = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT: Final = (b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"sRGB")
_WEBP_KEPT: Final = (b"VP8 ", b"VP8L", b"VP8X", b"ALPH")
_ALPHA: Final = 0x10  # of the flags of VP8X, the only one that still holds
_FRAMES: Final = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_JPEG_KEPT: Final = _FRAMES | {0xC4, 0xCC, 0xDA, 0xDB, 0xDC, 0xDD}
_JPEG_DROPPED: Final = frozenset(range(0xE0, 0xFF))  # applications, extensions, comments
_AFTER_SCAN: Final = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")  # neither a stuffed byte nor a restart


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that says nothing but itself.

    Attributes:
        data: the file.
        kind: "jpg", "png" or "webp".
        width, height: as it is shown, turned as the camera was held, pixels.
    """

    data: bytes
    kind: str
    width: int
    height: int

    def summary(self) -> str:
        """One sentence with numbers."""
        return f"{self.width} x {self.height} pixels, {len(self.data) / 1e6:.1f} MB, {self.kind.upper()}."

    def to_json(self) -> dict[str, object]:
        """Plain dict, without the picture itself."""
        return {"kind": self.kind, "width": self.width, "height": self.height, "bytes": len(self.data)}


def kind_of(data: bytes) -> str | None:
    """The kind of picture by its first bytes, whatever its name: "jpg", "png", "webp" or None."""
    if data.startswith(b"\xff\xd8\xff"):
        return "jpg"
    if data.startswith(_PNG):
        return "png"
    return "webp" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else None


def stripped(data: bytes, name: str = "picture") -> Picture:
    """The picture alone.

    Args:
        data: a whole file.
        name: what to call it when it is refused.

    Raises:
        StoreError: it is no JPEG, PNG or WebP, is broken off or not built as its format asks, moves, or
            claims more than ``PIXELS``.
    """
    kind = kind_of(data)
    if kind is None:
        raise StoreError(Problem("is no JPEG, PNG or WebP picture", "save it as one", name))
    try:
        kept, width, height = {"jpg": _jpeg, "png": _png, "webp": _webp}[kind](data)
        if not 0 < width * height <= PIXELS:
            raise _BrokenError(f"claims {width} x {height} pixels")
    except (_BrokenError, struct.error) as problem:
        what = str(problem) if isinstance(problem, _BrokenError) else "breaks off before its end"
        raise StoreError(
            Problem(f"cannot be kept: it {what}", "open it, save it as a new JPEG and take that", name)
        ) from None
    return Picture(kept, kind, width, height)


class _BrokenError(Exception):
    """Why a file is not built as its format asks, as the end of a sentence that begins with "it"."""


def _jpeg(data: bytes) -> tuple[bytes, int, int]:
    out, turn, size, scanned = bytearray(), 1, (0, 0), False
    at = 2
    while True:
        marker, body, end = _segment(data, at)
        if marker == 0xD9:
            break
        if marker in _JPEG_KEPT:
            if marker in _FRAMES:
                if size != (0, 0):
                    raise _BrokenError("holds a second picture within the first")
                size = struct.unpack_from(">HH", body, 1)
            if marker == 0xDA:
                scanned = True
                found = _AFTER_SCAN.search(data, end)
                if found is None:
                    raise _BrokenError("breaks off before its end")
                end = found.start()
            out += data[at:end]
        elif marker == 0xE0 and body.startswith(b"JFIF\0") and len(body) >= 14:
            out += _marked(0xE0, body[:12] + b"\0\0")  # density, but no preview
        elif marker == 0xE1 and body.startswith(b"Exif\0\0"):
            turn = _turn(body[6:]) or turn
        elif marker == 0xEE and body.startswith(b"Adobe") and len(body) >= 12:
            out += _marked(0xEE, b"Adobe\0\x64\0\0\0\0" + body[11:12])  # which colours the channels are
        elif marker not in _JPEG_DROPPED:
            raise _BrokenError(f"has a segment FF{marker:02X} where none may be")
        at = end
    if not scanned:
        raise _BrokenError("has no picture in it")
    height, width = size
    if turn >= 5:  # lying on its side
        width, height = height, width
    return b"\xff\xd8" + (_turned(turn) if turn > 1 else b"") + bytes(out) + b"\xff\xd9", width, height


def _segment(data: bytes, at: int) -> tuple[int, bytes, int]:
    """(marker, body, where it ends) of the segment at ``at``; an end mark has no body."""
    start = at
    while data[at : at + 1] == b"\xff":
        at += 1
    if at == start:
        raise _BrokenError(
            "breaks off before its end" if at >= len(data) else "has no segment where one must be"
        )
    marker, body = struct.unpack_from(">B", data, at)[0], at + 3
    if marker == 0xD9:
        return marker, b"", at + 1
    (length,) = struct.unpack_from(">H", data, at + 1)
    end = at + 1 + length
    if length < 2 or end > len(data):
        raise _BrokenError("breaks off before its end")
    return marker, data[body:end], end


def _marked(marker: int, body: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def _turn(tiff: bytes) -> int | None:
    """How the camera was held, 1 to 8 (JEITA CP-3451, tag 0x0112); None when it does not say."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(tiff[:4])
    if order is None:
        return None
    try:
        (at,) = struct.unpack_from(order + "I", tiff, 4)
        (count,) = struct.unpack_from(order + "H", tiff, at)
        for entry in range(at + 2, at + 2 + 12 * count, 12):
            tag, kind, many, value = struct.unpack_from(order + "HHIH", tiff, entry)
            if (tag, kind, many) == (0x0112, 3, 1):
                return int(value) if 1 <= value <= 8 else None
    except struct.error:  # it is dropped in any case
        return None
    return None


def _turned(turn: int) -> bytes:
    """A segment that says how the camera was held, and nothing else."""
    tiff = struct.pack("<2sHIHHHIHHI", b"II", 42, 8, 1, 0x0112, 3, 1, turn, 0, 0)
    return _marked(0xE1, b"Exif\0\0" + tiff)


def _png(data: bytes) -> tuple[bytes, int, int]:
    out, size, drawn, at = bytearray(_PNG), (0, 0), False, len(_PNG)
    while True:
        length, name = struct.unpack_from(">I4s", data, at)
        end = at + 12 + length
        if end > len(data):
            raise _BrokenError("breaks off before its end")
        if (at == len(_PNG)) != (name == b"IHDR") or (name == b"IHDR" and length != 13):
            raise _BrokenError("does not begin with one header")
        if zlib.crc32(data[at + 4 : end - 4]) != struct.unpack_from(">I", data, end - 4)[0]:
            raise _BrokenError("is damaged: a check sum is wrong")
        if name == b"IHDR":
            size = struct.unpack_from(">II", data, at + 8)
        drawn = drawn or name == b"IDAT"
        if name in _PNG_KEPT:
            out += data[at:end]
        elif not name[0] & 0x20:  # a capital first letter: no decoder may leave it out
            raise _BrokenError("needs a decoder of its own")
        if name == b"IEND":
            break
        at = end
    if not drawn:
        raise _BrokenError("has no picture in it")
    return bytes(out), *size


def _webp(data: bytes) -> tuple[bytes, int, int]:
    out, size, drawn = bytearray(), (0, 0), False
    for name, body in _riff(data):
        if name in (b"ANIM", b"ANMF"):
            raise _BrokenError("is a moving picture")
        if name not in _WEBP_KEPT:
            continue
        kept = body
        if name == b"VP8X":
            if len(body) != 10:
                raise _BrokenError("has no header of the right length")
            kept = bytes([body[0] & _ALPHA, 0, 0, 0]) + body[4:]
            size = (1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little"))
        elif name in (b"VP8 ", b"VP8L"):
            if drawn:
                raise _BrokenError("holds a second picture within the first")
            drawn = True
            size = size if size != (0, 0) else _webp_size(name, body)
        out += name + struct.pack("<I", len(kept)) + kept + b"\0" * (len(kept) % 2)
    if not drawn:
        raise _BrokenError("has no picture in it")
    return b"RIFF" + struct.pack("<I", 4 + len(out)) + b"WEBP" + bytes(out), *size


def _riff(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """(name, body) of each chunk."""
    (length,) = struct.unpack_from("<I", data, 4)
    stop, at = 8 + length, 12
    if stop > len(data):
        raise _BrokenError("breaks off before its end")
    while at < stop:
        name, length = struct.unpack_from("<4sI", data, at)
        if at + 8 + length > stop:
            raise _BrokenError("breaks off before its end")
        yield name, data[at + 8 : at + 8 + length]
        at += 8 + length + length % 2


def _webp_size(name: bytes, body: bytes) -> tuple[int, int]:
    if name == b"VP8L":  # RFC 9649, section 3.4
        mark, bits = struct.unpack_from("<BI", body)
        if mark != 0x2F:
            raise _BrokenError("has no picture in it")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    start, width, height = struct.unpack_from("<3sHH", body, 3)  # RFC 6386, section 9.1
    if start != b"\x9d\x01\x2a":
        raise _BrokenError("has no picture in it")
    return width & 0x3FFF, height & 0x3FFF
