"""A journal as a table (CSV, RFC 4180): one event a row, a column for each field, lists joined by ";".

The same strict rules as for lines of JSON hold. A row may leave out id, device and seq: they are then made of
the row itself, so that the same file taken twice is the same events. Text that a spreadsheet would take for a
formula gets an apostrophe in front, which reading takes off.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import fields
from typing import Any, Final
from uuid import UUID

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.events import Event, milliseconds, moment_rule, uuid7
from crashworthy.upkeep.lines import JournalFile, to_line
from crashworthy.upkeep.payloads import KINDS, payload_from
from crashworthy.upkeep.rules import BrokenRuleError

__all__ = ["COLUMNS", "read_table", "write_table"]

_HEAD: Final = ("quad", "kind", "occurred")
_TAIL: Final = ("id", "device", "seq")
_TYPES: Final = {(kind, f.name): str(f.type) for kind, cls in KINDS.items() for f in fields(cls)}  # type: ignore[arg-type] # every payload is a dataclass

COLUMNS: Final = (*_HEAD, *dict.fromkeys(name for cls in KINDS.values() for name in cls.rules), *_TAIL)
"""Every column, in the order of writing."""

_FORMULA: Final = ("=", "+", "-", "@", "'")


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ";".join(str(v).replace("\\", "\\\\").replace(";", "\\;") for v in value)
    text = str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(_FORMULA) else text


def write_table(events: Iterable[Event]) -> Iterator[str]:
    """Each event as a row with its line break, the header first."""
    yield _row(COLUMNS)
    for event in events:
        plain = json.loads(to_line(event))
        yield _row([_cell(plain.get(name)) for name in COLUMNS])


def _row(cells: Iterable[str]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow(cells)
    return out.getvalue()


def _parsed(kind: str, name: str, text: str) -> Any:
    """A cell as JSON would hold it; what cannot be read stays text, and the rule says what is wrong."""
    type_ = _TYPES.get((kind, name), "str")
    if text.startswith("'") and text[1:].startswith(_FORMULA):
        text = text[1:]
    if type_.startswith("tuple"):
        cells = [
            re.sub(r"\\(.)", r"\1", t).strip() for t in re.findall(r"(?:[^;\\]|\\.)+", text) if t.strip()
        ]
        return [_number(c) for c in cells] if "float" in type_ else cells
    if type_ == "bool":
        return {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}.get(
            text.lower(), text
        )
    if "int" in type_ or "float" in type_:
        return _number(text, whole="int" in type_)
    return text


def _number(text: str, *, whole: bool = False) -> Any:
    try:
        return int(text) if whole else float(text.replace(",", "."))
    except ValueError:
        return text


def read_table(text: str, file: str = "") -> JournalFile:
    """Read a table of events; a bad row is reported and does not stop the rest.

    Args:
        text: CSV with a header row; comma or semicolon between cells. Unknown columns are refused.
        file: how to name the file in problems.

    Raises:
        JournalError: there is no header, or it lacks a column that every event needs.
    """
    text = text.removeprefix("\ufeff")
    first = text.split("\n", 1)[0]
    comma = ";" if first.count(";") > first.count(",") else ","
    rows = csv.reader(io.StringIO(text), delimiter=comma)
    try:
        header = [name.strip() for name in next(rows)]
    except (StopIteration, csv.Error):
        raise JournalError(Problem("is empty", f"write a header row: {', '.join(_HEAD)} ...", file)) from None
    unknown = [n for n in header if n not in COLUMNS]
    lost = [n for n in _HEAD if n not in header]
    if unknown or lost or len(set(header)) != len(header):
        what = f"has odd columns {', '.join(unknown) or '-'} and lacks {', '.join(lost) or '-'}"
        raise JournalError(Problem(what, f"use columns of: {', '.join(COLUMNS)}", file, 1))
    device = f"csv-{hashlib.sha256(text.encode()).hexdigest()[:12]}"
    events: list[Event] = []
    problems: list[Problem] = []
    bad: list[tuple[int, str]] = []
    try:
        for number, cells in enumerate(rows, start=1):
            if not any(c.strip() for c in cells):
                continue
            line = rows.line_num
            try:
                if len(cells) > len(header):
                    raise JournalError(Problem("has more cells than the header", "quote text with commas"))
                events.append(_event(dict(zip(header, cells, strict=False)), device, number))
            except JournalError as error:
                problems += [Problem(p.what, p.remedy, file, line, p.field) for p in error.problems]
                bad.append((line, comma.join(cells)))
    except csv.Error as problem:
        problems.append(
            Problem(f"is no table from here on: {problem}", "mend the quotes", file, rows.line_num)
        )
    return JournalFile(tuple(events), tuple(problems), tuple(bad))


def _event(cells: dict[str, str], device: str, number: int) -> Event:
    values = {name: text.strip() for name, text in cells.items() if text.strip()}
    kind = values.pop("kind", "")
    quad, occurred = values.pop("quad", ""), values.pop("occurred", "")
    own = {name: values.pop(name, "") for name in _TAIL}
    payload = payload_from(kind, {name: _parsed(kind, name, text) for name, text in values.items()})
    try:
        when = moment_rule(occurred)
    except BrokenRuleError as broken:
        raise JournalError(Problem(broken.what, broken.remedy, field="occurred")) from None
    if any(own.values()):
        seq = _number(own["seq"], whole=True)
        return Event(own["id"], quad, when, own["device"], seq, payload)  # type: ignore[arg-type] # its rule turns text into an id
    said = f"{device}:{number}:{quad}:{when.isoformat()}:{json.dumps(payload.to_json(), sort_keys=True)}"
    random = int.from_bytes(hashlib.sha256(said.encode()).digest()[:10], "big") >> 6
    made: UUID = uuid7(milliseconds(when), random)
    return Event(made, quad, when, device, number, payload)
