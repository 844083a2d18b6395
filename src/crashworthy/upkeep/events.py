"""Events: what happened to a quad, once, for good.

An event is never changed. A correction is a further event: ``retract`` takes one back, ``amend`` takes one
back and enters another in its place. What the journal says is a function of the set of events alone
(``upkeep.state``), so copies of a journal merge by union, in any order, however often.

Ids are UUID version 7 (RFC 9562, section 5.7): 48 bits of Unix time in ms, then random bits, so ids of one
device sort as they were made. What can be said only once has an id made of what it is said of instead
(``id_of``; version 5, section 5.5). Clock and randomness are handed in; this module has neither.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from uuid import UUID, uuid5

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.payloads import Payload, Retraction
from crashworthy.upkeep.rules import (
    BrokenRuleError,
    Rule,
    apply_rules,
    count_rule,
    id_rule,
    pattern_rule,
    shown,
)

__all__ = ["Event", "IdMaker", "Scribe", "amend", "id_of", "milliseconds", "moment", "retract", "uuid7"]

Clock = Callable[[], datetime]
Entropy = Callable[[int], bytes]

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_EARLIEST: Final = datetime(2000, 1, 1, tzinfo=UTC)
_LATEST: Final = datetime(2200, 1, 1, tzinfo=UTC)
_RANDOM_BITS: Final = 74  # rand_a (12) and rand_b (62) of RFC 9562, section 5.7


def milliseconds(when: datetime) -> int:
    """Whole ms since 1970-01-01 UTC; exact, without going through a float."""
    return (when - _EPOCH) // timedelta(milliseconds=1)


def moment(ms: int) -> datetime:
    """The UTC moment ``ms`` after 1970-01-01; the inverse of ``milliseconds``."""
    return _EPOCH + timedelta(0, 0, 0, ms)  # by place: by name takes twice as long


def uuid7(ms: int, random: int) -> UUID:
    """A version 7 UUID.

    Args:
        ms: Unix time, ms, 0 to 2^48 - 1.
        random: 74 random bits.

    Returns:
        The id, laid out as RFC 9562, section 5.7 says.

    Raises:
        ValueError: when an argument has too many bits.
    """
    if not 0 <= ms < 1 << 48 or not 0 <= random < 1 << _RANDOM_BITS:
        raise ValueError("a version 7 UUID holds 48 bits of time and 74 random bits")
    rand_a, rand_b = random >> 62, random & ((1 << 62) - 1)
    return UUID(int=ms << 80 | 0x7 << 76 | rand_a << 64 | 0b10 << 62 | rand_b)


_SAID_ONCE: Final = UUID("6f0c7a52-3b1e-4d7c-9a86-2f1d5be04c93")  # drawn once; names the space of ``id_of``


def id_of(*words: str) -> UUID:
    """The id, version 5, of what can be said only once of what ``words`` name: equal words, equal id."""
    return uuid5(_SAID_ONCE, json.dumps(words))


class IdMaker:
    """Makes ids that rise, also within one ms and when the clock steps back.

    RFC 9562, section 6.2, method 2: where time does not advance, the random bits go up by one.
    """

    def __init__(self, clock: Clock, entropy: Entropy) -> None:
        """Take a clock (aware datetimes) and a source of random bytes such as ``os.urandom``."""
        self._clock, self._entropy = clock, entropy
        self._last = (-1, 0)
        self._lock = threading.Lock()

    def __call__(self) -> UUID:
        """The next id."""
        with self._lock:
            ms = milliseconds(self._clock())
            last_ms, last_random = self._last
            if ms > last_ms:
                random = int.from_bytes(self._entropy(10), "big") >> 6
            else:
                ms, random = last_ms, last_random + 1
                if random >> _RANDOM_BITS:
                    ms, random = ms + 1, 0
            self._last = (ms, random)
            return uuid7(ms, random)


def moment_rule(value: Any) -> datetime:
    """An aware moment, in UTC and whole ms, from a datetime or its ISO 8601 text."""
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise BrokenRuleError(
                f"is {shown(value)}, not a time", "write it like 2026-05-01T10:30:00Z"
            ) from None
    if not isinstance(value, datetime):
        raise BrokenRuleError(f"is {shown(value)}, not a time", "write it like 2026-05-01T10:30:00Z")
    if value.tzinfo is None:
        raise BrokenRuleError("has no time zone", "end it with Z for UTC or an offset such as +02:00")
    try:
        value = value.astimezone(UTC)
    except OverflowError:
        value = _EPOCH
    if not _EARLIEST <= value < _LATEST:
        raise BrokenRuleError(
            f"is {value:%Y-%m-%d}", "set the clock of the device; 2000 to 2199 are accepted"
        )
    return moment(milliseconds(value))


SLUG: Final = r"[a-z0-9][a-z0-9_-]{0,63}"
_RULES: Final[dict[str, Rule]] = {
    "id": id_rule(),
    "quad": pattern_rule(SLUG, "use the short name of the quad: a-z, 0-9, _ and -, at most 64"),
    "occurred": moment_rule,
    "device": pattern_rule(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", "use letters, digits, . _ and -, at most 64"),
    "device_seq": count_rule(1, 2**53 - 1),  # the largest whole number every JSON reader keeps
}


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened.

    Attributes:
        id: UUID; version 7 when made here, 5 for what can be said only once.
        quad: slug of the quad.
        occurred: when it happened, UTC, whole ms.
        device: which phone or machine entered it.
        device_seq: how many events that device had entered with this one; 1 for its first.
        payload: what happened.
    """

    id: UUID
    quad: str
    occurred: datetime
    device: str
    device_seq: int
    payload: Payload

    def __post_init__(self) -> None:
        """Clean every field by its rule.

        Raises:
            JournalError: naming every field that cannot be accepted.
        """
        problems = apply_rules(self, _RULES)
        payload: object = self.payload  # code that is not type-checked may hand in anything
        if not isinstance(payload, Payload):
            problems.append(Problem("is not a payload", "use a class of upkeep.payloads", field="payload"))
        if problems:
            raise JournalError(*problems)

    @property
    def kind(self) -> str:
        """The word of its payload: pack, crash, check ..."""
        return self.payload.kind

    @property
    def order(self) -> tuple[datetime, UUID]:
        """The key by which a set of events is put in order: when it happened, then its id."""
        return (self.occurred, self.id)

    @classmethod
    def trusted(
        cls,
        event_id: UUID,
        quad: str,
        occurred: datetime,
        device: str,
        device_seq: int,
        payload: Payload,
    ) -> Event:
        """An event whose fields were checked when they were stored; skips the rules."""
        event = object.__new__(cls)
        put = object.__setattr__
        put(event, "id", event_id)
        put(event, "quad", quad)
        put(event, "occurred", occurred)
        put(event, "device", device)
        put(event, "device_seq", device_seq)
        put(event, "payload", payload)
        return event


class Scribe:
    """Makes the events of one device: gives each its id, its number and, if none is named, its time."""

    def __init__(self, device: str, clock: Clock, ids: Callable[[], UUID], next_seq: int = 1) -> None:
        """Take the device's name, a clock, a maker of ids (``IdMaker``), and the first number to give."""
        self.device, self._clock, self._ids = device, clock, ids
        self._next = next_seq
        self._lock = threading.Lock()

    def write(self, quad: str, payload: Payload, occurred: datetime | None = None) -> Event:
        """The event that says ``payload`` of ``quad``, ``occurred`` then or now.

        Raises:
            JournalError: when a field cannot be accepted; no number is used up.
        """
        with self._lock:
            when = self._clock() if occurred is None else occurred
            event = Event(self._ids(), quad, when, self.device, self._next, payload)
            self._next += 1
            return event


def retract(scribe: Scribe, event: Event, why: str = "") -> Event:
    """The event that takes ``event`` back.

    Raises:
        JournalError: when ``event`` is itself a retraction; enter what it took back again instead.
    """
    _refuse_retraction(event)
    return scribe.write(event.quad, Retraction(event.id, why))


def amend(
    scribe: Scribe, event: Event, payload: Payload, *, occurred: datetime | None = None, why: str = ""
) -> tuple[Event, Event]:
    """Take ``event`` back and say ``payload`` instead, at the same time unless ``occurred`` names another.

    Returns:
        The new event and the retraction that points to it; append both.

    Raises:
        JournalError: when ``event`` is itself a retraction.
    """
    _refuse_retraction(event)
    new = scribe.write(event.quad, payload, event.occurred if occurred is None else occurred)
    return new, scribe.write(event.quad, Retraction(event.id, why, new.id))


def _refuse_retraction(event: Event) -> None:
    if isinstance(event.payload, Retraction):
        raise JournalError(
            Problem(
                "a retraction cannot be taken back", "enter the event that it took back again", field="id"
            )
        )
