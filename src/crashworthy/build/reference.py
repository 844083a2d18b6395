"""Every field of the build sheet with its meaning and default, as a page can show it."""

from __future__ import annotations

import typing
from dataclasses import dataclass
from types import UnionType
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel

from crashworthy.build.sheet import Sheet
from crashworthy.build.writing import in_toml

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic.fields import FieldInfo

__all__ = ["WORDS", "FieldRow", "markdown", "rows"]

WORDS: Final = ("required", "none", "as below")
"""Defaults that are no value: must be given, may be left out, the section's own defaults."""


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One field.

    Attributes:
        section: the table it stands in ("plates.NAME"), or "" at the top.
        key: its key.
        about: what to give, with unit and range.
        default: what counts when it is left out, as TOML; or a word of ``WORDS``.
    """

    section: str
    key: str
    about: str
    default: str


def _row_model(annotation: Any) -> tuple[type[BaseModel] | None, str]:
    """The row model inside an annotation, and how its place is written after the key."""
    origin, args = typing.get_origin(annotation), typing.get_args(annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, ""
    if origin is typing.Annotated:
        return _row_model(args[0])
    if origin in (typing.Union, UnionType):
        return next((found for found in map(_row_model, args) if found[0] is not None), (None, ""))
    if origin is dict:
        return _row_model(args[1])[0], ".NAME"
    if origin is tuple and args and args[-1] is ...:
        return _row_model(args[0])[0], "[ ]"
    return None, ""


def _default(info: FieldInfo) -> str:
    if info.is_required():
        return "required"
    if info.default_factory is not None:
        made = info.default_factory is not dict
        return "as below" if made else "none"
    if info.default in (None, ()):
        return "none"
    if isinstance(info.default, float):
        return f"{info.default:.6g}"
    return in_toml(info.default)


def rows(model: type[BaseModel] = Sheet, section: str = "") -> Iterator[FieldRow]:
    """Every field of the sheet, each table's own fields before those of the tables inside it."""
    inside: list[tuple[type[BaseModel], str]] = []
    for name, info in model.model_fields.items():
        key = info.alias or name
        nested, suffix = _row_model(info.annotation)
        default = _default(info)
        if nested is not None:
            inside.append((nested, f"{section}.{key}{suffix}".lstrip(".")))
        yield FieldRow(section, key, info.description or "", default)
    for nested, place in inside:
        yield from rows(nested, place)


def markdown() -> str:
    """The reference as Markdown tables, one for each section."""
    out: list[str] = []
    last = None
    for row in rows():
        if row.section != last:
            title = f"`{row.section}`" if row.section else "Top of the file"
            out += ["", f"### {title}", "", "| key | give | default |", "|---|---|---|"]
            last = row.section
        about = row.about.replace("|", "\\|")
        default = row.default if row.default in WORDS else f"`{row.default}`"
        out.append(f"| `{row.key}` | {about} | {default} |")
    return "\n".join(out[1:]) + "\n"
