"""The data folder: sheets, drawings, drafts and logs as plain files a person can open, copy and back up.

    DATA/
      fleet.db              journal, results (unless a PostgreSQL address is given)
      sheets/gannet.toml    one build sheet a quad; its drawings stand beside it in sheets/gannet/
      drafts/gannet.toml    what was typed but is not a valid sheet yet
      logs/<sha>-<name>     flight logs as they were dropped

Every write goes to a temporary file first and is then put in place in one step, so that a crash in the middle
leaves the old file whole.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

from crashworthy.errors import NotFoundError, Problem, StoreError, said_by_system

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["DRAWING_SUFFIXES", "DataFolder", "checked_name", "default_folder", "slug_of", "write_whole"]

DRAWING_SUFFIXES: Final = (".dxf", ".stl", ".3mf", ".obj", ".step", ".stp")
"""Files that a sheet may name."""

DRAWING_LIMIT: Final = 64 * 1024 * 1024
"""Largest drawing, bytes."""

MOST_DRAWINGS: Final = 200
"""Most drawings of one quad."""

LOG_LIMIT: Final = 256 * 1024 * 1024
"""Largest flight log, bytes."""

LOGS_LIMIT: Final = 20 * 1024**3
"""Most bytes of flight logs in one folder; beyond it old ones must be moved away by hand."""

_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._ -]{0,99}")


def default_folder() -> Path:
    """Where data lives when nobody says: the platform's folder for application data."""
    from platformdirs import user_data_path

    return user_data_path("crashworthy", appauthor=False)


def slug_of(name: str) -> str:
    """Turn "Gannet 5" into "gannet-5", fit for a file name and an address.

    Raises:
        StoreError: nothing is left of the name.
    """
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60].strip("-")
    if not slug:
        raise StoreError(Problem(f"{name!r} has no letter or digit", "give the quad a name", field="name"))
    return slug


def _checked_slug(slug: str) -> str:
    if not _SLUG.fullmatch(slug):
        raise NotFoundError(Problem(f"no quad is called {slug!r}", "see the fleet for the names"))
    return slug


def checked_name(name: str) -> str:
    """A name that may become a file in the folder.

    Raises:
        StoreError: it has a folder in it or odd letters.
    """
    plain = Path(name).name
    if plain != name or not _NAME.fullmatch(name):
        raise StoreError(
            Problem(f"{name!r} cannot be a file name here", "use letters, digits, - _ . and spaces")
        )
    return plain


def _stamped(files: Iterable[Path]) -> tuple[tuple[str, int, int], ...]:
    return tuple((p.name, (state := p.stat()).st_mtime_ns, state.st_size) for p in files)


class DataFolder:
    """The files of one fleet."""

    def __init__(self, root: Path) -> None:
        """Use ``root``, made when it does not exist.

        Raises:
            StoreError: it cannot be made or written.
        """
        self.root = root
        try:
            for sub in ("sheets", "drafts", "logs"):
                (root / sub).mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise StoreError(
                Problem(
                    f"cannot use this folder: {problem.strerror}", "choose another with --data", str(root)
                )
            ) from None

    @property
    def database(self) -> Path:
        """Where the SQLite file lies."""
        return self.root / "fleet.db"

    def slugs(self) -> tuple[str, ...]:
        """Slugs of every quad with a sheet, sorted."""
        return tuple(sorted(p.stem for p in (self.root / "sheets").glob("*.toml") if _SLUG.fullmatch(p.stem)))

    def sheet(self, slug: str) -> Path:
        """Path of a quad's sheet.

        Raises:
            NotFoundError: there is none.
        """
        path = self.root / "sheets" / f"{_checked_slug(slug)}.toml"
        if not path.is_file():
            known = ", ".join(self.slugs()) or "none yet"
            raise NotFoundError(Problem(f"no quad is called {slug!r}", f"quads in this folder: {known}"))
        return path

    def stamp(self, slug: str) -> tuple[tuple[str, int, int], ...]:
        """Name, time (ns) and size of a sheet and of every drawing: equal while nothing changed."""
        return _stamped([self.sheet(slug), *self._drawings()])

    def stamp_of_all(self) -> tuple[tuple[str, int, int], ...]:
        """The same of every sheet and drawing."""
        return _stamped([*sorted((self.root / "sheets").glob("*.toml")), *self._drawings()])

    def _drawings(self) -> list[Path]:
        every = (self.root / "sheets").rglob("*")
        return sorted(p for p in every if p.suffix.lower() in DRAWING_SUFFIXES)

    def drawings(self, slug: str) -> Path:
        """Folder of a quad's drawings, made when it does not exist."""
        path = self.root / "sheets" / _checked_slug(slug)
        path.mkdir(exist_ok=True)
        return path

    def write_sheet(self, slug: str, text: str) -> Path:
        """Put a sheet in place in one step and drop its draft."""
        path = self.root / "sheets" / f"{_checked_slug(slug)}.toml"
        write_whole(path, text.encode())
        self.draft_path(slug).unlink(missing_ok=True)
        return path

    def draft_path(self, slug: str) -> Path:
        """Where a quad's draft would lie."""
        return self.root / "drafts" / f"{_checked_slug(slug)}.toml"

    def write_draft(self, slug: str, text: str) -> None:
        """Keep what was typed though it is not valid yet."""
        write_whole(self.draft_path(slug), text.encode())

    def before_path(self, slug: str) -> Path:
        """Where the sheet from before the last change of a quad's build would lie."""
        return self.root / "drafts" / f"{_checked_slug(slug)}.before.toml"

    def keep_before(self, slug: str) -> None:
        """Keep the sheet that is about to be replaced, so that the change can be taken back."""
        write_whole(self.before_path(slug), self.sheet(slug).read_bytes())

    def copy(self, sheet: Path, files: Iterable[str]) -> None:
        """Copy the drawings that a sheet names (relative to it) into the folder; paths keep their shape.

        Raises:
            StoreError: a file cannot be copied, or would land outside the folder.
        """
        base = (self.root / "sheets").resolve()
        for name in files:
            target = (base / name).resolve()
            if not target.is_relative_to(base) or target == base:
                raise StoreError(
                    Problem(f"{name!r} lies outside the sheet's folder", "put it beside the sheet")
                )
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                shutil.copyfile(sheet.parent / name, target)
            except shutil.SameFileError:
                continue
            except OSError as problem:
                raise StoreError(
                    Problem(f"cannot copy {name}: {problem.strerror}", file=str(sheet))
                ) from None

    def fits(self, slug: str, name: str, data: bytes) -> None:
        """See that a quad may keep a drawing under this name.

        Raises:
            StoreError: not a drawing's suffix, a name unfit for a file, too large, or one too many.
        """
        plain = checked_name(name)
        if Path(plain).suffix.lower() not in DRAWING_SUFFIXES:
            raise StoreError(
                Problem(
                    f"{name!r} is no drawing this tool reads", f"use one of {', '.join(DRAWING_SUFFIXES)}"
                )
            )
        if len(data) > DRAWING_LIMIT:
            what = f"{name} has {len(data) / 1e6:.0f} MB"
            raise StoreError(Problem(what, f"a drawing may have {DRAWING_LIMIT / 1e6:.0f}", field="file"))
        folder = self.drawings(slug)
        if not (folder / plain).exists() and sum(1 for _ in folder.iterdir()) >= MOST_DRAWINGS:
            what = f"this quad has {MOST_DRAWINGS} drawings already"
            raise StoreError(Problem(what, "take away those that no sheet names", str(folder)))

    def write_drawing(self, slug: str, name: str, data: bytes) -> str:
        """Keep a drawing; returns the path to write into the sheet, relative to it.

        Raises:
            StoreError: as ``fits``.
        """
        self.fits(slug, name, data)
        write_whole(self.drawings(slug) / name, data)
        return f"{slug}/{name}"

    def keep_log(self, name: str, stream: BinaryIO) -> tuple[Path, str]:
        """Keep a flight log under its content's digest; returns its path and sha256 in hex.

        Raises:
            StoreError: it is too large, the folder is full, or it cannot be written; nothing is left of it.
        """
        plain = re.sub(r"[^A-Za-z0-9._-]+", "_", Path(name.replace("\\", "/")).name)[-80:] or "log"
        folder = self.root / "logs"
        room = LOGS_LIMIT - sum(p.stat().st_size for p in folder.iterdir() if p.is_file())
        digest, size = hashlib.sha256(), 0
        spare: Path | None = None
        try:
            with tempfile.NamedTemporaryFile(dir=folder, prefix=".new-", delete=False) as part:
                spare = Path(part.name)
                while block := stream.read(1 << 20):
                    size += len(block)
                    if size > LOG_LIMIT:
                        what = f"{plain} has more than {LOG_LIMIT / 1e6:.0f} MB"
                        raise StoreError(Problem(what, "cut the log into flights", field="file"))
                    if size > room:
                        what = f"the flight logs fill {LOGS_LIMIT / 1e9:.0f} GB"
                        raise StoreError(Problem(what, "move old ones away", str(folder)))
                    digest.update(block)
                    part.write(block)
            sha = digest.hexdigest()
            path = folder / f"{sha[:16]}-{plain}"
            spare.replace(path)
        except OSError as problem:
            what = said_by_system(problem, "it cannot be written")
            raise StoreError(Problem(what, "free space or choose --data", plain)) from None
        finally:
            if spare is not None:
                spare.unlink(missing_ok=True)
        return path, sha


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that at every moment it is there whole, the old one or the new one.

    Raises:
        StoreError: it cannot be written; the old one is as it was.
    """
    spare: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".new-", delete=False) as part:
            spare = Path(part.name)
            part.write(data)
            part.flush()
            os.fsync(part.fileno())
        if path.exists():
            shutil.copymode(path, spare)
        spare.replace(path)
    except OSError as problem:
        if spare is not None:
            spare.unlink(missing_ok=True)  # half a file would hold the room that is missing
        raise StoreError(
            Problem(said_by_system(problem, "cannot be written"), "free space or choose --data", str(path))
        ) from None
