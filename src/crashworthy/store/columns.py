"""The events of a quad read side by side, for the fold: most of them from the index alone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import sqlalchemy as sa

from crashworthy.store import schema
from crashworthy.store.journal import damaged
from crashworthy.upkeep.columns import Columns
from crashworthy.upkeep.events import milliseconds
from crashworthy.upkeep.lines import said_digest, trusted_payload
from crashworthy.upkeep.payloads import Crash

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy.engine import Connection

    from crashworthy.upkeep.payloads import Payload

__all__ = ["read_columns"]

_AT_ONCE: Final = 500
"""Rows asked for in one statement."""


def read_columns(connection: Connection, quad: str, known: dict[bytes, Payload]) -> Columns:
    """The events of one quad.

    Args:
        connection: in a transaction.
        quad: slug.
        known: payloads read already, by ``event.said``; what is read now is added.

    Raises:
        StoreError: a row was damaged outside this program.
    """
    occurred: list[int] = []
    ids: list[bytes] = []
    numbers: list[int] = []
    seqs: list[int] = []
    number: dict[bytes, int] = {}
    places: dict[bytes, int] = {}  # each thing said, and one event that says it
    # Row by row, so that no row outlives the next: the collector would walk a list of them again and again.
    for ms, key, said, seq in _rows(connection, quad):
        occurred.append(ms)
        ids.append(key)
        seqs.append(seq)
        n = number.get(said)
        if n is None:
            n = number[said] = len(number)
            if said not in known:
                places[said] = seq
        numbers.append(n)
    _read_payloads(connection, places, known)
    times, which = np.array(occurred, dtype=np.int64), np.array(numbers, dtype=np.int64)
    payloads = [known[said] for said in number]
    crash = np.array([type(p) is Crash for p in payloads], dtype=bool)
    places_of = np.flatnonzero(crash[which]) if len(which) else which
    crashes = {seqs[at]: ids[at] for at in places_of.tolist()}
    return Columns(times, ids, which, payloads, _read_devices(connection, crashes))


def _rows(connection: Connection, quad: str) -> Iterable[tuple[int, bytes, bytes, int]]:
    """(ms since 1970 UTC, id, said, seq) in order of time and id."""
    if connection.dialect.name == "sqlite":
        query = "SELECT occurred, event_id, said, seq FROM event WHERE quad = ? ORDER BY occurred, event_id"
        return _straight(connection, query, (quad,))
    column = schema.event.c
    asked = (
        sa.select(column.occurred, column.event_id, column.said, column.seq)
        .where(column.quad == quad)
        .order_by(column.occurred, column.event_id)
    )
    return ((milliseconds(o), i.bytes, bytes(d), s) for o, i, d, s in connection.execute(asked))


def _read_payloads(connection: Connection, places: dict[bytes, int], known: dict[bytes, Payload]) -> None:
    wanted = list(places.values())
    for start in range(0, len(wanted), _AT_ONCE):
        for seq, kind, text, said in _payload_rows(connection, wanted[start : start + _AT_ONCE]):
            # One payload stands for every event that says the same: it must be what its digest says.
            if said_digest(kind, text) != said:
                raise damaged(seq)
            try:
                known[said] = trusted_payload(kind, text)
            except (KeyError, ValueError, TypeError):
                raise damaged(seq) from None


def _read_devices(connection: Connection, crashes: dict[int, bytes]) -> dict[bytes, str]:
    """Which device entered each of these events, by its id; rows never change, so it may be asked later."""
    wanted, found = list(crashes), {}
    for start in range(0, len(wanted), _AT_ONCE):
        for seq, device in _device_rows(connection, wanted[start : start + _AT_ONCE]):
            found[crashes[seq]] = device
    return found


def _device_rows(connection: Connection, seqs: list[int]) -> Iterable[tuple[int, str]]:
    if connection.dialect.name == "sqlite":
        places = ",".join("?" * len(seqs))
        query = f"SELECT seq, device FROM event WHERE seq IN ({places})"  # noqa: S608 - only ?
        return _straight(connection, query, seqs)
    column = schema.event.c
    asked = sa.select(column.seq, column.device).where(column.seq.in_(seqs))
    return ((seq, device) for seq, device in connection.execute(asked))


def _payload_rows(connection: Connection, seqs: list[int]) -> Iterable[tuple[int, str, str, bytes]]:
    if connection.dialect.name == "sqlite":
        places = ",".join("?" * len(seqs))
        query = f"SELECT seq, kind, payload, said FROM event WHERE seq IN ({places})"  # noqa: S608 - only ?
        return _straight(connection, query, seqs)
    column = schema.event.c
    asked = sa.select(column.seq, column.kind, column.payload, column.said).where(column.seq.in_(seqs))
    return ((n, kind, text, bytes(said)) for n, kind, text, said in connection.execute(asked))


def _straight(connection: Connection, query: str, values: Sequence[Any]) -> Iterable[Any]:
    """Rows straight from the driver: SQLite holds what is wanted, and wrapping it is half the time."""
    rows: Iterable[Any] = connection.connection.cursor().execute(query, values)
    return rows
