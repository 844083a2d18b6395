"""Rules for the fields of an event.

Each takes a value from code or JSON and gives it back clean, or says what is wrong with it and what to do.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Final
from uuid import UUID

from crashworthy.errors import Problem

__all__ = [
    "BrokenRuleError",
    "Rule",
    "apply_rules",
    "choice_rule",
    "count_rule",
    "flag_rule",
    "id_rule",
    "names_rule",
    "number_rule",
    "numbers_rule",
    "pattern_rule",
    "shown",
    "text_rule",
]

_MAX_NAMES: Final = 64
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")

Rule = Callable[[Any], Any]
"""Takes a value from code or JSON, returns it clean, raises ``BrokenRuleError`` if it cannot be accepted."""


class BrokenRuleError(ValueError):
    """A rule that was not kept: what is wrong and what to do."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.what, self.remedy = what, remedy


def shown(value: Any) -> str:
    """A value as a person would recognise it, shortened."""
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def text_rule(limit: int, *, empty: bool = True, many_lines: bool = False) -> Rule:
    """Text of at most ``limit`` characters without control characters, outer blanks removed."""

    def rule(value: Any) -> str:
        if not isinstance(value, str):
            raise BrokenRuleError(f"is {shown(value)}, not text", "put it in quotes")
        text: str = value.strip()
        if not text and not empty:
            raise BrokenRuleError("is empty", "write it out or leave the event out")
        if len(text) > limit:
            raise BrokenRuleError(f"has {len(text)} characters", f"shorten it to {limit}")
        if _CONTROL.search(text) or ("\n" in text and not many_lines):
            raise BrokenRuleError("holds control characters or line breaks", "keep plain text")
        return text

    return rule


def number_rule(low: float, high: float, unit: str) -> Rule:
    """A finite number between ``low`` and ``high``, or nothing."""

    def rule(value: Any) -> float | None:
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BrokenRuleError(
                f"is {shown(value)}, not a number", f"write a number ({unit}) or leave it out"
            )
        # NaN fails every comparison; huge whole numbers must not be made floats before this.
        if not low <= value <= high:
            raise BrokenRuleError(f"is {shown(value)}", f"write a value from {low:g} to {high:g} ({unit})")
        # Adding zero makes -0.0 the plain zero, so that equal events have equal bytes.
        return float(value) + 0.0

    return rule


def numbers_rule(low: float, high: float, unit: str, most: int, *, empty: bool = False) -> Rule:
    """A list of 1 (0 with ``empty``) to ``most`` finite numbers between ``low`` and ``high``."""
    one = number_rule(low, high, unit)
    least = 0 if empty else 1

    def rule(value: Any) -> tuple[float, ...]:
        if not isinstance(value, list | tuple) or not least <= len(value) <= most or None in value:
            raise BrokenRuleError(f"is {shown(value)}", f"write a list of {least} to {most} numbers ({unit})")
        return tuple(one(v) for v in value)

    return rule


def count_rule(low: int, high: int, *, optional: bool = False) -> Rule:
    """A whole number between ``low`` and ``high``."""

    def rule(value: Any) -> int | None:
        if value is None and optional:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            raise BrokenRuleError(
                f"is {shown(value)}, not a whole number", "write a whole number without quotes"
            )
        if not low <= value <= high:
            raise BrokenRuleError(f"is {shown(value)}", f"write a whole number from {low} to {high}")
        return value

    return rule


def choice_rule(choices: tuple[str, ...], *, empty: bool = False) -> Rule:
    """One of the given words; the empty text too where ``empty`` says so."""

    def rule(value: Any) -> str:
        if isinstance(value, str) and (value in choices or (empty and not value)):
            return value
        raise BrokenRuleError(f"is {shown(value)}", "use one of " + ", ".join(choices))

    return rule


def pattern_rule(pattern: str, remedy: str) -> Rule:
    """Text that matches a pattern from end to end."""
    compiled = re.compile(pattern)

    def rule(value: Any) -> str:
        if isinstance(value, str) and compiled.fullmatch(value):
            return value
        raise BrokenRuleError(f"is {shown(value)}", remedy)

    return rule


def flag_rule(value: Any) -> bool:
    """True or false, and nothing that merely looks like it.

    Raises:
        BrokenRuleError: it is something else.
    """
    if isinstance(value, bool):
        return value
    raise BrokenRuleError(f"is {shown(value)}", "write true or false without quotes")


def names_rule(value: Any) -> tuple[str, ...]:
    """A list of different names.

    Raises:
        BrokenRuleError: no list, too long, a name that will not do, or one that stands there twice.
    """
    if not isinstance(value, list | tuple) or len(value) > _MAX_NAMES:
        raise BrokenRuleError(f"is {shown(value)}", f"write a list of at most {_MAX_NAMES} part names")
    one = text_rule(80, empty=False)
    cleaned = tuple(one(v) for v in value)
    if len(set(cleaned)) != len(cleaned):
        raise BrokenRuleError("names a part twice", "name each part once")
    return cleaned


def id_rule(*, optional: bool = False) -> Rule:
    """An event id (UUID), as an object or in its text form."""

    def rule(value: Any) -> UUID | None:
        if (value is None and optional) or isinstance(value, UUID):
            return value
        # Only the one hyphenated form, so that an id has one spelling in every file.
        if isinstance(value, str) and re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", value):
            return UUID(value)
        raise BrokenRuleError(
            f"is {shown(value)}, not an event id", "copy the id of the event as it was exported"
        )

    return rule


def apply_rules(target: Any, named: dict[str, Rule]) -> list[Problem]:
    """Clean the fields of a frozen object in place; return a problem per broken rule."""
    problems: list[Problem] = []
    for name, rule in named.items():
        try:
            object.__setattr__(target, name, rule(getattr(target, name)))
        except BrokenRuleError as broken:
            problems.append(Problem(broken.what, broken.remedy, field=name))
    return problems
