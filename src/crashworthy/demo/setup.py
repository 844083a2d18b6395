"""The demo: an invented fleet in a fresh data folder, with real computing on it.

Every step goes through the workshop as a pilot's acts do; the invented parts are the builds, the journal and
the simulated flight, and each says so where it is shown.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crashworthy.errors import Problem, StoreError

if TYPE_CHECKING:
    from crashworthy.workshop import Workshop

__all__ = ["FLOWN", "SEED", "STEPS", "N", "fresh_folder", "set_up", "sheets"]

N: Final = 2000
"""Crashes of the demo's campaign of each quad."""

SEED: Final = 7

FLOWN: Final = "gannet"
"""The quad that flew the simulated flight."""

Progress = Callable[[int, int], None]


def sheets() -> tuple[Path, ...]:
    """The example sheets: in the installed package, or beside the source tree."""
    here = Path(__file__).resolve()
    for folder in (here.parent / "examples", here.parents[3] / "examples"):
        found = tuple(sorted(folder.glob("*.toml")))
        if found:
            return found
    raise StoreError(Problem("the example sheets are not installed", "install crashworthy again"))


def fresh_folder(wanted: Path | None) -> Path:
    """A folder that holds nothing yet.

    Args:
        wanted: take this one, which must be empty or absent; None makes a new one near the usual data folder.

    Raises:
        StoreError: the folder holds something already.
    """
    from crashworthy.store.folder import default_folder

    if wanted is None:
        base = default_folder().parent / "crashworthy-demo"
        try:
            base.mkdir(parents=True, exist_ok=True)
            return Path(tempfile.mkdtemp(prefix=f"{datetime.now(UTC):%Y%m%d-%H%M%S}-", dir=base))
        except OSError as problem:
            raise StoreError(
                Problem(f"cannot make a folder: {problem.strerror}", "name one with --data", str(base))
            ) from None
    if wanted.exists() and (not wanted.is_dir() or any(wanted.iterdir())):
        raise StoreError(
            Problem(
                "holds something already",
                "name an empty folder, or open it with `crashworthy serve`",
                str(wanted),
            )
        )
    return wanted


def _quads(workshop: Workshop, progress: Progress) -> str:
    found = sheets()
    for number, sheet in enumerate(found, 1):
        workshop.add_quad(sheet.read_text(encoding="utf-8"), sheet)
        progress(number, len(found))
    return f"Built {' and '.join(workshop.names().values())} from their sheets."


def _journal(workshop: Workshop, progress: Progress) -> str:
    from crashworthy.demo.journal import simulate_journal

    events, _ = simulate_journal(workshop.store.now())
    result = workshop.append(events)
    progress(1, 1)
    return f"Six weeks of invented journal: {len(result.accepted)} entries."


def _crashes(workshop: Workshop, progress: Progress) -> str:
    sentences = []
    slugs = tuple(workshop.names())
    for number, slug in enumerate(slugs):
        before = number * N

        def said(done: int, _total: int, before: int = before) -> None:
            progress(before + done, len(slugs) * N)

        campaign = workshop.crash_test(slug, N, SEED, progress=said)
        sentences.append(f"{workshop.names()[slug]}: {campaign.sentence}")
    return "\n    ".join(sentences)


def _flight(workshop: Workshop, progress: Progress) -> str:
    from crashworthy.demo.bent import bent_flight
    from crashworthy.demo.flight import demo_flight
    from crashworthy.workshop.tour_steps import spare_log

    slug = FLOWN
    with tempfile.TemporaryDirectory() as folder:
        path = demo_flight(workshop.quad(slug)).write_csv(Path(folder) / "simulated-flight.csv")
        progress(1, 3)
        with path.open("rb") as stream:
            log = workshop.add_log(slug, path.name, stream)
    progress(2, 3)
    # For the guided tour: a log to drop, not read yet.
    spare = spare_log(workshop.folder.root)
    spare.parent.mkdir(exist_ok=True)
    bent_flight(workshop.quad(slug)).write_csv(spare)
    progress(3, 3)
    return f"Simulated flight of {workshop.names()[slug]}: {log.report['summary']}"


STEPS: Final[tuple[tuple[str, Callable[[Workshop, Progress], str]], ...]] = (
    ("builds", _quads),
    ("journal", _journal),
    ("flight log", _flight),
    ("crash campaign", _crashes),
)
"""What the demo does, in order; each step returns what it has to tell."""


def set_up(workshop: Workshop) -> tuple[str, ...]:
    """Do every step without a progress bar; returns what each had to tell."""
    return tuple(step(workshop, lambda _done, _total: None) for _, step in STEPS)
