"""What a camera writes beside a picture is gone, the picture is whole, a bent file is refused in words."""

from __future__ import annotations

import random
import struct
import zlib

import pytest

from crashworthy.errors import StoreError
from crashworthy.store.stripped import stripped

PLACE = b"GPSLatitude 51 28 38"
SCAN = b"\x12\x34\xff\x00\x56\xff\xd0\x78"


def segment(marker: int, body: bytes) -> bytes:
    """One segment of a JPEG."""
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def exif(turn: int, order: str = ">") -> bytes:
    """A camera's own segment: how it was held, and where."""
    head = b"MM\0*" if order == ">" else b"II*\0"
    rows = struct.pack(order + "HHIHH", 0x0112, 3, 1, turn, 0) + struct.pack(order + "HHII", 0x8825, 4, 1, 38)
    return b"Exif\0\0" + head + struct.pack(order + "IH", 8, 2) + rows + bytes(4) + PLACE


FRAME = segment(0xC0, struct.pack(">BHHB", 8, 300, 400, 1) + b"\x01\x11\x00")
TABLES = segment(0xDB, bytes(65)) + FRAME + segment(0xC4, bytes(20))
DRAWN = segment(0xDA, b"\x01\x01\x00\x00\x3f\x00") + SCAN


def jpeg(turn: int = 6, order: str = ">") -> bytes:
    """A picture as a phone writes it: place, preview, comment, a second picture behind the first."""
    return (
        b"\xff\xd8"
        + segment(0xE0, b"JFIF\0\x01\x01\0\0\x48\0\x48\x01\x01" + b"\xaa\xbb\xcc")
        + segment(0xE1, exif(turn, order))
        + segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + PLACE)
        + segment(0xE2, b"MPF\0" + PLACE)
        + segment(0xED, PLACE)
        + segment(0xFE, PLACE)
        + TABLES
        + DRAWN
        + segment(0xFE, PLACE)
        + segment(0xC4, bytes(20))
        + DRAWN
        + b"\xff\xd9"
        + PLACE
        + b"\xff\xd8\xff\xe1"
    )


def chunk(name: bytes, body: bytes) -> bytes:
    """One chunk of a PNG."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


HEADER = chunk(b"IHDR", struct.pack(">IIBBBBB", 4, 3, 8, 0, 0, 0, 0))
PIXELS = chunk(b"IDAT", zlib.compress(bytes(15)))
PNG = (
    b"\x89PNG\r\n\x1a\n"
    + HEADER
    + chunk(b"gAMA", struct.pack(">I", 45455))
    + chunk(b"eXIf", PLACE)
    + chunk(b"tEXt", b"Comment\0" + PLACE)
    + chunk(b"iCCP", PLACE)
    + chunk(b"tIME", bytes(7))
    + chunk(b"tRNS", b"\0\1")
    + PIXELS
    + chunk(b"zzZz", PLACE)
    + chunk(b"IEND", b"")
    + PLACE
)


def piece(name: bytes, body: bytes) -> bytes:
    """One chunk of a WebP."""
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def webp(*pieces: bytes) -> bytes:
    """A WebP of these chunks."""
    body = b"WEBP" + b"".join(pieces)
    return b"RIFF" + struct.pack("<I", len(body)) + body


LOSSLESS = piece(b"VP8L", b"\x2f" + struct.pack("<I", 399 | 299 << 14) + b"\x01\x02\x03\x04")
LOSSY = piece(b"VP8 ", b"\x10\x02\x00\x9d\x01\x2a" + struct.pack("<HH", 400, 300) + b"\x07\x08")
WHOLE = (
    webp(
        piece(b"VP8X", bytes([0x3C, 0, 0, 0]) + (399).to_bytes(3, "little") + (299).to_bytes(3, "little")),
        piece(b"ICCP", PLACE),
        piece(b"ALPH", b"\x01\x02\x03"),
        LOSSY,
        piece(b"EXIF", PLACE + b"!"),
        piece(b"XMP ", PLACE),
        piece(b"what", PLACE),
    )
    + PLACE
)


def tried(data: bytes) -> bytes | None:
    """What is kept of a file, or None when it is refused with a way out."""
    try:
        return stripped(data).data
    except StoreError as refused:
        return None if refused.problems[0].remedy else b"refused without a way out"


@pytest.mark.parametrize("order", [">", "<"])
@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_a_jpeg_keeps_its_pixels_and_how_it_was_held_and_nothing_else(turn, order):
    """Tables, frames and scans come through byte by byte; of all else only the turn is left, written anew."""
    data = jpeg(turn, order)
    found = stripped(data)
    assert PLACE in data
    assert PLACE not in found.data
    assert b"MPF" not in found.data
    assert found.data.endswith(TABLES + DRAWN + segment(0xC4, bytes(20)) + DRAWN + b"\xff\xd9")
    assert (found.width, found.height) == ((300, 400) if turn >= 5 else (400, 300))
    assert found.data.count(b"Exif") == (turn > 1)
    assert b"\xaa\xbb\xcc" not in found.data  # the preview
    again = stripped(found.data)
    assert (again.data, again.width, again.height) == (found.data, found.width, found.height)


def test_a_jpeg_keeps_which_colours_its_channels_are():
    """The one application segment that decoders need comes through, cut to that."""
    mark = segment(0xEE, b"Adobe\0\x64\x12\x34\x56\x78\x02" + PLACE)
    kept = stripped(b"\xff\xd8" + mark + TABLES + DRAWN + b"\xff\xd9").data
    assert segment(0xEE, b"Adobe\0\x64\0\0\0\0\x02") in kept
    assert PLACE not in kept


def test_a_png_keeps_only_what_draws_it():
    """Header, pixels, transparency and gamma; words, place, time and profile are gone."""
    found = stripped(PNG)
    kept = (
        HEADER,
        chunk(b"gAMA", struct.pack(">I", 45455)),
        chunk(b"tRNS", b"\0\1"),
        PIXELS,
        chunk(b"IEND", b""),
    )
    assert found.data == b"\x89PNG\r\n\x1a\n" + b"".join(kept)
    assert (found.width, found.height, found.kind) == (4, 3, "png")


def test_a_webp_keeps_its_pixels_and_its_flags_hold():
    """Place and profile are gone, and the header no longer claims them; only alpha is left of the flags."""
    found = stripped(WHOLE)
    head = bytes([0x10, 0, 0, 0]) + (399).to_bytes(3, "little") + (299).to_bytes(3, "little")
    assert found.data == webp(piece(b"VP8X", head), piece(b"ALPH", b"\x01\x02\x03"), LOSSY)
    assert (found.width, found.height) == (400, 300)
    for plain in (LOSSY, LOSSLESS):
        assert stripped(webp(plain) + PLACE).data == webp(plain)
        assert (stripped(webp(plain)).width, stripped(webp(plain)).height) == (400, 300)


@pytest.mark.parametrize("data", [jpeg(), PNG, WHOLE], ids=["jpg", "png", "webp"])
def test_every_cut_of_a_file_is_refused_or_whole(data):
    """However much is cut off: it is refused in words, or only what stood after the end mark was missing."""
    whole = stripped(data).data
    for length in range(len(data)):
        kept = tried(data[:length])
        assert kept in (None, whole)


@pytest.mark.parametrize("data", [jpeg(), PNG, WHOLE], ids=["jpg", "png", "webp"])
def test_bytes_changed_at_random_never_break_out(data):
    """3000 files with 1 to 4 bytes changed end in a picture or in words, and none grows."""
    chance = random.Random(7)  # noqa: S311 - bends files, guards nothing
    for _ in range(3000):
        bent = bytearray(data)
        for _ in range(chance.randint(1, 4)):
            bent[chance.randrange(len(bent))] = chance.randrange(256)
        assert len(tried(bytes(bent)) or b"") <= len(bent) + 40


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"GIF89a" + bytes(20), "is no JPEG"),
        (b"<svg onload='x()'/>", "is no JPEG"),
        (b"\xff\xd8\xff\xd9", "no picture"),
        (b"\xff\xd8" + TABLES + FRAME + DRAWN + b"\xff\xd9", "second picture"),
        (
            b"\xff\xd8" + segment(0xC0, struct.pack(">BHHB", 8, 65535, 65535, 1)) + DRAWN + b"\xff\xd9",
            "65535",
        ),
        (b"\xff\xd8" + TABLES + DRAWN + segment(0x01, b"") + b"\xff\xd9", "FF01"),
        (b"\x89PNG\r\n\x1a\n" + HEADER + chunk(b"IEND", b""), "no picture"),
        (b"\x89PNG\r\n\x1a\n" + PIXELS + chunk(b"IEND", b""), "one header"),
        (b"\x89PNG\r\n\x1a\n" + HEADER + chunk(b"ABCD", b"") + PIXELS + chunk(b"IEND", b""), "decoder"),
        (b"\x89PNG\r\n\x1a\n" + HEADER[:-1] + b"\0" + PIXELS, "check sum"),
        (webp(piece(b"ANIM", bytes(6)), LOSSY), "moving"),
        (webp(LOSSY, LOSSY), "second picture"),
        (webp(piece(b"EXIF", PLACE)), "no picture"),
    ],
)
def test_hostile_files_are_refused_in_words(data, said):
    """Other formats, two pictures in one, claims of too many pixels and unknown segments are told by name."""
    with pytest.raises(StoreError, match=said):
        stripped(data)
