"""From TOML text to a validated sheet, with every mistake named by file, line, field and remedy."""

from __future__ import annotations

import difflib
import re
import tomllib
import typing
from pathlib import Path
from types import UnionType
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel, ValidationError

from crashworthy.build.lines import Key, find_line, key_lines
from crashworthy.build.sheet import Sheet
from crashworthy.build.slips import inside_a_section, slip
from crashworthy.errors import Problem, SheetError

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

__all__ = ["SIZE_MAX", "decoded", "dotted", "named_files", "parse", "read_text"]

SIZE_MAX: Final = 2_000_000
"""A build sheet larger than this many bytes is something else."""

_NUMBER: Final = ("float_type", "float_parsing", "int_type", "int_parsing", "int_from_float")
_RANGE: Final = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")


def dotted(path: Key) -> str:
    """A path in words: ("plates", "bottom", "holes", 2) -> "plates.bottom.holes[2]"."""
    text = ""
    for piece in path:
        text += f"[{piece}]" if isinstance(piece, int) else f".{piece}" if text else piece
    return text


def read_text(path: Path) -> str:
    """The text of a sheet file.

    Raises:
        SheetError: it is not there, too large, or not UTF-8.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise SheetError(
            Problem(f"the sheet cannot be read: {reason}", "check the file's name", file=str(path))
        ) from None
    return decoded(raw, str(path))


def decoded(raw: bytes, file: str) -> str:
    """The text of a sheet from its bytes, lines ended alike.

    Raises:
        SheetError: too large, or not UTF-8; with the line.
    """
    if len(raw) > SIZE_MAX:
        what = f"{len(raw) / 1e6:.1f} MB are too many for a build sheet"
        raise SheetError(Problem(what, "give the TOML file; a drawing goes beside it", file=file))
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        shown = raw[error.start : error.start + 1].hex().upper()
        what = f"this is not text in UTF-8 (byte {shown})"
        raise SheetError(Problem(what, "save the file as UTF-8 text", file=file, line=line)) from None


def _model_in(annotation: Any) -> Any:
    """The annotation without its optional and annotated wrappers."""
    while True:
        origin = typing.get_origin(annotation)
        if origin is typing.Annotated:
            annotation = typing.get_args(annotation)[0]
        elif origin in (typing.Union, UnionType):
            rest = [a for a in typing.get_args(annotation) if a is not type(None)]
            if len(rest) != 1:
                return annotation
            annotation = rest[0]
        else:
            return annotation


def _field_of(model: type[BaseModel], key: str | int) -> FieldInfo | None:
    for name, info in model.model_fields.items():
        if key in (info.alias, name) and not (info.alias and key == name):
            return info
    return None


def _walk(path: Key) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """The innermost model that holds ``path`` and the innermost field on the way."""
    model: type[BaseModel] | None = Sheet
    info: FieldInfo | None = None
    here: Any = Sheet
    for piece in path:
        if isinstance(here, type) and issubclass(here, BaseModel):
            model, found = here, _field_of(here, piece)
            info = found
            here = _model_in(found.annotation) if found else None
            continue
        origin, args = typing.get_origin(here), typing.get_args(here)
        if origin is dict:
            here = _model_in(args[1])
        elif origin is tuple and isinstance(piece, int):
            here = _model_in(
                args[0] if len(args) == 2 and args[1] is ... else args[min(piece, len(args) - 1)]
            )
        else:
            here = None
        if isinstance(here, type) and issubclass(here, BaseModel):
            model = here
    return model, info


def _keys(model: type[BaseModel]) -> list[str]:
    return [info.alias or name for name, info in model.model_fields.items()]


def _shown(value: object) -> str:
    kinds = {bool: "true or false", str: "text", dict: "a table", tuple: "a list"}
    text = repr(list(value)) if isinstance(value, tuple) else repr(value)
    text = text if len(text) <= 40 else text[:37] + "..."
    kind = kinds.get(type(value))
    return f"{text} ({kind})" if kind and not isinstance(value, bool) else text.lower() if kind else text


def _unknown(path: Key) -> tuple[str, str]:
    parent, _ = _walk((*path[:-1], "?"))
    keys = _keys(parent) if parent else []
    near = difflib.get_close_matches(str(path[-1]), keys, n=1, cutoff=0.5)
    remedy = f"did you mean {near[0]!r}?" if near else f"the keys here are: {', '.join(keys)}"
    return f"there is no key {path[-1]!r} here", remedy


def _words(error: ErrorDetails, path: Key) -> tuple[str, str]:  # noqa: C901 - one branch for each kind of mistake
    """What is wrong and the remedy, from one finding of the validator."""
    kind, context, value = error["type"], error.get("ctx", {}), error["input"]
    _, info = _walk(path)
    about = (info.description if info else None) or "a value of the kind the reference lists"
    if kind == "sheet":
        return str(context["what"]), str(context["remedy"])
    if kind == "extra_forbidden":
        return _unknown(path)
    if kind == "missing":
        if isinstance(path[-1], int):
            return "the list is too short", f"give {about}"
        return f"{path[-1]!r} is missing", f"give {about}"
    if kind in _NUMBER:
        whole = "a whole number" if kind.startswith("int") else "a number"
        hint = " (numbers stand without quotes or unit)" if isinstance(value, str) else ""
        return f"{_shown(value)} is not {whole}{hint}", f"give {about}"
    if kind in _RANGE:
        limit = next(iter(context.values()))
        sign = {
            "greater_than": "more than",
            "greater_than_equal": "at least",
            "less_than": "less than",
            "less_than_equal": "at most",
        }[kind]
        small = kind.startswith("greater") and isinstance(value, int | float) and 0 < value < limit
        far = " (was it meant in m or kg? here mm and g are meant)" if small and value * 1e3 >= limit else ""
        return f"{_shown(value)} is out of range; it must be {sign} {limit:g}{far}", f"give {about}"
    if kind == "finite_number":
        return f"{_shown(value)} is not a finite number", f"give {about}"
    if kind == "literal_error":
        options = [o for o in re.split(r", | or ", str(context.get("expected", ""))) if o]
        near = difflib.get_close_matches(str(value), [o.strip("'") for o in options], n=1, cutoff=0.5)
        hint = f"did you mean {near[0]!r}? " if near else ""
        return f"{_shown(value)} is not one of {', '.join(options)}", f"{hint}give {about}"
    if kind == "string_pattern_mismatch":
        return (
            f"{_shown(value)} cannot be a name",
            "use small letters, digits and _, starting with a letter, at most 40 in all",
        )
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"{_shown(value)} is not a table", f"write {{ key = value, ... }}: give {about}"
    if kind in ("tuple_type", "list_type"):
        return f"{_shown(value)} is not a list", f"write [ ... ]: give {about}"
    if kind in ("too_long", "too_short"):
        return f"the list has {context.get('actual_length', 'a wrong number of')} items", f"give {about}"
    if kind == "string_type":
        return f"{_shown(value)} is not text", f"put it in quotes: give {about}"
    if kind == "bool_type":
        return f"{_shown(value)} is neither true nor false", f"give {about}"
    return f"{_shown(value)} cannot be used: {error['msg'].lower()}", f"give {about}"


def _frozen_lists(value: Any) -> Any:
    """The same data with tuples for lists, as the immutable sheet holds it."""
    if isinstance(value, dict):
        return {k: _frozen_lists(v) for k, v in value.items()}
    if isinstance(value, list):
        return tuple(_frozen_lists(v) for v in value)
    return value


def _syntax(error: Exception, text: str, file: str) -> SheetError:
    message = str(error)
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    line = int(match.group(1)) if match else text.count("\n") + 1 if "end of document" in message else 0
    what = re.sub(r"\s*\(at [^)]*\)", "", message)
    lines = text.splitlines()
    # A table that runs on is only noticed on the next line; the slip stands on the line before.
    for number in (line, line - 1):
        meant = slip(lines[number - 1]) if 0 < number <= len(lines) else None
        if meant is not None:
            return SheetError(Problem(*meant, file=file, line=number))
    twice = re.search(r"Cannot declare \('([^']+)'", what)
    if twice:
        first = next((n for n, words in enumerate(lines, 1) if words.strip() == f"[{twice[1]}]"), 0)
        words = f"[{twice[1]}] begins a second time"
        remedy = f"put these rows under the first one, line {first}" if first else "put the rows together"
        return SheetError(Problem(words, remedy, file=file, line=line))
    if what == "Cannot overwrite a value":
        remedy = "take one of the two away"
        return SheetError(Problem("this key stands twice", remedy, file=file, line=line))
    remedy = (
        "one key = value on a line; text in quotes; lists in [ ]; tables in { } on one line; "
        "a table or key may stand only once"
    )
    return SheetError(Problem(f"this line is not TOML: {what[:200]}", remedy, file=file, line=line))


def parse(text: str, folder: str | Path | None = None, file: str = "") -> Sheet:
    """Validate the text of a build sheet.

    Args:
        text: TOML.
        folder: where its drawings and models lie; when given, missing files are found at once.
        file: what to call the sheet in messages.

    Raises:
        SheetError: anything is wrong; every problem found is in it, by line.
    """
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise SheetError(
            Problem("the lists or tables are nested too deeply", "a sheet needs four levels", file=file)
        ) from None
    except ValueError as error:  # TOMLDecodeError, and numbers too long for Python
        raise _syntax(error, text, file) from None
    try:
        sheet = Sheet.model_validate(_frozen_lists(data))
    except ValidationError as error:
        stray = _stray(error, data, text, file)
        raise SheetError(*([stray] if stray else _problems(error, key_lines(text), file))) from None
    missing = _missing_files(sheet, Path(folder)) if folder is not None else []
    if missing:
        lines = key_lines(text)
        raise SheetError(
            *(
                Problem(
                    f"there is no file {name!r} beside the sheet",
                    "put it beside the sheet or mend the name",
                    file,
                    find_line(lines, path),
                    dotted(path),
                )
                for path, name in missing
            )
        )
    return sheet


def _stray(error: ValidationError, data: dict[str, Any], text: str, file: str) -> Problem | None:
    """A key of the top that slid under a section, when that is what the validator stumbled over."""
    found = inside_a_section(data, set(_keys(Sheet)))
    if found is None or not any(d["loc"][:2] == found for d in error.errors(include_url=False)):
        return None
    section, key = found
    return Problem(
        f"{key!r} stands under [{section}] and so belongs to it",
        f"move it above the first line in [ ], or make it a section of its own: [{key}]",
        file,
        find_line(key_lines(text), found),
        f"{section}.{key}",
    )


def _problems(error: ValidationError, lines: dict[Key, int], file: str) -> list[Problem]:
    """One problem a mistake, by line, without those that only follow from another."""
    details = [(tuple(p for p in d["loc"] if p != "[key]"), d) for d in error.errors(include_url=False)]
    paths = [path for path, _ in details]
    found: dict[tuple[Key, str], Problem] = {}
    meant: set[Key] = set()
    for path, detail in details:
        # A list is counted without its faulty items; the items are the mistake.
        follows = detail["type"] == "too_short" and any(
            other[: len(path)] == path and len(other) > len(path) for other in paths
        )
        if follows:
            continue
        what, remedy = _words(detail, path)
        if detail["type"] == "extra_forbidden" and "'" in remedy:
            meant.add((*path[:-1], remedy.split("'")[1]))
        found[path, what] = Problem(what, remedy, file, find_line(lines, path), dotted(path))
    # A misspelt key is one mistake, not also a missing one.
    kept = [p for (path, what), p in found.items() if not (path in meant and what.endswith("is missing"))]
    return sorted(kept, key=lambda p: p.line)


def named_files(sheet: Sheet) -> list[tuple[Key, str]]:
    """Every drawing and model that a sheet names, with the field that names it."""
    named: list[tuple[Key, str]] = [
        (("plates", name, "dxf"), plate.dxf) for name, plate in sheet.plates.items() if plate.dxf
    ]
    named += [(("imports", name, "file"), row.file) for name, row in sheet.imports.items()]
    return named


def _missing_files(sheet: Sheet, folder: Path) -> list[tuple[Key, str]]:
    return [(path, name) for path, name in named_files(sheet) if not (folder / name).is_file()]
