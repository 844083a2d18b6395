"""Pictures in the data folder: kept under the name of their own digest, so that a changed one is found."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path
from typing import Final

from crashworthy.errors import Problem, StoreError

__all__ = ["LIMIT", "keep_photo", "photo_path"]

LIMIT: Final = 20 * 1024 * 1024
"""Largest picture, bytes."""

_FIRST: Final = ((b"\xff\xd8\xff", "jpg"), (b"\x89PNG\r\n\x1a\n", "png"))


def _kind(data: bytes) -> str | None:
    for first, kind in _FIRST:
        if data.startswith(first):
            return kind
    return "webp" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else None


def keep_photo(root: Path, source: Path) -> tuple[str, str]:
    """Copy a picture into the data folder; the same picture twice is kept once.

    Args:
        root: data folder.
        source: the picture.

    Returns:
        (name in the folder "photos", sha256 in hexadecimal).

    Raises:
        StoreError: it cannot be read or written, is too large, or is no JPEG, PNG or WebP.
    """
    try:
        if source.stat().st_size > LIMIT:
            raise StoreError(Problem("is larger than 20 MB", "make a smaller picture of it", str(source)))
        data = source.read_bytes()
    except OSError as problem:
        raise StoreError(
            Problem(problem.strerror or "cannot be read", "check the name", str(source))
        ) from None
    kind = _kind(data)
    if kind is None:
        raise StoreError(Problem("is no JPEG, PNG or WebP picture", "save it as one", str(source)))
    sha = hashlib.sha256(data).hexdigest()
    name = f"{sha[:16]}.{kind}"
    target = root / "photos" / name
    if not target.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, spare = tempfile.mkstemp(dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(spare).replace(target)
        except OSError as problem:
            Path(spare).unlink(missing_ok=True)
            raise StoreError(
                Problem(problem.strerror or "cannot be written", "make room", str(target))
            ) from None
    return name, sha


def photo_path(root: Path, name: str) -> Path | None:
    """Where a kept picture lies, or None when it is not here (a journal travels without its pictures)."""
    plain = Path(name).name
    path = root / "photos" / plain
    return path if plain == name and path.is_file() else None
