"""Pictures in the data folder: kept under the name of their own digest, so that a changed one is found."""

from __future__ import annotations

import hashlib
import os
import tempfile
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crashworthy.errors import Problem, StoreError, said_by_system
from crashworthy.store.stripped import stripped

if TYPE_CHECKING:
    from typing import BinaryIO

__all__ = ["LIMIT", "keep_photo", "photo_path", "photo_size"]

LIMIT: Final = 20 * 1024 * 1024
"""Largest picture, bytes."""


def keep_photo(root: Path, source: Path | BinaryIO, name: str = "picture") -> tuple[str, str]:
    """Put a picture into the data folder, without place, time and device; the same one twice is kept once.

    Args:
        root: data folder.
        source: the picture, a file or an open stream.
        name: what to call a stream when it is refused.

    Returns:
        (name in the folder "photos", sha256 of what was kept, in hexadecimal).

    Raises:
        StoreError: it cannot be read or written, is too large, or is no whole JPEG, PNG or WebP.
    """
    called = str(source) if isinstance(source, Path) else name
    try:
        if isinstance(source, Path):
            with source.open("rb") as stream:
                data = stream.read(LIMIT + 1)
        else:
            data = source.read(LIMIT + 1)
    except OSError as problem:
        raise StoreError(Problem(problem.strerror or "cannot be read", "check the name", called)) from None
    if len(data) > LIMIT:
        raise StoreError(Problem("is larger than 20 MB", "make a smaller picture of it", called))
    picture = stripped(data, called)
    sha = hashlib.sha256(picture.data).hexdigest()
    kept = f"{sha[:16]}.{picture.kind}"
    target = root / "photos" / kept
    if target.exists():
        target.touch()  # it is wanted anew: whoever tidies up must see that
    else:
        _write(target, picture.data)
    return kept, sha


def _write(target: Path, data: bytes) -> None:
    """All of it under its name, or nothing."""
    spare = None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, spare = tempfile.mkstemp(dir=target.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(spare).replace(target)
    except OSError as problem:
        if spare is not None:
            Path(spare).unlink(missing_ok=True)
        what = said_by_system(problem, "cannot be written")
        raise StoreError(Problem(what, "make room", target.name)) from None


def photo_path(root: Path, name: str) -> Path | None:
    """Where a kept picture lies, or None when it is not here (a journal travels without its pictures)."""
    plain = Path(name).name
    path = root / "photos" / plain
    return path if plain == name and path.is_file() else None


@lru_cache(maxsize=512)
def photo_size(path: Path) -> tuple[int, int] | None:
    """(width, height) of a kept picture as it is shown, pixels; None when it cannot be read.

    Remembered by name: a kept picture never changes, for its name is made of its digest.
    """
    try:
        picture = stripped(path.read_bytes())
    except (OSError, StoreError):
        return None
    return picture.width, picture.height
