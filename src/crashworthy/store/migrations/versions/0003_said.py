"""Each event carries a digest of what it says, and the index that the fold reads ends in it.

Events cannot be changed, so SQLite gets a new table with the old rows in it; PostgreSQL is told to look away
for a moment. Every stored byte of an event stays as it is.
"""

from __future__ import annotations

import hashlib
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_KEPT = "seq, event_id, quad, kind, occurred, device, device_seq, payload, digest, received"
_OLD_INDEX = "ix_event_quad_occurred_event_id"


def _said(kind: str, payload: str) -> bytes:
    """As ``upkeep.lines.said_digest`` was when this was written."""
    return hashlib.sha256(f"{kind}\n{payload}".encode()).digest()[:16]


def upgrade() -> None:
    """Add the column, fill it, and make the index anew."""
    op.drop_index(_OLD_INDEX, table_name="event")
    if op.get_bind().dialect.name == "postgresql":
        op.add_column("event", sa.Column("said", sa.LargeBinary()))
        op.execute("ALTER TABLE event DISABLE TRIGGER event_no_change")
        op.execute(
            "UPDATE event SET said = substr(sha256(convert_to(kind || chr(10) || payload, 'UTF8')), 1, 16)"
        )
        op.execute("ALTER TABLE event ENABLE TRIGGER event_no_change")
        op.alter_column("event", "said", nullable=False)
    else:
        _rebuild()
    op.create_index("ix_event_quad_occurred_event_id_said", "event", ["quad", "occurred", "event_id", "said"])


def _rebuild() -> None:
    raw: Any = op.get_bind().connection.driver_connection
    raw.create_function("said_digest", 2, _said, deterministic=True)
    for verb in ("update", "delete"):
        op.execute(f"DROP TRIGGER event_no_{verb}")
    op.rename_table("event", "event_before")

    def needed(name: str, kind: sa.types.TypeEngine[Any]) -> sa.Column[Any]:
        return sa.Column(name, kind, nullable=False)

    op.create_table(
        "event",
        sa.Column("seq", sa.Integer(), nullable=False),
        needed("event_id", sa.LargeBinary(16)),
        needed("quad", sa.Text()),
        needed("kind", sa.Text()),
        needed("occurred", sa.Integer()),
        needed("device", sa.Text()),
        needed("device_seq", sa.Integer()),
        needed("payload", sa.Text()),
        needed("digest", sa.LargeBinary()),
        needed("received", sa.Integer()),
        needed("said", sa.LargeBinary()),
        sa.CheckConstraint("device_seq > 0", name=op.f("ck_event_device_seq")),
        sa.PrimaryKeyConstraint("seq", name="pk_event"),
        sa.UniqueConstraint("device", "device_seq", name="uq_event_device_device_seq"),
        sa.UniqueConstraint("event_id", name="uq_event_event_id"),
        sa.ForeignKeyConstraint(["kind"], ["event_kind.kind"], name="fk_event_kind"),
        sqlite_strict=True,
    )
    op.execute(
        f"INSERT INTO event ({_KEPT}, said) "  # noqa: S608 - names of columns, no value
        f"SELECT {_KEPT}, said_digest(kind, payload) FROM event_before ORDER BY seq"
    )
    op.drop_table("event_before")
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER event_no_{verb.lower()} BEFORE {verb} ON event "
            "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
        )
