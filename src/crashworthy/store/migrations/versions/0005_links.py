"""Each event is linked to the one of its device that arrived before it, and long work is kept in a table.

As in 0003, SQLite gets a new event table with the old rows in it; PostgreSQL is told to look away for a
moment. Every stored byte of an event stays as it is.
"""

from __future__ import annotations

import hashlib
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_KEPT = "seq, event_id, quad, kind, occurred, device, device_seq, payload, digest, received, said"


class _Chain:
    """As ``store.chain`` was when this was written."""

    def __init__(self) -> None:
        self.heads: dict[str, bytes] = {}

    def link(self, device: str, digest: bytes) -> bytes:
        before = self.heads.get(device) or hashlib.sha256(f"device {device}".encode()).digest()
        self.heads[device] = hashlib.sha256(before + digest).digest()
        return self.heads[device]


def upgrade() -> None:
    """Add the links and the table of jobs."""
    server = op.get_bind().dialect.name == "postgresql"
    if server:
        op.add_column("event", sa.Column("link", sa.LargeBinary()))
        op.execute("ALTER TABLE event DISABLE TRIGGER event_no_change")
        chain = _Chain()
        rows = op.get_bind().execute(sa.text("SELECT seq, device, digest FROM event ORDER BY seq")).all()
        links = [{"seq": seq, "link": chain.link(device, bytes(digest))} for seq, device, digest in rows]
        if links:
            op.get_bind().execute(sa.text("UPDATE event SET link = :link WHERE seq = :seq"), links)
        op.execute("ALTER TABLE event ENABLE TRIGGER event_no_change")
        op.alter_column("event", "link", nullable=False)
    else:
        _rebuild()
    op.create_index("ix_event_device_seq", "event", ["device", "seq"])
    _jobs(server)


def _jobs(server: bool) -> None:
    when = postgresql.TIMESTAMP(timezone=True, precision=3) if server else sa.Integer()
    whole = sa.BigInteger() if server else sa.Integer()
    texts = ("kind", "params", "title", "state", "message", "kept", "owner", "maker")
    op.create_table(
        "job",
        sa.Column("id", sa.Text(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in texts),
        *(sa.Column(name, whole, nullable=False) for name in ("done", "total", "stop", "tries")),
        sa.Column("made", when, nullable=False),
        *(sa.Column(name, when) for name in ("began", "beat")),
        sa.CheckConstraint(
            "state IN ('waiting', 'running', 'done', 'failed', 'cancelled', 'interrupted')",
            name=op.f("ck_job_state"),
        ),
        sa.PrimaryKeyConstraint("id", name="pk_job"),
        sqlite_strict=True,
    )


def _rebuild() -> None:
    raw: Any = op.get_bind().connection.driver_connection
    raw.create_function("chain_link", 2, _Chain().link)
    op.drop_index("ix_event_quad_occurred_event_id_said", table_name="event")
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
        needed("link", sa.LargeBinary()),
        sa.CheckConstraint("device_seq > 0", name=op.f("ck_event_device_seq")),
        sa.PrimaryKeyConstraint("seq", name="pk_event"),
        sa.UniqueConstraint("device", "device_seq", name="uq_event_device_device_seq"),
        sa.UniqueConstraint("event_id", name="uq_event_event_id"),
        sa.ForeignKeyConstraint(["kind"], ["event_kind.kind"], name="fk_event_kind"),
        sqlite_strict=True,
    )
    # The rows come in order of arrival before the links are made: the inner query is sorted, not the outer.
    op.execute(
        f"INSERT INTO event ({_KEPT}, link) "  # noqa: S608 - names of columns, no value
        f"SELECT {_KEPT}, chain_link(device, digest) FROM (SELECT * FROM event_before ORDER BY seq)"
    )
    op.drop_table("event_before")
    op.create_index("ix_event_quad_occurred_event_id_said", "event", ["quad", "occurred", "event_id", "said"])
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER event_no_{verb.lower()} BEFORE {verb} ON event "
            "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
        )
