"""Pictures are kept whole, once, and only when they are pictures."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib

import pytest

from crashworthy.errors import StoreError
from crashworthy.store.photos import keep_photo, photo_path, photo_size


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


PNG = (
    b"\x89PNG\r\n\x1a\n"
    + _chunk(b"IHDR", struct.pack(">IIBBBBB", 4, 3, 8, 0, 0, 0, 0))
    + _chunk(b"IDAT", zlib.compress(bytes(15)))
    + _chunk(b"IEND", b"")
)


def test_a_picture_is_kept_under_its_digest_once(tmp_path):
    """The copy has the same bytes; the same picture under another name makes no second file."""
    for name in ("a.png", "b.jpeg"):
        (tmp_path / name).write_bytes(PNG)
        kept, sha = keep_photo(tmp_path / "data", tmp_path / name)
    assert sha == hashlib.sha256(PNG).hexdigest()
    assert kept == f"{sha[:16]}.png"
    assert photo_path(tmp_path / "data", kept).read_bytes() == PNG
    assert len(list((tmp_path / "data" / "photos").iterdir())) == 1
    assert photo_size(photo_path(tmp_path / "data", kept)) == (4, 3)


def test_what_stands_behind_a_picture_is_not_kept(tmp_path):
    """A stream with words after its end gives the same file as one without."""
    plain = keep_photo(tmp_path, io.BytesIO(PNG), "a.png")
    assert keep_photo(tmp_path, io.BytesIO(PNG + b"51.4778 N"), "b.png") == plain


def test_other_files_and_names_that_lead_out_are_refused(tmp_path):
    """No text, no missing file, no path outside the folder."""
    (tmp_path / "a.png").write_text("not a picture")
    for name in ("a.png", "none.png"):
        with pytest.raises(StoreError):
            keep_photo(tmp_path / "data", tmp_path / name)
    assert photo_path(tmp_path, "../a.png") is None
    assert photo_path(tmp_path, "0.jpg") is None


def test_a_huge_file_is_refused(tmp_path, monkeypatch):
    """More than the limit is not copied."""
    monkeypatch.setattr("crashworthy.store.photos.LIMIT", 50)
    (tmp_path / "a.png").write_bytes(PNG)
    with pytest.raises(StoreError, match="20 MB"):
        keep_photo(tmp_path / "data", tmp_path / "a.png")
