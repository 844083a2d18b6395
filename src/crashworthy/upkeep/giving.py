"""Counts that somebody else gave: what may be in them, and what must not.

An export holds counts alone; so does what is kept of it. A file with anything else in it is refused, so that
its giver learns of a mistake, and what is kept is written anew from the counts that were read.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.counts import QuadCounts, read_counts

__all__ = ["Given", "checked_counts", "checked_source", "counts_text"]

_LETTERS: Final = 40
_ITEM: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_ .+-]{0,39}")


@dataclass(frozen=True, slots=True)
class Given:
    """What somebody else gave of one quad.

    Attributes:
        source: who gave it, as the pilot here calls them.
        taken: when it was taken in, UTC.
        counts: the counts.
    """

    source: str
    taken: datetime
    counts: QuadCounts

    def named(self) -> QuadCounts:
        """The counts, with the source in their label."""
        return replace(self.counts.told_by(self.source), label=f"{self.counts.label} ({self.source})")

    def summary(self) -> str:
        """One sentence with numbers."""
        c = self.counts
        lived = f"{c.packs} packs, {sum(c.crashes)} crashes"
        return f"{c.label} of {self.source}: {lived}, taken {self.taken:%Y-%m-%d}."

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"source": self.source, "taken": self.taken.isoformat(), "counts": self.counts.to_json()}


def checked_source(name: str) -> str:
    """The name under which counts are kept.

    Raises:
        JournalError: it is empty, long, or not one line.
    """
    name = name.strip()
    if not _is_name(name):
        raise JournalError(
            Problem(
                f"{name[:40]!r} is no name", "say in 1 to 40 characters who gave the counts", field="source"
            )
        )
    return name


def _is_name(text: str) -> bool:
    return bool(text.strip()) and len(text) <= _LETTERS and text.isprintable()


def counts_text(counts: QuadCounts) -> str:
    """Canonical text of counts, as it is kept."""
    return json.dumps(counts.to_json(), separators=(",", ":"), ensure_ascii=False, sort_keys=True)


def checked_counts(
    text: str, own: Sequence[QuadCounts] = (), others: Sequence[Given] = (), file: str = ""
) -> tuple[QuadCounts, ...]:
    """Counts that may be kept.

    Args:
        text: what was exported.
        own: counts of this fleet.
        others: what others gave already.
        file: how to name it in problems.

    Returns:
        One for each quad.

    Raises:
        JournalError: it is no file of counts, holds something else too, or a quad that is known already.
    """
    rows = read_counts(text, file)
    value = json.loads(text)
    problems: list[Problem] = []

    def wrong(what: str, remedy: str) -> None:
        problems.append(Problem(what, remedy, file))

    if not rows:
        wrong("holds no quad", "ask for another export")
    for counts, raw in zip(rows, value if isinstance(value, list) else [value], strict=True):
        name = f"{counts.label[:40]!r}"
        more = sorted(str(k) for k in set(raw) - set(counts.to_json()))
        if more:
            wrong(f"{name} holds more than counts: {', '.join(more)[:80]}", "ask for an export of counts")
        if not _is_name(counts.label):
            wrong(f"{name} is no name of a quad", "ask for another export")
        items = [*counts.items, *(item for p in counts.pilots.values() for item in p.items), *counts.pilots]
        odd = [item for item in items if not _ITEM.fullmatch(item)]
        if odd:
            wrong(f"{name} counts {odd[0][:40]!r}, which is no item", "ask for an export of counts")
        if any(_same(counts, mine) for mine in own):
            wrong(f"{name} is a quad of this fleet", "own quads are counted already; leave it out")
        for other in others:
            if _same(counts, other.counts):
                wrong(f"{name} was given by {other.source} already", "remove it there first")
    labels = [c.label for c in rows]
    for label in sorted({x for x in labels if labels.count(x) > 1}):
        wrong(f"{label[:40]!r} is there twice", "ask for another export")
    if problems:
        raise JournalError(*problems)
    return rows


def _same(a: QuadCounts, b: QuadCounts) -> bool:
    """Whether both are of one quad: that much lived through, alike in every count, is no chance."""
    alike = replace(a, label="", pilots={}) == replace(b, label="", pilots={})
    return a.packs > 0 and sum(a.crashes) > 0 and alike
