"""What the journal says about one quad, folded into the numbers that upkeep reasons with.

``upkeep.state`` makes these from events; ``upkeep.due``, ``upkeep.breakage`` and ``upkeep.kit`` read them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from datetime import datetime

__all__ = [
    "REASONS",
    "SEVERITIES",
    "BuildRow",
    "CheckRow",
    "Clock",
    "CrashRow",
    "FindingRow",
    "GroupHistory",
    "PhotoRow",
    "QuadHistory",
    "SwapRow",
    "TapRow",
]

SEVERITIES: Final = ("scuff", "hit", "slam")
"""How hard a crash was, in the pilot's words, in rising order."""

REASONS: Final = ("scheduled", "suspicion", "after-crash")
"""Why a check was made; only scheduled ones inform the interval (the others are informative censoring)."""


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One look at a joint group, as an interval-censored observation of each screw.

    Attributes:
        age_from: dose at the last look at which the screws were known tight, packs.
        age_to: dose at this look, packs (both since the group was last renewed).
        looked: how many screws were looked at.
        loose: how many of them were loose or missing.
        reason: one of ``REASONS``.
    """

    age_from: float
    age_to: float
    looked: int
    loose: int
    reason: str = "scheduled"


@dataclass(frozen=True, slots=True)
class CrashRow:
    """One crash.

    Attributes:
        occurred: when, UTC.
        severity: one of ``SEVERITIES``.
        obstacle: what was hit as the pilot named it, or "".
        broke: names of the parts that broke (repairs and swaps made for it included).
        hit: the part that took it as the pilot named it, or "".
        device: the device it was entered with: whose grading it is; "" when not known.
    """

    occurred: datetime
    severity: str
    obstacle: str = ""
    broke: tuple[str, ...] = ()
    hit: str = ""
    device: str = ""


@dataclass(frozen=True, slots=True)
class GroupHistory:
    """One joint group since it was last renewed, and every check of it.

    Attributes:
        group: joint group name.
        age: dose since all its screws were last tightened, packs.
        packs: plain count of packs over the same time.
        checks: every check ever made, oldest first.
        forced: why it is due whatever its age ("slam since the last check"), or "".
        since_missing: packs since a screw was found missing, or None when that never happened.
        last_check: when it was last checked, UTC, or None.
        since_tight: dose since all its screws were last known tight, packs: less than ``age`` after a check
            that tightened only the loose ones; None when the same.
    """

    group: str
    age: float = 0.0
    packs: int = 0
    checks: tuple[CheckRow, ...] = ()
    forced: str = ""
    since_missing: float | None = None
    last_check: datetime | None = None
    since_tight: float | None = None

    @property
    def unseen(self) -> float:
        """Dose in which a screw may have worked loose unseen, packs; what the interval is held against."""
        return self.age if self.since_tight is None else self.since_tight


@dataclass(frozen=True, slots=True)
class Clock:
    """What a quad had been through at some moment.

    Attributes:
        packs: packs flown.
        dose: vibration-weighted packs flown.
        crashes: (scuffs, hits, slams).
    """

    packs: int = 0
    dose: float = 0.0
    crashes: tuple[int, int, int] = (0, 0, 0)

    def since(self, start: Clock) -> Clock:
        """What came after ``start``."""
        a, b = self.crashes, start.crashes
        return Clock(
            self.packs - start.packs, self.dose - start.dose, (a[0] - b[0], a[1] - b[1], a[2] - b[2])
        )

    def plus(self, other: Clock) -> Clock:
        """Both together."""
        a, b = self.crashes, other.crashes
        return Clock(
            self.packs + other.packs, self.dose + other.dose, (a[0] + b[0], a[1] + b[1], a[2] + b[2])
        )


@dataclass(frozen=True, slots=True)
class SwapRow:
    """A part replaced.

    Attributes:
        occurred: when, UTC.
        part: its name on this quad.
        why: broke, worn or upgrade.
        serial: mark of the part that came in, or "".
        at: the quad's clock.
    """

    occurred: datetime
    part: str
    why: str
    serial: str
    at: Clock


@dataclass(frozen=True, slots=True)
class TapRow:
    """A tap test: ``part`` rang at ``hz`` when the quad's clock stood at ``at``."""

    occurred: datetime
    part: str
    hz: tuple[float, ...]
    at: Clock


@dataclass(frozen=True, slots=True)
class FindingRow:
    """A look at ``part``: ``state`` fine, worn or damaged, in words ``text``."""

    occurred: datetime
    part: str
    state: str
    text: str
    at: Clock


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A picture in the data folder."""

    occurred: datetime
    file: str
    part: str
    text: str


@dataclass(frozen=True, slots=True)
class BuildRow:
    """A change of the build sheet."""

    occurred: datetime
    digest: str
    text: str
    at: Clock


@dataclass(frozen=True, slots=True)
class QuadHistory:
    """Everything the journal says about one quad.

    Attributes:
        quad: slug.
        packs: packs flown.
        dose: vibration-weighted packs flown.
        crashes: every crash, oldest first.
        groups: by joint group name.
        swaps: how often each part was replaced, by part name.
        breaks: how often each part broke, by part name.
        notes: latest first.
        changes: every swap, oldest first.
        taps, findings, photos, builds: the same of the others.
        batteries: packs flown by the mark of the battery.
    """

    quad: str
    packs: int = 0
    dose: float = 0.0
    crashes: tuple[CrashRow, ...] = ()
    groups: dict[str, GroupHistory] = field(default_factory=dict)
    swaps: dict[str, int] = field(default_factory=dict)
    breaks: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    changes: tuple[SwapRow, ...] = ()
    taps: tuple[TapRow, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    photos: tuple[PhotoRow, ...] = ()
    builds: tuple[BuildRow, ...] = ()
    batteries: dict[str, int] = field(default_factory=dict)

    @property
    def clock(self) -> Clock:
        """What the quad has been through until now."""
        scuffs, hits, slams = (sum(c.severity == s for c in self.crashes) for s in SEVERITIES)
        return Clock(self.packs, self.dose, (scuffs, hits, slams))
