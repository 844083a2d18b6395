"""Chunks of a campaign, kept as they are computed, so that nothing is computed twice.

    DATA/chunks/<name>.npz      the name is a digest of all that the result depends on

A campaign that was stopped takes up where it was: finished chunks are read, the rest is run, and the result
has the same bytes. The folder holds nothing that cannot be computed again; beyond a size the oldest go.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, Any, Final, Protocol, TypeVar

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["LIMIT", "ChunkStore", "Named"]

LIMIT: Final = 500_000_000
"""Most bytes kept."""

_NAME: Final = re.compile(r"[A-Za-z0-9_-]{1,120}")

Arrays = dict[str, Any]


class Named(Protocol):
    """A unit of work whose name is a digest of everything its result depends on."""

    @property
    def name(self) -> str:
        """The name."""
        ...


W = TypeVar("W", bound=Named)


class ChunkStore:
    """A folder of finished chunks."""

    def __init__(self, folder: Path, limit: int = LIMIT) -> None:
        """Use a folder, made when the first chunk is kept.

        Args:
            folder: where.
            limit: bytes beyond which the oldest chunks go.
        """
        self.folder, self.limit = folder, limit

    def keeping(
        self, run: Callable[[Callable[[W], Arrays], Iterable[W]], Iterator[Arrays]]
    ) -> Callable[[Callable[[W], Arrays], Iterable[W]], Iterator[Arrays]]:
        """An ordered map that reads what is here and has only the rest run.

        Args:
            run: the ordered map of an executor.

        Returns:
            An ordered map with the same results in the same order.
        """

        def mapped(function: Callable[[W], Arrays], works: Iterable[W]) -> Iterator[Arrays]:
            listed = list(works)
            known = {work.name for work in listed if self._path(work.name).is_file()}
            fresh = run(function, [work for work in listed if work.name not in known])
            try:
                for work in listed:
                    result = self.read(work.name) if work.name in known else None
                    if result is None and work.name in known:  # damaged, or tidied away a moment ago
                        result = function(work)
                        self.write(work.name, result)
                    elif result is None:
                        result = next(fresh)
                        self.write(work.name, result)
                    yield result
            finally:
                close = getattr(fresh, "close", None)
                if close is not None:
                    close()
                self.tidy()

        return mapped

    def read(self, name: str) -> Arrays | None:
        """The arrays of a chunk; None when it is not here or not whole."""
        path = self._path(name)
        try:
            with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as file:
                return {key: file[key] for key in file.files}
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return None

    def write(self, name: str, arrays: Arrays) -> None:
        """Keep a chunk in one step; a full or read-only disk costs the keeping, not the campaign."""
        packed = io.BytesIO()
        np.savez_compressed(packed, **arrays)
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=self.folder, prefix=".new-", delete=False) as part:
                part.write(packed.getvalue())
            os.replace(part.name, self._path(name))  # noqa: PTH105 - one step on every platform

    def tidy(self) -> None:
        """Take away the oldest chunks beyond the limit."""
        with contextlib.suppress(OSError):
            files = sorted(
                ((p.stat().st_mtime_ns, p.stat().st_size, p) for p in self.folder.glob("*.npz")), reverse=True
            )
            total = 0
            for _, size, path in files:
                total += size
                if total > self.limit:
                    path.unlink(missing_ok=True)

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise ValueError(f"{name!r} is no name of a chunk")
        return self.folder / f"{name}.npz"
