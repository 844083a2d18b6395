"""Events in the database: append once, read back."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

import sqlalchemy as sa

from crashworthy.errors import Problem, StoreError
from crashworthy.store import schema
from crashworthy.store.chain import Chains, heads
from crashworthy.upkeep.events import Event
from crashworthy.upkeep.lines import payload_text, said_digest, to_line, trusted_payload

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

__all__ = [
    "BATCH",
    "AppendResult",
    "Page",
    "Rejection",
    "damaged",
    "event_digest",
    "insert_events",
    "last_device_seq",
    "lock_journal",
    "select_events",
]

BATCH: Final = 500
"""Events in one transaction: short enough for others to get their turn."""


@dataclass(frozen=True, slots=True)
class Rejection:
    """An event that was not taken.

    Attributes:
        event_id: its id.
        reason: why, and what to do.
    """

    event_id: UUID
    reason: str


@dataclass(frozen=True, slots=True)
class AppendResult:
    """What became of a batch. An event named twice in it is listed once.

    Attributes:
        accepted: new here and now safe on the disk.
        duplicate: was here already, identical.
        rejected: not taken, with the reason.
    """

    accepted: tuple[UUID, ...] = ()
    duplicate: tuple[UUID, ...] = ()
    rejected: tuple[Rejection, ...] = ()

    def __add__(self, other: AppendResult) -> AppendResult:
        """Two results as one."""
        return AppendResult(
            self.accepted + other.accepted, self.duplicate + other.duplicate, self.rejected + other.rejected
        )

    def summary(self) -> str:
        """One sentence with the counts."""
        parts = [f"{len(self.accepted)} events added", f"{len(self.duplicate)} were there already"]
        if self.rejected:
            parts.append(f"{len(self.rejected)} not accepted")
        return ", ".join(parts)

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "accepted": [str(i) for i in self.accepted],
            "duplicate": [str(i) for i in self.duplicate],
            "rejected": [{"id": str(r.event_id), "reason": r.reason} for r in self.rejected],
        }


@dataclass(frozen=True, slots=True)
class Page:
    """Some events in order of arrival.

    Attributes:
        events: the events.
        last_seq: pass it as ``after_seq`` to get the next; unchanged when there were none.
    """

    events: tuple[Event, ...]
    last_seq: int


def event_digest(event: Event) -> bytes:
    """SHA-256 of the event's canonical line."""
    return hashlib.sha256(to_line(event).encode()).digest()


def lock_journal(connection: Connection) -> None:
    """Let one writer at a time append, so that arrival numbers rise in the order of commits.

    SQLite's write transaction does that by itself.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(schema.LOCK_KEY + 1)))


def last_device_seq(connection: Connection, device: str) -> int:
    """The highest number that a device has given, 0 when none."""
    highest = sa.select(sa.func.max(schema.event.c.device_seq)).where(schema.event.c.device == device)
    return connection.execute(highest).scalar() or 0


def insert_events(connection: Connection, events: Sequence[Event], received: datetime) -> AppendResult:
    """Add at most ``BATCH`` events inside the caller's write transaction.

    An id that is there already is a duplicate if the event is the same, and refused if it is not. A device
    number that another event holds is refused too: two devices then go by one name, and silence would hide
    it.
    """
    lock_journal(connection)
    stored = _stored_digests(connection, [e.id for e in events])
    taken = _taken_numbers(connection, events)
    fresh: dict[UUID, dict[str, Any]] = {}
    duplicate: list[UUID] = []
    rejected: list[Rejection] = []
    for event in events:
        digest = event_digest(event)
        key = (event.device, event.device_seq)
        if event.id in stored:
            if stored[event.id] != digest:
                rejected.append(Rejection(event.id, "another event has this id; enter it again"))
            elif event.id not in fresh:
                duplicate.append(event.id)
        elif key in taken:
            reason = f"number {event.device_seq} of {event.device} belongs to another event"
            rejected.append(Rejection(event.id, f"{reason}; give each device a name of its own"))
        else:
            stored[event.id] = digest
            taken.add(key)
            fresh[event.id] = _row(event, digest, received)
    if not fresh:
        return AppendResult((), tuple(duplicate), tuple(rejected))
    chains = Chains(heads(connection, {row["device"] for row in fresh.values()}))
    rows = [row | {"link": chains.add(row["device"], row["digest"])} for row in fresh.values()]
    # Nobody else writes now, so no row can be there already; were one, nothing of this batch would be kept.
    connection.execute(sa.insert(schema.event), rows)
    return AppendResult(tuple(fresh), tuple(duplicate), tuple(rejected))


def _row(event: Event, digest: bytes, received: datetime) -> dict[str, Any]:
    payload = payload_text(event)
    return {
        "event_id": event.id,
        "quad": event.quad,
        "kind": event.kind,
        "occurred": event.occurred,
        "device": event.device,
        "device_seq": event.device_seq,
        "payload": payload,
        "digest": digest,
        "received": received,
        "said": said_digest(event.kind, payload),
    }


def _stored_digests(connection: Connection, ids: list[UUID]) -> dict[UUID, bytes]:
    found = sa.select(schema.event.c.event_id, schema.event.c.digest).where(schema.event.c.event_id.in_(ids))
    return {row.event_id: bytes(row.digest) for row in connection.execute(found)}


def _taken_numbers(connection: Connection, events: Sequence[Event]) -> set[tuple[str, int]]:
    numbers: dict[str, list[int]] = {}
    for event in events:
        numbers.setdefault(event.device, []).append(event.device_seq)
    column = schema.event.c
    taken: set[tuple[str, int]] = set()
    for device, seqs in numbers.items():
        found = sa.select(column.device_seq).where(column.device == device, column.device_seq.in_(seqs))
        taken |= {(device, seq) for seq in connection.execute(found).scalars()}
    return taken


def select_events(
    connection: Connection,
    *,
    quad: str | None = None,
    event_id: UUID | None = None,
    after_seq: int | None = None,
    limit: int | None = None,
    newest_first: bool = False,
) -> Iterator[tuple[int, Event]]:
    """Events with their arrival numbers, in order of arrival, or newest arrival first.

    Raises:
        StoreError: when a row was damaged outside this program.
    """
    column = schema.event.c
    query = sa.select(
        column.seq,
        column.event_id,
        column.quad,
        column.occurred,
        column.device,
        column.device_seq,
        column.kind,
        column.payload,
    ).order_by(column.seq.desc() if newest_first else column.seq)
    if quad is not None:
        query = query.where(column.quad == quad)
    if event_id is not None:
        query = query.where(column.event_id == event_id)
    if after_seq is not None:
        query = query.where(column.seq > after_seq)
    if limit is not None:
        query = query.limit(limit)
    for seq, uid, slug, occurred, device, device_seq, kind, payload in connection.execute(query):
        try:
            said = trusted_payload(kind, payload)
        except (KeyError, ValueError, TypeError):
            raise damaged(seq) from None
        yield seq, Event.trusted(uid, slug, occurred, device, device_seq, said)


def damaged(seq: int) -> StoreError:
    """The error for a row that cannot be read."""
    return StoreError(Problem(f"event {seq} is damaged", "verify the store, then restore your latest backup"))
