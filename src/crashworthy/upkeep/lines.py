"""A journal as text: one event a line, JSON (RFC 8259), UTF-8.

The writing is canonical: fields in one order, values at their default left out, times in UTC with ms, so the
same event has the same bytes everywhere and a digest of them means something.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from uuid import UUID

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.events import Event
from crashworthy.upkeep.payloads import KINDS, Payload, payload_from

__all__ = [
    "VERSION",
    "JournalFile",
    "from_line",
    "payload_text",
    "read_journal",
    "read_lines",
    "said_digest",
    "to_line",
    "trusted_payload",
    "write_lines",
]

VERSION: Final = 1
"""Version of the line format, written as ``v``."""

_LINE_LIMIT: Final = 64 * 1024
_IDS: Final = frozenset({"target", "replaced_by", "crash"})
# A journal is read payload by payload: what ``json.loads`` does around these two is half of its time.
_scan: Final = json.JSONDecoder().raw_decode
_set: Final = object.__setattr__
_HEAD: Final = ("v", "id", "quad", "kind", "occurred", "device", "seq")


def payload_text(event: Event) -> str:
    """The payload alone as canonical JSON."""
    return json.dumps(event.payload.to_json(), separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def said_digest(kind: str, payload: str) -> bytes:
    """What tells one thing said from every other: 16 bytes of SHA-256 over kind and canonical payload."""
    return hashlib.sha256(f"{kind}\n{payload}".encode()).digest()[:16]


def trusted_payload(kind: str, text: str) -> Payload:
    """A payload from canonical JSON that was checked when it was stored; skips the rules.

    Raises:
        ValueError, KeyError: when the text was damaged since.
    """
    cls = KINDS[kind]
    values, end = _scan(text)
    if end != len(text):
        raise ValueError("there is more than one JSON value")
    payload: Payload = object.__new__(cls)
    for name in cls.rules:
        if name not in values:
            _set(payload, name, cls.defaults[name])
            continue
        value = values[name]
        if type(value) is list:
            value = tuple(value)
        elif name in _IDS and value is not None:
            value = UUID(value)
        _set(payload, name, value)
    return payload


def to_line(event: Event) -> str:
    """One event as one line of JSON, without the line break."""
    head = {
        "v": VERSION,
        "id": str(event.id),
        "quad": event.quad,
        "kind": event.kind,
        "occurred": event.occurred.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "device": event.device,
        "seq": event.device_seq,
    }
    # Payload fields stand beside the head: no payload has a field of those names (a test holds that).
    return json.dumps(
        head | event.payload.to_json(), separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def from_line(text: str) -> Event:
    """Read one line.

    Args:
        text: one JSON object.

    Returns:
        The event.

    Raises:
        JournalError: naming every field that cannot be accepted, and what to do.
    """
    values = _object(text)
    version = values.get("v", VERSION)
    if version != VERSION or isinstance(version, bool):
        remedy = "update this program" if isinstance(version, int) and version > VERSION else 'write "v":1'
        raise JournalError(Problem(f"is {version!r:.20}, not {VERSION}", remedy, field="v"))
    missing = [Problem("is missing", "every event needs it", field=n) for n in _HEAD[1:] if n not in values]
    if missing:
        raise JournalError(*missing)
    payload = payload_from(values["kind"], {k: v for k, v in values.items() if k not in _HEAD})
    try:
        return Event(
            values["id"], values["quad"], values["occurred"], values["device"], values["seq"], payload
        )
    except JournalError as error:
        # In a line the number is called seq.
        raise JournalError(
            *(
                Problem(p.what, p.remedy, field="seq" if p.field == "device_seq" else p.field)
                for p in error.problems
            )
        ) from None


def _object(text: str) -> dict[str, Any]:
    if len(text) > _LINE_LIMIT:
        raise JournalError(Problem(f"has {len(text)} characters", f"a line has at most {_LINE_LIMIT}"))
    try:
        values = json.loads(text, object_pairs_hook=_no_doubles, parse_constant=_no_constant)
    except (ValueError, RecursionError) as problem:
        what = str(problem) if isinstance(problem, _FormError) else "is not one JSON object"
        raise JournalError(
            Problem(what, 'write it like {"v":1,"id":"...","quad":"...","kind":"pack",...}')
        ) from None
    if not isinstance(values, dict) or not isinstance(values.get("kind", ""), str):
        raise JournalError(Problem("is not one JSON object with a kind", "use one of " + ", ".join(KINDS)))
    return values


class _FormError(ValueError):
    """JSON that is allowed by the grammar or the parser, and not here."""


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    values = dict(pairs)
    if len(values) != len(pairs):
        raise _FormError("names a field twice")
    return values


def _no_constant(name: str) -> float:
    raise _FormError(f"holds {name}, which is not JSON")


@dataclass(frozen=True, slots=True)
class JournalFile:
    """What reading a journal gave.

    Attributes:
        events: every line that could be read, in file order.
        problems: what is wrong with the others, with file, line and field.
        bad_lines: (line number, text) of the others as they stand, so that nothing is lost.
    """

    events: tuple[Event, ...]
    problems: tuple[Problem, ...]
    bad_lines: tuple[tuple[int, str], ...]

    def summary(self) -> str:
        """One sentence with the counts."""
        text = f"{len(self.events)} events read"
        return f"{text}, {len(self.bad_lines)} lines could not be read" if self.bad_lines else text


def read_lines(lines: Iterable[bytes | str], file: str = "") -> JournalFile:
    """Read lines; a bad one is reported and does not stop the rest.

    Args:
        lines: with or without line breaks; bytes are taken as UTF-8. Blank lines are skipped.
        file: how to name the file in problems.

    Returns:
        The events and the problems.
    """
    events: list[Event] = []
    problems: list[Problem] = []
    bad: list[tuple[int, str]] = []
    for number, raw in enumerate(lines, start=1):
        try:
            text = raw if isinstance(raw, str) else raw.decode("utf-8")
            # The mark that some editors put before the first character of a file.
            text = (text.removeprefix("\ufeff") if number == 1 else text).strip()
            if text:
                events.append(from_line(text))
        except UnicodeDecodeError:
            problems.append(Problem("is not UTF-8 text", "save the file as UTF-8", file, number))
            bad.append((number, raw.decode("utf-8", "replace").strip() if isinstance(raw, bytes) else raw))
        except JournalError as error:
            problems += [Problem(p.what, p.remedy, file, number, p.field) for p in error.problems]
            bad.append((number, text))
    return JournalFile(tuple(events), tuple(problems), tuple(bad))


def read_journal(path: Path | str) -> JournalFile:
    """Read a journal file.

    Raises:
        JournalError: when the file itself cannot be read.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            return read_lines(file, str(path))
    except OSError as problem:
        raise JournalError(
            Problem(problem.strerror or "cannot be read", "check the name and your rights", str(path))
        ) from None


def write_lines(events: Iterable[Event]) -> Iterator[str]:
    """Each event as a line with its line break, to be written to a file as UTF-8."""
    for event in events:
        yield to_line(event) + "\n"
