"""The slips of a first sheet: what a line that is no TOML was probably meant to say."""

from __future__ import annotations

import re
from typing import Final

__all__ = ["inside_a_section", "slip"]

_TEXT: Final = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')

_SLIPS: Final = (
    (
        re.compile("[\u201c\u201d\u201e\u2018\u2019\u00ab\u00bb]"),
        "the quotes are curly",
        'use straight quotes: name = "Wren"; switch smart quotes off in the editor',
    ),
    (
        re.compile(r"=\s*\[?\s*-?\d+(?:\.\d+)?\s*(mm|cm|m|g|kg|deg|°|in|inch|Hz|MHz)\b"),
        "a unit stands behind a number",
        "numbers stand alone: mm, g and degrees are meant everywhere",
    ),
    (
        re.compile(r"=\s*-?\d+,\d+\s*(?=[,}\n#]|$)"),
        "a comma stands in a number",
        "write a point: 5.5",
    ),
    (
        re.compile(r"=\s*(?:yes|no|on|off|True|False|TRUE|FALSE)\b"),
        "yes and no are other words here",
        "write true or false, in small letters",
    ),
    (
        re.compile(r"^\s*[A-Za-z_][\w-]*\s*:"),
        "a colon stands after the key",
        "write key = value",
    ),
    (
        re.compile(r"=\s*\{[^}]*$"),
        "a { is not closed on its line",
        "keep { ... } on one line, or write the row as a section: [arms], then one key = value on each line",
    ),
    (
        re.compile(r"=\s*(?!true\b|false\b|inf\b|nan\b)[A-Za-z][\w -]*\s*(?=[,}#]|$)"),
        "text stands without quotes",
        'put text in quotes: name = "Wren"',
    ),
)
"""(what the line holds once quoted text is taken out, in words, what to do)."""


def slip(line: str) -> tuple[str, str] | None:
    """What is probably wrong with a line, and what to do; None when nothing is known.

    Args:
        line: one line of the sheet.
    """
    bare = _TEXT.sub('""', line)
    for pattern, what, remedy in _SLIPS:
        if pattern.search(bare):
            return what, remedy
    return None


def inside_a_section(data: dict[str, object], known: set[str]) -> tuple[str, str] | None:
    """(section, key) of a top-level key that slid into the section above it; None when there is none.

    Args:
        data: the sheet as plain tables.
        known: keys of the top of a sheet.
    """
    for section, rows in data.items():
        if isinstance(rows, dict):
            for key in rows:
                if key in known and key not in data and section in _SECTIONS:
                    return section, str(key)
    return None


_SECTIONS: Final = ("plates", "standoffs", "antennas", "leads", "boxes", "imports", "screws", "loose")
"""Sections whose rows have names of the pilot's choice, so that a stray key looks like a row."""
