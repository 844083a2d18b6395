"""Write what was measured into a sheet's text: its arms row, everything else as it was typed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from crashworthy.build.reading import parse
from crashworthy.build.writing import in_toml, to_toml
from crashworthy.errors import Problem, SheetError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.sheet import Sheet

__all__ = ["TESTS", "with_tests", "with_weighed"]

TESTS = ("pull_up", "pull_side", "tap_up", "tap_side")
"""Keys of the arms row that hold a test."""

_WEIGHED = re.compile(r"^(\s*weighed\s*=\s*)[^#\n]*?(\s*(?:#[^\n]*)?)$", re.MULTILINE)
_NAME = re.compile(r"^\s*name\s*=[^\n]*$", re.MULTILINE)
_INLINE = re.compile(r"^(\s*arms\s*=\s*\{)(.*)(\}\s*(?:#.*)?)$")
_OLD = re.compile(rf"\s*\b(?:{'|'.join(TESTS)})\s*=\s*\{{[^{{}}]*\}}\s*,?")


def _rewritten(text: str, found: Mapping[str, Mapping[str, Any]]) -> str | None:
    """The text with its one-line arms row changed, or None when it has no such row."""
    lines = text.split("\n")
    for number, line in enumerate(lines):
        match = _INLINE.match(line)
        if match:
            kept = _OLD.sub("", match[2]).strip().rstrip(",").strip()
            tests = [f"{key} = {in_toml(dict(row))}" for key, row in found.items()]
            lines[number] = f"{match[1]} {', '.join([kept, *tests])} {match[3]}"
            return "\n".join(lines)
    return None


def _changed(sheet: Sheet, found: Mapping[str, Mapping[str, Any]]) -> Sheet:
    from pydantic import ValidationError

    from crashworthy.build.frame_rows import Arms

    data = sheet.arms.model_dump(exclude_unset=True, exclude_none=True)
    data = {k: v for k, v in data.items() if k not in TESTS} | {k: dict(v) for k, v in found.items()}
    try:
        return sheet.model_copy(update={"arms": Arms.model_validate(data)})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        field = ".".join(map(str, ("arms", *first["loc"])))
        raise SheetError(
            Problem(
                f"{first['input']!r} is out of range",
                "pull: 0.1 to 500 N and 0.02 to 60 mm; tap: 5 to 2000 Hz",
                field=field,
            )
        ) from None


def with_tests(text: str, found: Mapping[str, Mapping[str, Any]]) -> str:
    """The sheet's text with these tests in place of those it held; comments and order stay where they can.

    Args:
        text: TOML of a valid sheet.
        found: by key of ``TESTS``: { n, mm } or { hz, prop }; an empty mapping takes all tests out.

    Raises:
        SheetError: the sheet or a number cannot be used.
    """
    wanted = _changed(parse(text), found)
    new = _rewritten(text, found)
    if new is not None:
        try:
            if parse(new) == wanted:
                return new
        except SheetError:
            pass  # the row is written in a way that the pattern does not know
    return to_toml(wanted)


def with_weighed(text: str, grams: float) -> str:
    """The sheet's text with what the scales said, ready to fly; everything else as it was typed where it can.

    Args:
        text: TOML of a valid sheet.
        grams: 1 to 20000.

    Raises:
        SheetError: the sheet cannot be used, or no quad weighs so much.
    """
    if not 1.0 <= grams <= 20_000.0:
        raise SheetError(Problem(f"{grams:g} g is out of range", "give 1 to 20000 g", field="weighed"))
    wanted = parse(text).model_copy(update={"weighed": float(grams)})
    row = in_toml(float(grams))
    new, there = _WEIGHED.subn(lambda m: f"{m[1]}{row}{m[2]}", text, count=1)
    if not there:
        new = _NAME.sub(lambda m: f"{m[0]}\nweighed = {row}", text, count=1)
    try:
        if parse(new) == wanted:
            return new
    except SheetError:
        pass  # the top of the sheet is written in a way that the patterns do not know
    return to_toml(wanted)
