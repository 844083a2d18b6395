"""The chain of each device: every event is linked to the one of its device that arrived before it.

    link(1) = SHA-256( SHA-256("device " + name)  +  digest(1) )
    link(k) = SHA-256( link(k - 1)  +  digest(k) )       digest(k) = SHA-256(canonical line of event k)

An event that is taken out, changed, put in between or swapped with another breaks the link after it. Taking
away the newest events of a device leaves a shorter chain that is whole; that shows against an older backup,
whose heads must be links of this store (``missing_heads``). The chain detects, it does not forbid: whoever
can write to the database and knows this page can make every link anew.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import sqlalchemy as sa

from crashworthy.store import schema

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy.engine import Connection

__all__ = ["Chains", "heads", "missing_heads", "next_link", "origin"]


def origin(device: str) -> bytes:
    """What the first event of a device is linked to."""
    return hashlib.sha256(f"device {device}".encode()).digest()


def next_link(before: bytes, digest: bytes) -> bytes:
    """The link of an event from the link before it and its own digest."""
    return hashlib.sha256(before + digest).digest()


def heads(connection: Connection, devices: Iterable[str] | None = None) -> dict[str, bytes]:
    """The newest link of each device, or of those asked for; a device without events has none."""
    c = schema.event.c
    last = sa.select(c.device, sa.func.max(c.seq).label("seq")).group_by(c.device)
    if devices is not None:
        last = last.where(c.device.in_(list(devices)))
    newest = last.subquery()
    query = sa.select(c.device, c.link).join(newest, c.seq == newest.c.seq)
    return {device: bytes(link) for device, link in connection.execute(query)}


def missing_heads(connection: Connection, known: dict[str, bytes]) -> tuple[str, ...]:
    """Devices whose newest link of an earlier day is no link of this store any more."""
    gone = []
    for device, link in sorted(known.items()):
        found = sa.select(sa.literal(1)).where(schema.event.c.device == device, schema.event.c.link == link)
        if connection.execute(found.limit(1)).first() is None:
            gone.append(device)
    return tuple(gone)


class Chains:
    """Follows the chains of every device while events go by in order of arrival."""

    def __init__(self, known: dict[str, bytes] | None = None) -> None:
        """Begin at the heads that are known; a device that is not among them begins at its origin."""
        self.heads = dict(known or {})
        self.broken: set[str] = set()

    def add(self, device: str, digest: bytes) -> bytes:
        """The link of the next event of a device."""
        self.heads[device] = next_link(self.heads.get(device) or origin(device), digest)
        return self.heads[device]

    def breaks(self, device: str, digest: bytes, link: bytes) -> bool:
        """Whether a stored event is the first of its device that does not fit what came before it."""
        fits = self.add(device, digest) == link
        self.heads[device] = link  # what comes after is held against what is stored
        if fits or device in self.broken:
            return False
        self.broken.add(device)
        return True
