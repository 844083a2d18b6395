"""Pictures of what happened: kept, entered, found again, and those that no entry speaks of any more."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from crashworthy.workshop.journal import JournalBench

if TYPE_CHECKING:
    from pathlib import Path
    from typing import BinaryIO
    from uuid import UUID

    from crashworthy.store.journal import AppendResult
    from crashworthy.upkeep.events import Event

__all__ = ["LEFT_DAYS", "PhotoState", "PictureBench"]

LEFT_DAYS: Final = 30
"""Days that a picture without an entry stays: who took it back by mistake enters it again (a choice)."""


@dataclass(frozen=True, slots=True)
class PhotoState:
    """The folder of pictures held against the journal.

    Attributes:
        kept: names of pictures that an entry speaks of and that are as they were kept.
        missing: names that entries speak of, not in the folder: a journal travels without its pictures.
        changed: names whose bytes are not those that were kept.
        stray: (name, bytes) of files that no entry speaks of, or only entries that were taken back.
    """

    kept: tuple[str, ...]
    missing: tuple[str, ...]
    changed: tuple[str, ...]
    stray: tuple[tuple[str, int], ...]

    @property
    def ok(self) -> bool:
        """No picture was changed."""
        return not self.changed

    def summary(self) -> str:
        """A sentence for each thing that is worth knowing; empty when there is nothing to say."""
        said = []
        if self.changed:
            what = f"{_pictures(self.changed)} changed after being kept: {self.changed[0]}"
            said.append(f"{what}; copy it from a backup.")
        if self.missing:
            what = f"{_pictures(self.missing)} not in the folder photos: {self.missing[0]}"
            said.append(f"{what}; copy the folder along.")
        if self.stray:
            size = sum(size for _, size in self.stray) / 1e6
            what = f"{_pictures(self.stray)} that no entry speaks of, {size:.1f} MB"
            said.append(f"{what}: `journal tidy` takes away those older than {LEFT_DAYS} days.")
        return " ".join(said)

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "kept": len(self.kept),
            "missing": list(self.missing),
            "changed": list(self.changed),
            "stray": [name for name, _ in self.stray],
        }


def _pictures(which: tuple[Any, ...]) -> str:
    return f"{len(which)} pictures" if len(which) != 1 else "1 picture"


class PictureBench(JournalBench):
    """Pictures lie in the data folder under their digest; the journal says what they show."""

    def keep_photo(
        self, slug: str, source: Path | BinaryIO, part: str = "", text: str = "", name: str = "picture"
    ) -> Event:
        """Keep a picture in the data folder, without place, time and device, and enter it in the journal.

        Args:
            slug: of the quad.
            source: the picture, a file or an open stream.
            part: it shows, or "".
            text: what it shows.
            name: what to call a stream when it is refused.

        Raises:
            NotFoundError: no quad has that slug, or it has no such part.
            StoreError: the file cannot be read, is no whole JPEG, PNG or WebP, or is larger than 20 MB.
            JournalError: a field cannot be accepted.
        """
        from crashworthy.store.photos import keep_photo
        from crashworthy.upkeep.payloads import Photo

        self._showing(slug, part)
        kept, sha = keep_photo(self.folder.root, source, name)
        return self.record(slug, Photo(kept, sha, part, text))[0]

    def take_photo(
        self,
        slug: str,
        source: BinaryIO,
        *,
        event: UUID,
        device: str,
        device_seq: int,
        occurred: str,
        part: str = "",
        text: str = "",
    ) -> AppendResult:
        """Keep a picture that a phone took and entered itself: sent again, it is kept and entered once.

        Args:
            slug: of the quad.
            source: the picture.
            event: id that the phone gave the entry.
            device: who entered it.
            device_seq: number of the entry there.
            occurred: when, ISO 8601 with a time zone.
            part: it shows, or "".
            text: what it shows.

        Returns:
            The entry as accepted, as a duplicate, or as rejected with the reason.

        Raises:
            NotFoundError, StoreError, JournalError: as ``keep_photo``.
        """
        from crashworthy.store.journal import AppendResult
        from crashworthy.store.photos import keep_photo
        from crashworthy.upkeep.events import Event
        from crashworthy.upkeep.payloads import Photo

        self._showing(slug, part)
        told: Any = {
            "id": event,
            "quad": slug,
            "occurred": occurred,
            "device": device,
            "device_seq": device_seq,
        }
        Event(
            payload=Photo("0" * 16 + ".jpg", "0" * 64, part, text), **told
        )  # its rules, before a file is kept
        kept, sha = keep_photo(self.folder.root, source, "picture")
        if self._entered(event, slug, device, device_seq):
            return AppendResult(duplicate=(event,))
        return self.append([Event(payload=Photo(kept, sha, part, text), **told)])

    def _entered(self, event: UUID, slug: str, device: str, device_seq: int) -> bool:
        """Whether a phone's entry is here: by its marks alone, for a newer program may strip more."""
        from crashworthy.errors import NotFoundError

        try:
            known = self.store.event(event)
        except NotFoundError:
            return False
        return (known.kind, known.quad, known.device, known.device_seq) == ("photo", slug, device, device_seq)

    def _showing(self, slug: str, part: str) -> None:
        self.require(slug)
        if part:
            self.quad(slug).part(part)

    def photo(self, name: str) -> Path | None:
        """Where a kept picture lies, or None when it is not here."""
        from crashworthy.store.photos import photo_path

        return photo_path(self.folder.root, name)

    def photo_size(self, name: str) -> tuple[int, int] | None:
        """(width, height) of a kept picture in pixels, or None when it is not here."""
        from crashworthy.store.photos import photo_size

        path = self.photo(name)
        return None if path is None else photo_size(path)

    def photo_state(self) -> PhotoState:
        """Compare every picture with what the journal says of it, byte by byte.

        Raises:
            StoreError: the database or the folder cannot be used.
        """
        wanted = self._wanted()
        there = self._photo_files()
        whole = {
            name: hashlib.sha256(there[name].read_bytes()).hexdigest() for name in wanted if name in there
        }
        return PhotoState(
            kept=tuple(n for n in sorted(whole) if whole[n] == wanted[n]),
            missing=tuple(n for n in sorted(wanted) if n not in there),
            changed=tuple(n for n in sorted(whole) if whole[n] != wanted[n]),
            stray=tuple((n, there[n].stat().st_size) for n in sorted(there) if n not in wanted),
        )

    def tidy_photos(self, days: float = LEFT_DAYS) -> tuple[tuple[str, int], ...]:
        """Take away pictures that no entry speaks of, or only entries taken back, both for ``days`` days.

        Returns:
            (name, bytes) of what was taken away.

        Raises:
            StoreError: the database or the folder cannot be used.
        """
        before = datetime.now(UTC) - timedelta(days=days)
        gone = []
        there = self._photo_files()
        wanted = self._wanted(undone_since=before)  # read after the folder: what a phone sends now is in it
        for name, path in sorted(there.items()):
            state = path.stat()
            if name not in wanted and datetime.fromtimestamp(state.st_mtime, UTC) <= before:
                path.unlink(missing_ok=True)
                gone.append((name, state.st_size))
        return tuple(gone)

    def _photo_files(self) -> dict[str, Path]:
        folder = self.folder.root / "photos"
        return {p.name: p for p in folder.iterdir() if p.is_file()} if folder.is_dir() else {}

    def _wanted(self, undone_since: datetime | None = None) -> dict[str, str]:
        """Digest of each picture that an entry speaks of, by name, and of those taken back since then."""
        from crashworthy.upkeep.payloads import Photo, Retraction

        events = self.store.events()  # of every quad, those that were removed from the fleet too
        gone = {
            e.payload.target
            for e in events
            if isinstance(e.payload, Retraction) and (undone_since is None or e.occurred <= undone_since)
        }
        return {
            e.payload.file: e.payload.sha256
            for e in events
            if isinstance(e.payload, Photo) and e.id not in gone
        }
