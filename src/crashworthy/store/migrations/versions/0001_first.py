"""The first schema.

Frozen: written out here and not taken from ``store.schema``, which moves on with later versions.
"""

from __future__ import annotations

import secrets
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_KINDS = ("pack", "crash", "check", "tighten", "swap", "repair", "build", "note", "retraction")
_REFUSE = "EXECUTE FUNCTION event_is_append_only()"


def upgrade() -> None:
    """Make every table of version 0001 in an empty database."""
    server = op.get_bind().dialect.name == "postgresql"
    whole = sa.BigInteger() if server else sa.Integer()
    when = postgresql.TIMESTAMP(timezone=True, precision=3) if server else sa.Integer()
    uuid = postgresql.UUID() if server else sa.LargeBinary(16)

    def needed(name: str, kind: sa.types.TypeEngine[Any]) -> sa.Column[Any]:
        return sa.Column(name, kind, nullable=False)

    def keyed(table: str, key: str, *columns: sa.schema.SchemaItem) -> None:
        primary = sa.PrimaryKeyConstraint(key, name=f"pk_{table}")
        op.create_table(table, sa.Column(key, sa.Text, nullable=False), *columns, primary, sqlite_strict=True)

    keyed("event_kind", "kind")
    op.create_table(
        "event",
        sa.Column("seq", whole, sa.Identity(), nullable=False),
        needed("event_id", uuid),
        needed("quad", sa.Text()),
        needed("kind", sa.Text()),
        needed("occurred", when),
        needed("device", sa.Text()),
        needed("device_seq", whole),
        needed("payload", sa.Text()),
        needed("digest", sa.LargeBinary()),
        needed("received", when),
        sa.CheckConstraint("device_seq > 0", name=op.f("ck_event_device_seq")),
        sa.PrimaryKeyConstraint("seq", name="pk_event"),
        sa.UniqueConstraint("device", "device_seq", name="uq_event_device_device_seq"),
        sa.UniqueConstraint("event_id", name="uq_event_event_id"),
        sa.ForeignKeyConstraint(["kind"], ["event_kind.kind"], name="fk_event_kind"),
        sqlite_strict=True,
    )
    op.create_index("ix_event_quad_occurred_event_id", "event", ["quad", "occurred", "event_id"])
    keyed(
        "quad",
        "slug",
        needed("name", sa.Text()),
        needed("sheet", sa.Text()),
        needed("path", sa.Text()),
        needed("digest", sa.Text()),
        needed("added", when),
    )
    keyed(
        "campaign",
        "key",
        needed("quad", sa.Text()),
        needed("digest", sa.Text()),
        needed("seed", whole),
        needed("n", whole),
        needed("scenario", sa.Text()),
        needed("summary", sa.Text()),
        needed("arrays", sa.LargeBinary()),
        needed("created", when),
        sa.CheckConstraint("n > 0", name=op.f("ck_campaign_n")),
    )
    op.create_index("ix_campaign_quad", "campaign", ["quad"])
    keyed(
        "flight_log",
        "key",
        needed("quad", sa.Text()),
        needed("file", sa.Text()),
        needed("sha256", sa.Text()),
        needed("report", sa.Text()),
        needed("created", when),
    )
    op.create_index("ix_flight_log_quad", "flight_log", ["quad"])
    keyed("setting", "key", needed("value", sa.Text()))
    keyed(
        "stock",
        "item",
        needed("count", whole),
        sa.CheckConstraint("count >= 0", name=op.f("ck_stock_count")),
    )
    _append_only(server)
    op.bulk_insert(sa.table("event_kind", sa.column("kind")), [{"kind": kind} for kind in _KINDS])
    device = {"key": "device", "value": f"home-{secrets.token_hex(4)}"}
    op.bulk_insert(sa.table("setting", sa.column("key"), sa.column("value")), [device])


def _append_only(server: bool) -> None:
    if not server:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER event_no_{verb.lower()} BEFORE {verb} ON event "
                "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
            )
        return
    op.execute(
        """CREATE FUNCTION event_is_append_only() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION 'events are append-only'; END $$"""
    )
    op.execute(f"CREATE TRIGGER event_no_change BEFORE UPDATE OR DELETE ON event FOR EACH ROW {_REFUSE}")
    op.execute(f"CREATE TRIGGER event_no_truncate BEFORE TRUNCATE ON event FOR EACH STATEMENT {_REFUSE}")
