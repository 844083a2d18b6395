"""Counts that others of the crew gave, in the database; they are not ours and may be removed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from crashworthy.store import schema

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

__all__ = ["GivenRecord", "delete_given", "read_given", "replace_given"]


@dataclass(frozen=True, slots=True)
class GivenRecord:
    """Counts of one quad of somebody else.

    Attributes:
        source: who gave them, as the pilot here calls them.
        label: how the quad is called there.
        counts: ``QuadCounts.to_json()`` as text.
        taken: when they were taken in, UTC.
    """

    source: str
    label: str
    counts: str
    taken: datetime

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"source": self.source, "label": self.label, "taken": self.taken.isoformat()}


def replace_given(connection: Connection, source: str, records: Sequence[GivenRecord]) -> None:
    """Put what a source gives now in the place of all that it gave before."""
    delete_given(connection, source)
    if records:
        rows = [{name: getattr(r, name) for name in GivenRecord.__slots__} for r in records]
        connection.execute(sa.insert(schema.given), rows)


def read_given(connection: Connection) -> tuple[GivenRecord, ...]:
    """All that is kept, by source and label."""
    column = schema.given.c
    rows = connection.execute(sa.select(schema.given).order_by(column.source, column.label))
    return tuple(GivenRecord(**row) for row in rows.mappings())


def delete_given(connection: Connection, source: str) -> int:
    """Remove what a source gave; returns of how many quads."""
    return connection.execute(sa.delete(schema.given).where(schema.given.c.source == source)).rowcount
