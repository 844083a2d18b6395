"""What an event can say: one small class per kind, each field with the one rule that it must keep.

The rules are used twice, when code makes a payload and when a line of a file is read, so both are equally
strict. Numbers are finite, text holds no control characters (a database may refuse them), choices are closed.
"""

from __future__ import annotations

from dataclasses import MISSING, Field, dataclass, field, fields
from typing import Any, ClassVar, Final
from uuid import UUID

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.history import REASONS, SEVERITIES
from crashworthy.upkeep.rules import (
    Rule,
    apply_rules,
    choice_rule,
    count_rule,
    flag_rule,
    id_rule,
    names_rule,
    number_rule,
    numbers_rule,
    pattern_rule,
    shown,
    text_rule,
)

__all__ = [
    "GRADES",
    "KINDS",
    "LOOKS",
    "TIGHTENED",
    "WHY",
    "Build",
    "Check",
    "Crash",
    "Finding",
    "Note",
    "Pack",
    "Payload",
    "Photo",
    "Repair",
    "Retraction",
    "Swap",
    "Tap",
    "Tighten",
    "payload_from",
]

GRADES: Final = ("tight", "under-eighth", "eighth-to-half", "over-half", "missing")
"""The worst screw of a check, by the turn it took until tight, in parts of a turn."""

TIGHTENED: Final = ("all", "loose", "none")
"""After a check: every screw of the group was tightened, only those found loose, or none."""

LOOKS: Final = ("fine", "worn", "damaged")
"""What the eye says of a part: nothing, use that shows, or damage that will not carry another hard day."""

WHY: Final = ("broke", "worn", "upgrade")
"""Why a part was swapped."""


def _ruled(rule: Rule, default: Any = MISSING) -> Any:
    if default is MISSING:
        return field(metadata={"rule": rule})
    return field(default=default, metadata={"rule": rule})


class Payload:
    """What one event says. Subclasses are frozen dataclasses; ``kind`` is their word in the journal."""

    __slots__ = ()
    kind: ClassVar[str]
    rules: ClassVar[dict[str, Rule]]
    defaults: ClassVar[dict[str, Any]]

    def __post_init__(self) -> None:
        """Clean every field by its rule.

        Raises:
            JournalError: naming every field that cannot be accepted.
        """
        problems = apply_rules(self, self.rules)
        if not problems:
            problems = self._together()
        if problems:
            raise JournalError(*problems)

    def _together(self) -> list[Problem]:
        """Problems between fields that are each fine alone."""
        return []

    def to_json(self) -> dict[str, Any]:
        """Fields that differ from their defaults, in declared order, as JSON values."""
        out: dict[str, Any] = {}
        for name in self.rules:
            value = getattr(self, name)
            if name in self.defaults and value == self.defaults[name]:
                continue
            if isinstance(value, UUID):
                value = str(value)
            out[name] = list(value) if isinstance(value, tuple) else value
        return out


_NAME = text_rule(80)
_NEEDED_NAME = text_rule(80, empty=False)
_TEXT = text_rule(4000, many_lines=True)


@dataclass(frozen=True, slots=True)
class Pack(Payload):
    """One battery flown.

    Attributes:
        minutes: time in the air, min; None when not noted.
        battery: which pack, as the pilot marks them.
        rms: vibration of that flight from its log; any one measure, the same for all packs of the quad, for
            only the ratio to its clean packs counts; None without a log.
        bent_prop: it was flown with a prop known to be bent.
        crashes: how many crashes that pack had; None when not noted (0 is information, None is not).
        log: key of the analysed flight log, or "".
    """

    kind: ClassVar[str] = "pack"
    minutes: float | None = _ruled(number_rule(0.0, 120.0, "min"), None)
    battery: str = _ruled(_NAME, "")
    rms: float | None = _ruled(number_rule(0.0, 1e6, "rms"), None)
    bent_prop: bool = _ruled(flag_rule, False)
    crashes: int | None = _ruled(count_rule(0, 200, optional=True), None)
    log: str = _ruled(_NAME, "")


@dataclass(frozen=True, slots=True)
class Crash(Payload):
    """One crash.

    Attributes:
        severity: scuff, hit or slam.
        obstacle: what was hit, in the pilot's words.
        hit: the part of the quad that took it, or "".
        broke: names of the parts seen broken.
    """

    kind: ClassVar[str] = "crash"
    severity: str = _ruled(choice_rule(SEVERITIES))
    obstacle: str = _ruled(_NAME, "")
    hit: str = _ruled(_NAME, "")
    broke: tuple[str, ...] = _ruled(names_rule, ())


@dataclass(frozen=True, slots=True)
class Check(Payload):
    """One look at a joint group.

    Attributes:
        group: joint group name.
        looked: how many screws were tried.
        loose: how many of them turned before they were tight (missing ones not counted).
        missing: how many were gone.
        grade: the worst of ``GRADES``, or "" when not graded.
        reason: scheduled, suspicion or after-crash.
        tightened: all, loose or none. "all" means every screw of the group; with "all" and "loose" the
            missing ones were replaced.
    """

    kind: ClassVar[str] = "check"
    group: str = _ruled(_NEEDED_NAME)
    looked: int = _ruled(count_rule(1, 500))
    loose: int = _ruled(count_rule(0, 500), 0)
    missing: int = _ruled(count_rule(0, 500), 0)
    grade: str = _ruled(choice_rule(GRADES, empty=True), "")
    reason: str = _ruled(choice_rule(REASONS), "scheduled")
    tightened: str = _ruled(choice_rule(TIGHTENED), "all")

    def _together(self) -> list[Problem]:
        found = self.loose + self.missing
        if found > self.looked:
            what = f"finds {found} loose or missing of {self.looked} looked at"
            return [Problem(what, "count the missing places as looked at", field="looked")]
        fits = {"": True, "tight": found == 0, "missing": self.missing > 0}
        if not fits.get(self.grade, self.loose > 0 and self.missing == 0):
            what = f"is {self.grade} with {self.loose} loose and {self.missing} missing"
            return [Problem(what, "give the grade of the worst screw or leave it out", field="grade")]
        return []


@dataclass(frozen=True, slots=True)
class Tighten(Payload):
    """All screws of a joint group tightened without counting what was found.

    Attributes:
        group: joint group name.
    """

    kind: ClassVar[str] = "tighten"
    group: str = _ruled(_NEEDED_NAME)


@dataclass(frozen=True, slots=True)
class Swap(Payload):
    """A part replaced by another.

    Attributes:
        part: name of the part.
        why: broke, worn or upgrade.
        serial: mark of the new part, so that its life can follow it.
        crash: id of the crash that broke it; None means the latest one before.
    """

    kind: ClassVar[str] = "swap"
    part: str = _ruled(_NEEDED_NAME)
    why: str = _ruled(choice_rule(WHY), "broke")
    serial: str = _ruled(_NAME, "")
    crash: UUID | None = _ruled(id_rule(optional=True), None)  # noqa: RUF009 - a field(), immutable


@dataclass(frozen=True, slots=True)
class Repair(Payload):
    """A part mended in place.

    Attributes:
        part: name of the part.
        why: broke or worn.
        text: what was done.
        crash: id of the crash that broke it; None means the latest one before.
    """

    kind: ClassVar[str] = "repair"
    part: str = _ruled(_NEEDED_NAME)
    why: str = _ruled(choice_rule(WHY[:2]), "broke")
    text: str = _ruled(_TEXT, "")
    crash: UUID | None = _ruled(id_rule(optional=True), None)  # noqa: RUF009 - a field(), immutable


@dataclass(frozen=True, slots=True)
class Tap(Payload):
    """A part tapped, and the note it rang at.

    Attributes:
        part: name of the part.
        hz: its frequency at each tap, Hz; five taps tell more than one.
        damping: damping ratio of each tap, when a recording told it.
    """

    kind: ClassVar[str] = "tap"
    part: str = _ruled(_NEEDED_NAME)
    hz: tuple[float, ...] = _ruled(numbers_rule(1.0, 20000.0, "Hz", 25))
    damping: tuple[float, ...] = _ruled(numbers_rule(0.0, 1.0, "damping ratio", 25, empty=True), ())


@dataclass(frozen=True, slots=True)
class Finding(Payload):
    """A part looked at.

    Attributes:
        part: name of the part.
        state: fine, worn or damaged.
        text: what was seen.
    """

    kind: ClassVar[str] = "finding"
    part: str = _ruled(_NEEDED_NAME)
    state: str = _ruled(choice_rule(LOOKS))
    text: str = _ruled(_TEXT, "")


@dataclass(frozen=True, slots=True)
class Photo(Payload):
    """A picture kept in the data folder.

    Attributes:
        file: its name there, made of its digest.
        sha256: of its bytes, hexadecimal: a copy that differs is found.
        part: name of the part it shows, or "".
        text: what it shows.
    """

    kind: ClassVar[str] = "photo"
    file: str = _ruled(pattern_rule(r"[0-9a-f]{16}\.(jpg|png|webp)", "keep the picture with `journal photo`"))
    sha256: str = _ruled(
        pattern_rule(r"[0-9a-f]{64}", "give the sha256 of the picture, 64 hexadecimal digits")
    )
    part: str = _ruled(_NAME, "")
    text: str = _ruled(_TEXT, "")


@dataclass(frozen=True, slots=True)
class Build(Payload):
    """The build sheet changed.

    Attributes:
        digest: of the new sheet, hexadecimal.
        text: what changed, in words.
    """

    kind: ClassVar[str] = "build"
    digest: str = _ruled(pattern_rule(r"[0-9a-f]{8,128}", "give the hexadecimal digest of the sheet"))
    text: str = _ruled(_TEXT, "")


@dataclass(frozen=True, slots=True)
class Note(Payload):
    """Words to remember.

    Attributes:
        text: the words.
    """

    kind: ClassVar[str] = "note"
    text: str = _ruled(text_rule(4000, empty=False, many_lines=True))


@dataclass(frozen=True, slots=True)
class Retraction(Payload):
    """An event of the same quad taken back: from now on it counts as never entered.

    Attributes:
        target: id of the event.
        why: in words.
        replaced_by: id of the event entered instead, or None.
    """

    kind: ClassVar[str] = "retraction"
    target: UUID = _ruled(id_rule())  # noqa: RUF009 - a field(), immutable
    why: str = _ruled(_NAME, "")
    replaced_by: UUID | None = _ruled(id_rule(optional=True), None)  # noqa: RUF009 - a field(), immutable


KINDS: Final[dict[str, type[Payload]]] = {
    c.kind: c
    for c in (Pack, Crash, Check, Tighten, Swap, Repair, Tap, Finding, Photo, Build, Note, Retraction)
}
"""Every kind of event by its word."""


def _settle(cls: Any) -> None:
    """Put the rules and defaults of a payload class in plain dictionaries, so that use is quick."""
    declared: tuple[Field[Any], ...] = fields(cls)
    cls.rules = {f.name: f.metadata["rule"] for f in declared}
    cls.defaults = {f.name: f.default for f in declared if f.default is not MISSING}


for _cls in KINDS.values():
    _settle(_cls)


def payload_from(kind: str, values: dict[str, Any]) -> Payload:
    """Make a payload from JSON values.

    Args:
        kind: one of ``KINDS``.
        values: by field name.

    Returns:
        The payload, every field clean.

    Raises:
        JournalError: unknown kind or field, missing field, or a value that breaks its rule.
    """
    cls = KINDS.get(kind)
    if cls is None:
        raise JournalError(Problem(f"is {shown(kind)}", "use one of " + ", ".join(KINDS), field="kind"))
    problems = [
        Problem("is unknown", f"{kind} has " + ", ".join(cls.rules), field=str(name)[:40])
        for name in values
        if name not in cls.rules
    ]
    problems += [
        Problem("is missing", f"{kind} needs it", field=name)
        for name in cls.rules
        if name not in values and name not in cls.defaults
    ]
    if problems:
        raise JournalError(*problems)
    return cls(**values)
