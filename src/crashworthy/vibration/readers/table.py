"""Text tables of numbers: find delimiter, header and decimal mark; parse in blocks; report bad rows.

Blocks go through ``numpy.loadtxt``; a block it refuses is read row by row, bad rows left out and counted.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

import numpy as np

from crashworthy.errors import LogError, Problem

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Layout", "Rows", "layout", "parse", "sample"]

HEAD: Final = 1 << 18
BLOCK: Final = 1 << 23
LONGEST: Final = 1 << 16
BAD_SHARE: Final = 0.2
DELIMITERS: Final = (",", ";", "\t", "|", " ")
COMMENTS: Final = ("#", "//", "%", "!")
_NUMBER: Final = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$|^[+-]?(nan|inf)$", re.IGNORECASE)
_DECIMAL_COMMA: Final = re.compile(r"^[+-]?\d*,\d+([eE][+-]?\d+)?$")


@dataclass(frozen=True, slots=True)
class Layout:
    """How a text table is laid out.

    Attributes:
        delimiter: between fields; " " stands for any run of blanks.
        decimal_comma: numbers are written 1,5.
        headers: one for each column; "column 3" where there is none.
        start: byte at which the data begin.
        line: 1-based line at which the data begin.
        comments: comment and preamble lines above the data.
    """

    delimiter: str
    decimal_comma: bool
    headers: tuple[str, ...]
    start: int
    line: int
    comments: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rows:
    """Numbers of the columns asked for.

    Attributes:
        values: (n, k).
        bad: rows left out because they were ragged or not numbers.
        first_bad: 1-based line of the first of them, or 0.
        damage: why reading ended before the file did, or "".
    """

    values: Floats
    bad: int
    first_bad: int
    damage: str = ""


def _split(line: str, delimiter: str) -> list[str]:
    if delimiter == " ":
        return line.split()
    try:
        return [f.strip() for f in next(csv.reader([line], delimiter=delimiter))]
    except (csv.Error, StopIteration):
        return [f.strip() for f in line.split(delimiter)]


def _numeric(fields: list[str], comma: bool) -> bool:
    """Whether a row is data: its first field a number, at least half of the rest numbers or blank."""
    if len(fields) < 2:
        return False
    test = [bool(_NUMBER.match(f) or (comma and _DECIMAL_COMMA.match(f))) for f in fields]
    filled = [ok for ok, f in zip(test, fields, strict=True) if f]
    return bool(filled) and test[0] and sum(filled) * 2 >= len(filled) and sum(filled) >= 2


def layout(path: Path) -> Layout:
    """Look at the beginning of a file and tell how its table is laid out.

    Raises:
        LogError: it is binary, has no table of numbers, or a line too long for a table.
    """
    with path.open("rb") as file:
        head = file.read(HEAD)
    if b"\0" in head:
        raise LogError(
            Problem("is not a text table: it holds zero bytes", "export the log as CSV in UTF-8", path.name)
        )
    whole = len(head) < HEAD
    raw = re.split(rb"\r\n|\n|\r", head)
    ends = [m.end() for m in re.finditer(rb"\r\n|\n|\r", head)]
    if not whole:
        raw = raw[: len(ends)]
    if any(len(line) > LONGEST for line in raw) or not raw:
        where = next((i for i, line in enumerate(raw) if len(line) > LONGEST), 0)
        raise LogError(
            Problem(
                f"the line is longer than {LONGEST} characters: this is no table",
                "export the log as CSV, one row a sample",
                path.name,
                where + 1,
            )
        )
    lines = [line.decode("utf-8-sig" if i == 0 else "utf-8", "replace").strip() for i, line in enumerate(raw)]
    best: Layout | None = None
    for delimiter in DELIMITERS:
        for comma in (False, True):
            if comma and delimiter == ",":
                continue
            found = _try(lines, ends, delimiter, comma)
            if found and (best is None or len(found.headers) > len(best.headers)):
                best = found
    if best is None:
        raise LogError(
            Problem(
                "holds no table of numbers with at least two columns",
                "export the log as CSV with a header row, one row a sample",
                path.name,
            )
        )
    return best


def _try(lines: list[str], ends: list[int], delimiter: str, comma: bool) -> Layout | None:
    comments: list[str] = []
    plain: list[int] = []
    for i, line in enumerate(lines):
        if not line or line.startswith(COMMENTS):
            comments.append(line)
            continue
        fields = _split(line, delimiter)
        if not _numeric(fields, comma):
            plain.append(i)
            continue
        follow = [_split(x, delimiter) for x in lines[i + 1 : i + 6] if x and not x.startswith(COMMENTS)]
        if any(len(f) == len(fields) and _numeric(f, comma) for f in follow) or not follow:
            break
        plain.append(i)
    else:
        return None
    header: list[str] = []
    above = [lines[plain[-1]]] if plain and plain[-1] == i - 1 else []
    above += [c.lstrip("#/%! ") for c in reversed(comments) if c][:1] if not above else []
    if plain and not above:
        above = [lines[plain[-1]]]
    for candidate in above:
        names = _split(candidate, delimiter)
        if len(names) == len(fields) and not _numeric(names, comma):
            header = names
    headers = tuple((header[k] if header else "") or f"column {k + 1}" for k in range(len(fields)))
    remarks = [c for c in comments if c] + [lines[p] for p in plain]
    start = ends[i - 1] if i else 0
    return Layout(delimiter, comma, headers, start, i + 1, tuple(remarks[:2000]))


def _clean(block: bytes, plan: Layout) -> bytes:
    """Turn a block into what loadtxt reads: points for decimal commas, nan for blanks, no quotes."""
    block = block.replace(b"\r\n", b"\n").replace(b"\r", b"\n").replace(b'"', b"")
    if plan.delimiter == " ":
        return block.replace(b",", b".") if plan.decimal_comma else block
    d = plan.delimiter.encode()
    if plan.decimal_comma:
        block = block.replace(b",", b".")
    if d != b"\t":
        block = block.replace(b" ", b"")
    block = b"\n" + block
    for _ in range(2):
        block = block.replace(d + d, d + b"nan" + d)
    return block.replace(b"\n" + d, b"\nnan" + d).replace(d + b"\n", d + b"nan\n")


def _fast(text: str, plan: Layout, columns: list[int]) -> Floats | None:
    import warnings

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # an empty block warns; it is no fault
            return np.loadtxt(
                io.StringIO(text),
                delimiter=None if plan.delimiter == " " else plan.delimiter,
                comments=list(COMMENTS),
                usecols=columns,
                ndmin=2,
            )
    except (ValueError, IndexError, OverflowError):
        return None


def _slow(text: str, plan: Layout, columns: list[int], line: int) -> Rows:
    width = len(plan.headers)
    kept: list[list[float]] = []
    bad, first = 0, 0
    for i, raw in enumerate(text.lstrip("\n").split("\n")):
        row = raw.strip()
        if not row or row.startswith(COMMENTS):
            continue
        fields = row.split() if plan.delimiter == " " else row.split(plan.delimiter)
        if len(fields) == width:
            try:
                kept.append([_number(fields[c]) for c in columns])
                continue
            except ValueError:
                pass
        bad += 1
        first = first or line + i
    values = np.array(kept) if kept else np.empty((0, len(columns)))
    return Rows(values, bad, first)


def _number(text: str) -> float:
    text = text.strip()
    return float(text) if text else float("nan")


def _blocks(file: BinaryIO, size: int, limit: int, name: str) -> Iterator[bytes]:
    rest, left = b"", limit
    while left > 0:
        data = file.read(min(size, left))
        if not data:
            break
        left -= len(data)
        if b"\0" in data:
            raise LogError(
                Problem("holds zero bytes amid the numbers: it is damaged", "copy the log again", name)
            )
        data = rest + data
        cut = max(data.rfind(b"\n"), data.rfind(b"\r"))
        if cut < 0:
            if len(data) > LONGEST:
                raise LogError(
                    Problem(
                        f"a line is longer than {LONGEST} characters: it is damaged",
                        "copy the log again",
                        name,
                    )
                )
            rest = data
            continue
        yield data[: cut + 1]
        rest = data[cut + 1 :]
        if len(rest) > LONGEST:
            raise LogError(
                Problem(
                    f"a line is longer than {LONGEST} characters: it is damaged", "copy the log again", name
                )
            )
    if rest and left > 0:
        yield rest


def parse(
    path: Path, plan: Layout, columns: list[int], *, start: int = -1, limit: int = 1 << 62, block: int = BLOCK
) -> Rows:
    """Read the columns asked for.

    Args:
        path: the file.
        plan: its layout.
        columns: indices of the columns.
        start: byte to begin at, just after a line end; the start of the data by default.
        limit: at most so many bytes.
        block: bytes a block.

    Raises:
        LogError: it is damaged, or more than a fifth of its rows are bad.
    """
    out = np.empty((0, len(columns)))
    bad, first, line, filled, damage = 0, 0, plan.line, 0, ""
    with path.open("rb") as file:
        file.seek(plan.start if start < 0 else start)
        size = min(path.stat().st_size - file.tell(), limit)
        blocks = _blocks(file, block, limit, path.name)
        while True:
            try:
                data = next(blocks)
            except StopIteration:
                break
            except LogError as error:
                # What came before the damage is good; without any of it there is nothing to read.
                if not filled:
                    raise
                damage = error.problems[0].what
                break
            text = _clean(data, plan).decode("utf-8", "replace")
            values = _fast(text, plan, columns)
            if values is None:
                rows = _slow(text, plan, columns, line)
                values, bad, first = rows.values, bad + rows.bad, first or rows.first_bad
            if filled + len(values) > len(out):
                # As many rows as the file's size lets expect: one array, grown seldom, never held twice.
                share = max(len(data) / max(size, 1), 1e-9)
                wanted = max(int(1.02 * len(values) / share) + 16, filled + len(values), len(out) * 5 // 4)
                out.resize((wanted, len(columns)), refcheck=False)
            out[filled : filled + len(values)] = values
            filled += len(values)
            line += data.count(b"\n") or data.count(b"\r")
    out.resize((filled, len(columns)), refcheck=False)
    values = out
    if bad > BAD_SHARE * (len(values) + bad):
        raise LogError(
            Problem(
                f"{bad} of {len(values) + bad} rows are ragged or not numbers, the first on this line",
                "export the log again, one row a sample, the same columns in each",
                path.name,
                first,
            )
        )
    return Rows(values, bad, first, damage)


def sample(path: Path, plan: Layout, places: int = 5, size: int = 1 << 17) -> Floats:
    """Rows from a few places of the file, all columns, text as nan."""
    total = path.stat().st_size
    width = len(plan.headers)
    parts: list[Floats] = []
    span = max(total - plan.start - size, 0)
    for k in range(places if span else 1):
        at = plan.start + span * k // max(places - 1, 1)
        with path.open("rb") as file:
            file.seek(at)
            data = file.read(size)
        if at > plan.start:
            data = data[data.find(b"\n") + 1 :]
        if at + size < total:
            data = data[: data.rfind(b"\n") + 1]
        text = _clean(data, plan).decode("utf-8", "replace")
        rows = []
        for row in text.split("\n"):
            fields = row.split() if plan.delimiter == " " else row.split(plan.delimiter)
            if len(fields) == width:
                rows.append([_maybe(f) for f in fields])
        if rows:
            parts.append(np.array(rows))
    return np.concatenate(parts) if parts else np.empty((0, width))


def _maybe(text: str) -> float:
    try:
        return _number(text)
    except ValueError:
        return float("nan")
