"""On which line of a TOML text each key stands, so that a mistake can be pointed at.

The standard library's parser gives values without places. This scanner follows the grammar of TOML 1.0
(toml.io, v1.0.0) over text which that parser has already accepted, and notes the line of every key.
"""

from __future__ import annotations

import re
from typing import Final

__all__ = ["Key", "find_line", "key_lines"]

Key = tuple[str | int, ...]
"""Path to a value: ("plates", "bottom", "holes", 2)."""

_SPACE: Final = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BLANK: Final = re.compile(r"[ \t]*")
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_STRING: Final = re.compile(
    "|".join(
        (
            r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})',
            r"'''.*?'''(?:'{0,2})",
            r'"(?:[^"\\\n]|\\.)*"',
            r"'[^'\n]*'",
        )
    ),
    re.DOTALL,
)
_SCALAR: Final = re.compile(r"[^,\]}#\n]+")


class _Scanner:
    """A cursor over the text and the lines found so far."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found: dict[Key, int] = {}
        self.counts: dict[Key, int] = {}
        self._seen_at = 0
        self._seen_line = 1

    def line(self) -> int:
        """1-based line of the cursor, which only moves forward."""
        self._seen_line += self.text.count("\n", self._seen_at, self.at)
        self._seen_at = self.at
        return self._seen_line

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            return ""
        self.at = match.end()
        return match.group()

    def peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def key(self) -> list[str]:
        """A key, dotted or not, as its pieces."""
        pieces: list[str] = []
        while True:
            self.skip(_BLANK)
            if self.peek() in ("'", '"'):
                raw = self.skip(_STRING)
                pieces.append(raw[1:-1].encode().decode("unicode_escape") if "\\" in raw else raw[1:-1])
            else:
                pieces.append(self.skip(_BARE))
            self.skip(_BLANK)
            if self.peek() != ".":
                return pieces
            self.at += 1

    def note(self, base: Key, pieces: list[str]) -> Key:
        """Remember the line of every prefix of a key that has none yet."""
        for n in range(1, len(pieces) + 1):
            self.found.setdefault((*base, *pieces[:n]), self.line())
        return (*base, *pieces)

    def value(self, path: Key) -> None:
        """Pass over one value, noting keys and items inside it."""
        self.skip(_SPACE)
        self.found.setdefault(path, self.line())
        if self.peek() == "{":
            self.at += 1
            self.items(path, "}")
        elif self.peek() == "[":
            self.at += 1
            self.items(path, "]")
        elif self.peek() in ("'", '"'):
            self.skip(_STRING)
        else:
            self.skip(_SCALAR)

    def items(self, path: Key, end: str) -> None:
        """The inside of an inline table or an array, up to and with its end."""
        n = 0
        while self.at < len(self.text):
            self.skip(_SPACE)
            if self.peek() == end:
                self.at += 1
                return
            if self.peek() == ",":
                self.at += 1
            elif end == "]":
                self.value((*path, n))
                n += 1
            else:
                self.pair(path)

    def pair(self, base: Key) -> None:
        """One ``key = value``."""
        before = self.at
        path = self.note(base, self.key())
        if self.peek() == "=":
            self.at += 1
            self.value(path)
        self.at = max(self.at, before + 1)

    def header(self) -> Key:
        """A ``[table]`` or ``[[array of tables]]`` line."""
        array = self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        pieces = self.key()
        self.at += 2 if array else 1
        base: Key = ()
        for piece in pieces[:-1]:
            base = (*base, piece)
            self.found.setdefault(base, self.line())
            if base in self.counts:
                base = (*base, self.counts[base] - 1)
        base = (*base, pieces[-1])
        if array:
            self.found.setdefault(base, self.line())
            self.counts[base] = self.counts.get(base, 0) + 1
            base = (*base, self.counts[base] - 1)
        self.found.setdefault(base, self.line())
        return base

    def run(self) -> None:
        """Scan the whole text."""
        base: Key = ()
        while True:
            self.skip(_SPACE)
            if self.at >= len(self.text):
                return
            if self.peek() == "[":
                base = self.header()
            else:
                self.pair(base)


def key_lines(text: str) -> dict[Key, int]:
    """The 1-based line of every key and array item of a valid TOML text; empty when it nests too deeply."""
    scanner = _Scanner(text.replace("\r\n", "\n"))
    try:
        scanner.run()
    except (RecursionError, UnicodeDecodeError, UnicodeEncodeError):
        return {}
    return scanner.found


def find_line(lines: dict[Key, int], path: Key) -> int:
    """The line of ``path``, or of the nearest thing around it; 0 when nothing is known."""
    for n in range(len(path), 0, -1):
        if path[:n] in lines:
            return lines[path[:n]]
    return 0
