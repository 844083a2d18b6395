"""From a sheet back to TOML: one row a line, only what was given, in the order of the reference."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from crashworthy.build.sheet import Sheet

__all__ = ["canonical", "in_toml", "renamed", "to_toml"]


_ESCAPES: Final = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t", "\b": "\\b", "\f": "\\f"}


def _text(value: str) -> str:
    out = []
    for letter in value:
        if letter in _ESCAPES:
            out.append(_ESCAPES[letter])
        elif ord(letter) < 0x20 or ord(letter) == 0x7F:
            out.append(f"\\u{ord(letter):04X}")
        else:
            out.append(letter)
    return '"' + "".join(out) + '"'


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def in_toml(value: Any) -> str:
    """A value of a sheet as TOML on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(in_toml(v) for v in value) + "]"
    return "{ " + ", ".join(f"{_key(k)} = {in_toml(v)}" for k, v in value.items()) + " }"


def to_toml(sheet: Sheet) -> str:
    """Write a sheet as TOML that parses to an equal sheet.

    Only what was given is written; defaults stay defaults.
    """
    data = sheet.model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    top: list[str] = []
    tables: list[str] = []
    for key, value in data.items():
        if not isinstance(value, dict) or key == "arms":
            top.append(f"{key} = {in_toml(value)}")
        else:
            tables.append("\n".join([f"\n[{key}]", *(f"{_key(k)} = {in_toml(v)}" for k, v in value.items())]))
    return "\n".join([*top, *tables]) + "\n"


def canonical(sheet: Sheet) -> bytes:
    """The sheet with every default filled in, as bytes that equal sheets share.

    Fields that came after 0.1 are left out where they are not given: a sheet that does not use them is the
    same build as before, and what was crashed of it stays of it.
    """
    data = sheet.model_dump(mode="json", by_alias=True)
    rows = [(data.get("stack"), "hz")]
    rows += [((holder or {}).get("mount"), "room") for holder in (data["camera"], *data["boxes"].values())]
    rows += [(row, "body") for row in data["imports"].values()]
    for row, field in rows:
        if row is not None and row[field] is None:
            del row[field]
    return json.dumps(
        data, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    ).encode()


def renamed(text: str, name: str) -> str:
    """The text of a sheet with another name of the quad; everything else as it was typed."""
    return re.sub(
        r"""^(\s*name\s*=\s*)("(?:[^"\\\n]|\\.)*"|'[^'\n]*')""",
        lambda m: m[1] + _text(name),
        text,
        count=1,
        flags=re.M,
    )
