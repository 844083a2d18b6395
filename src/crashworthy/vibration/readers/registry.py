"""Which readers there are, and which of them takes a file.

Our own readers are always there; any installed package can add one by an entry point in the group
``crashworthy.log_readers`` that names its class. When two share a name the one of this package wins, then the
first by package name.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from importlib.metadata import entry_points
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol, runtime_checkable

from crashworthy.errors import CrashworthyError, LogError, Problem

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.readers.mapping import Mapping

__all__ = ["GROUP", "OWN_READERS", "Reader", "Registry", "read_flights", "read_log", "readers"]

GROUP: Final = "crashworthy.log_readers"
"""Entry point group of the readers."""

OWN: Final = "crashworthy"

OWN_READERS: Final = {
    "csv": "crashworthy.vibration.readers.csv:CsvReader",
    "ulog": "crashworthy.vibration.readers.ulog:UlogReader",
    "recorder": "crashworthy.vibration.readers.recorder:RecorderReader",
}
"""The readers of this package; each imports what it needs only when it reads."""


@runtime_checkable
class Reader(Protocol):
    """What a reader does.

    One that can tell several flights in a file apart has a method ``read_all`` besides, with the arguments of
    ``read``, that returns a tuple of logs.
    """

    name: str

    def sniff(self, path: Path) -> float:
        """How sure it is that it can read the file, 0 (cannot) to 1 (its own magic number is there)."""

    def read(self, path: Path, mapping: Mapping | None = None, pole_pairs: int | None = None) -> FlightLog:
        """Read the file.

        Raises:
            LogError: it cannot be read.
        """


@dataclass(frozen=True, slots=True)
class Registry:
    """The readers found, and what is wrong with the others.

    Attributes:
        readers: by name, in the order in which they are asked.
        problems: one for each reader that could not be loaded or was passed over.
    """

    readers: dict[str, Reader]
    problems: tuple[Problem, ...]


def _package(entry: EntryPoint) -> str:
    return entry.dist.name if entry.dist is not None else ""


def readers() -> Registry:
    """Load every registered reader; a broken one becomes a problem, not a failure."""
    found: dict[str, Reader] = {}
    owner: dict[str, str] = {}
    problems: list[Problem] = []
    for name, place in OWN_READERS.items():
        module, _, made = place.partition(":")
        found[name], owner[name] = getattr(importlib.import_module(module), made)(), OWN
    for entry in sorted(entry_points(group=GROUP), key=lambda e: (_package(e), e.name, e.value)):
        package = _package(entry) or "an unnamed package"
        if package == OWN:
            continue
        if entry.name in found:
            if owner[entry.name] != package:
                problems.append(
                    Problem(
                        f"reader {entry.name!r} of {package} is passed over: "
                        f"{owner[entry.name]} has that name already",
                        f"rename it in {package} or uninstall one of the two",
                    )
                )
            continue
        try:
            reader = entry.load()()
        except Exception as problem:  # noqa: BLE001 - a stranger's package can fail in any way
            problems.append(
                Problem(
                    f"reader {entry.name!r} of {package} cannot be loaded: {problem!r}",
                    f"update or uninstall {package}",
                )
            )
            continue
        if not isinstance(reader, Reader):
            problems.append(
                Problem(
                    f"reader {entry.name!r} of {package} lacks name, sniff or read",
                    f"update or uninstall {package}",
                )
            )
            continue
        found[entry.name], owner[entry.name] = reader, package
    return Registry(found, tuple(problems))


def _readable(path: Path) -> None:
    name = path.name
    try:
        if path.is_dir():
            raise LogError(Problem("is a folder", "name the log file in it", name))
        if path.stat().st_size == 0:
            raise LogError(Problem("is empty", "copy the log again", name))
        with path.open("rb") as file:
            file.read(1)
    except FileNotFoundError:
        raise LogError(Problem("there is no such file", "check the path", str(path))) from None
    except (OSError, ValueError) as problem:
        raise LogError(Problem(f"cannot be opened: {problem}", "check the file", name)) from None


def read_log(
    path: str | Path,
    mapping: Mapping | None = None,
    *,
    pole_pairs: int | None = None,
    reader: str = "",
    flight: int | None = None,
) -> FlightLog:
    """Read one flight with the reader that is surest of the file.

    Args:
        path: the file.
        mapping: what its columns mean, when the reader's own guess is to be overruled.
        pole_pairs: of the motors, to turn electrical into mechanical speed.
        reader: take this reader instead of the surest.
        flight: which flight of the file, from 1; the longest when None (a note says so).

    Raises:
        LogError: no reader takes it, it cannot be read, or it has no such flight.
    """
    from crashworthy.vibration.flights import choose

    return choose(read_flights(path, mapping, pole_pairs=pole_pairs, reader=reader), flight)


def read_flights(
    path: str | Path,
    mapping: Mapping | None = None,
    *,
    pole_pairs: int | None = None,
    reader: str = "",
) -> tuple[FlightLog, ...]:
    """Read every flight of a file, in the order in which they stand in it.

    Args:
        path: the file.
        mapping: what its columns mean, when the reader's own guess is to be overruled.
        pole_pairs: of the motors, to turn electrical into mechanical speed.
        reader: take this reader instead of the surest.

    Raises:
        LogError: no reader takes it, or it cannot be read.
    """
    from crashworthy.vibration.flights import numbered

    path = Path(path)
    _readable(path)
    registry = readers()
    problems = list(registry.problems)
    if reader:
        if reader not in registry.readers:
            raise LogError(
                Problem(f"no reader is called {reader!r}", f"use one of: {', '.join(registry.readers)}"),
                *problems,
            )
        ranked = [(1.0, reader)]
    else:
        ranked = []
        for name, candidate in registry.readers.items():
            try:
                score = float(candidate.sniff(path))
            except Exception as problem:  # noqa: BLE001 - a stranger's reader can fail in any way
                problems.append(
                    Problem(f"reader {name!r} failed while looking at it: {problem!r}", "", path.name)
                )
                continue
            if score > 0.0:
                ranked.append((score, name))
        ranked.sort(key=lambda pair: -pair[0])
    if not ranked:
        known = ", ".join(registry.readers) or "none"
        raise LogError(
            Problem(
                f"no reader knows this kind of file (readers: {known})",
                "export the log as CSV, or install a reader for it",
                path.name,
            ),
            *problems,
        )
    name = ranked[0][1]
    chosen = registry.readers[name]
    every = getattr(chosen, "read_all", None)
    try:
        logs = every(path, mapping, pole_pairs) if every else (chosen.read(path, mapping, pole_pairs),)
        return numbered(logs)
    except CrashworthyError:
        raise
    except Exception as problem:
        raise LogError(
            Problem(
                f"reader {name!r} broke on this file: {problem!r}",
                "export the log as CSV, or report it to the maker of the reader",
                path.name,
            )
        ) from problem
