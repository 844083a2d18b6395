"""The life of each part: packs and crashes it has lived through, and on which frames.

A part begins with the journal, or with the swap that put it in. A serial mark carries its life along: a part
taken out and put in again, here or on another quad, goes on where it stopped.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from crashworthy.upkeep.history import Clock

if TYPE_CHECKING:
    from datetime import datetime

    from crashworthy.upkeep.history import QuadHistory

__all__ = ["EndedLife", "Life", "Lives", "part_lives"]


@dataclass(frozen=True, slots=True)
class Life:
    """A part in place.

    Attributes:
        quad: slug of the quad it is on.
        part: its name there.
        serial: its mark, or "".
        lived: packs, dose and crashes, all places together.
        places: (quad, part) of each place it has been in, in order, each named once.
        since: when it was put in; None when the journal began with it.
    """

    quad: str
    part: str
    serial: str
    lived: Clock
    places: tuple[tuple[str, str], ...]
    since: datetime | None

    @property
    def crashes(self) -> int:
        """All crashes it has lived through."""
        return sum(self.lived.crashes)

    def summary(self) -> str:
        """A clause with numbers: "212 packs, 148 crashes, 2 frames"."""
        packs = "1 pack" if self.lived.packs == 1 else f"{self.lived.packs} packs"
        text = f"{packs}, {'1 crash' if self.crashes == 1 else f'{self.crashes} crashes'}"
        frames = len({quad for quad, _ in self.places})
        return f"{text}, {frames} frames" if frames > 1 else text

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {
            "quad": self.quad,
            "part": self.part,
            "serial": self.serial,
            "packs": self.lived.packs,
            "dose": self.lived.dose,
            "crashes": list(self.lived.crashes),
            "places": [list(p) for p in self.places],
            "since": None if self.since is None else self.since.isoformat(),
            "summary": self.summary(),
        }


@dataclass(frozen=True, slots=True)
class EndedLife:
    """A part that was taken out: where, why, and what it had lived through."""

    quad: str
    part: str
    serial: str
    why: str
    lived: Clock
    occurred: datetime


@dataclass(frozen=True, slots=True)
class Lives:
    """All lives of a fleet.

    Attributes:
        now: (quad, part) to the part in place.
        ended: parts taken out, oldest first.
        shelf: lives of marked parts that are in no quad now, by serial.
    """

    now: dict[tuple[str, str], Life]
    ended: tuple[EndedLife, ...]
    shelf: dict[str, Clock]


@dataclass(slots=True)
class _Unit:
    serial: str = ""
    before: Clock = field(default_factory=Clock)
    start: Clock = field(default_factory=Clock)
    places: tuple[tuple[str, str], ...] = ()
    since: datetime | None = None

    def lived(self, at: Clock) -> Clock:
        return self.before.plus(at.since(self.start))


def part_lives(histories: Mapping[str, QuadHistory], parts: Mapping[str, Sequence[str]]) -> Lives:
    """Follow every part through the journals.

    Args:
        histories: by quad.
        parts: names of the parts of each quad's build.
    """
    swaps = sorted(
        ((row.occurred, slug, n, row) for slug, h in histories.items() for n, row in enumerate(h.changes)),
        key=lambda x: x[:3],
    )
    units: dict[tuple[str, str], _Unit] = {}
    shelf: dict[str, tuple[Clock, tuple[tuple[str, str], ...]]] = {}
    ended: list[EndedLife] = []
    for occurred, slug, _, row in swaps:
        place = (slug, row.part)
        old = units.get(place) or _Unit(places=(place,))
        lived = old.lived(row.at)
        ended.append(EndedLife(slug, row.part, old.serial, row.why, lived, occurred))
        if old.serial and row.why != "broke":
            shelf[old.serial] = (lived, old.places)
        before, places = shelf.pop(row.serial, (Clock(), ())) if row.serial else (Clock(), ())
        units[place] = _Unit(row.serial, before, row.at, tuple(dict.fromkeys((*places, place))), occurred)
    now = {}
    for slug, names in parts.items():
        clock = histories[slug].clock
        for name in names:
            unit = units.get((slug, name)) or _Unit(places=((slug, name),))
            now[slug, name] = Life(slug, name, unit.serial, unit.lived(clock), unit.places, unit.since)
    return Lives(now, tuple(ended), {serial: lived for serial, (lived, _) in shelf.items()})
