"""The tables, the same on SQLite (STRICT) and PostgreSQL.

Events are append-only: triggers refuse UPDATE and DELETE. Everything else can be made again from the
files and seeds that it came from, or is a plain list that people edit (stock).
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

import sqlalchemy as sa

from crashworthy.upkeep.events import milliseconds, moment
from crashworthy.upkeep.payloads import KINDS

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection, Dialect

__all__ = [
    "HEAD",
    "LOCK_KEY",
    "NAMES",
    "VERSION_TABLE",
    "BigWhole",
    "Blob16",
    "UtcDateTime",
    "campaign",
    "create_all",
    "event",
    "event_kind",
    "flight_log",
    "given",
    "insert_into",
    "job",
    "metadata",
    "quad",
    "setting",
    "stock",
    "triggers",
    "version",
]

HEAD: Final = "0005"
"""The newest migration; a test holds it equal to the newest file in ``migrations/versions``."""

VERSION_TABLE: Final = "crashworthy_version"

LOCK_KEY: Final = 0x43524153
"""Key of the PostgreSQL advisory lock under which the schema is made or changed."""


class Blob16(sa.types.TypeDecorator[UUID]):
    """A UUID as 16 bytes on SQLite (STRICT tables know no CHAR) and as uuid on PostgreSQL."""

    impl = sa.LargeBinary
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> sa.types.TypeEngine[Any]:
        """The column type of this database."""
        if dialect.name == "postgresql":
            return dialect.type_descriptor(sa.Uuid(as_uuid=True))
        return dialect.type_descriptor(sa.LargeBinary(16))

    def process_bind_param(self, value: UUID | None, dialect: Dialect) -> Any:
        """To the database."""
        return value if value is None or dialect.name == "postgresql" else value.bytes

    def process_result_value(self, value: Any, dialect: Dialect) -> UUID | None:
        """From the database."""
        return value if value is None or dialect.name == "postgresql" else UUID(bytes=value)


class UtcDateTime(sa.types.TypeDecorator[datetime]):
    """An aware UTC moment in whole ms: a whole number on SQLite, timestamptz on PostgreSQL."""

    impl = sa.Integer
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> sa.types.TypeEngine[Any]:
        """The column type of this database."""
        if dialect.name == "postgresql":
            # Here and not above: this dialect takes a tenth of a second to import.
            from sqlalchemy.dialects.postgresql import TIMESTAMP

            return dialect.type_descriptor(TIMESTAMP(timezone=True, precision=3))
        return dialect.type_descriptor(sa.Integer())

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        """To the database; a naive datetime is refused."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment without a time zone cannot be stored")
        ms = milliseconds(value.astimezone(UTC))
        return moment(ms) if dialect.name == "postgresql" else ms

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """From the database."""
        if value is None:
            return None
        return value.astimezone(UTC) if dialect.name == "postgresql" else moment(value)


BigWhole: Final = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
"""A 64-bit whole number; SQLite's INTEGER is one already, and STRICT knows no BIGINT."""

NAMES: Final = {
    "pk": "pk_%(table_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
}
"""How constraints are called, the same on both databases, so that a migration finds them."""

metadata: Final = sa.MetaData(naming_convention=NAMES)


def _table(name: str, *columns: Any) -> sa.Table:
    return sa.Table(name, metadata, *columns, sqlite_strict=True)


version: Final = _table(VERSION_TABLE, sa.Column("version_num", sa.Text, primary_key=True))

# A table and not a CHECK: a new kind is then one row in a migration, not a rebuilt event table.
event_kind: Final = _table("event_kind", sa.Column("kind", sa.Text, primary_key=True))

event: Final = _table(
    "event",
    # seq is the order of arrival here, for "what is new since"; it is no part of the event.
    sa.Column("seq", BigWhole, sa.Identity(), primary_key=True),
    sa.Column("event_id", Blob16, nullable=False, unique=True),
    sa.Column("quad", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, sa.ForeignKey("event_kind.kind"), nullable=False),
    sa.Column("occurred", UtcDateTime, nullable=False),
    sa.Column("device", sa.Text, nullable=False),
    sa.Column("device_seq", BigWhole, nullable=False),
    sa.Column("payload", sa.Text, nullable=False),
    # SHA-256 of the event's canonical line: a changed byte anywhere in it is found by verify.
    sa.Column("digest", sa.LargeBinary, nullable=False),
    sa.Column("received", UtcDateTime, nullable=False),
    # Of kind and payload alone: what is said again and again is read once when a journal is folded.
    sa.Column("said", sa.LargeBinary, nullable=False),
    # To the event of this device that arrived before; see store.chain.
    sa.Column("link", sa.LargeBinary, nullable=False),
    sa.UniqueConstraint("device", "device_seq"),
    sa.CheckConstraint("device_seq > 0", name="device_seq"),
    # All that the fold needs of most events stands in the index, in the order that it needs.
    sa.Index(None, "quad", "occurred", "event_id", "said"),
    sa.Index(None, "device", "seq"),
)

quad: Final = _table(
    "quad",
    sa.Column("slug", sa.Text, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("sheet", sa.Text, nullable=False),
    sa.Column("path", sa.Text, nullable=False),
    sa.Column("digest", sa.Text, nullable=False),
    sa.Column("added", UtcDateTime, nullable=False),
)

campaign: Final = _table(
    "campaign",
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("quad", sa.Text, nullable=False, index=True),
    sa.Column("digest", sa.Text, nullable=False),
    sa.Column("seed", BigWhole, nullable=False),
    sa.Column("n", BigWhole, nullable=False),
    sa.Column("scenario", sa.Text, nullable=False),
    sa.Column("summary", sa.Text, nullable=False),
    sa.Column("arrays", sa.LargeBinary, nullable=False),
    sa.Column("created", UtcDateTime, nullable=False),
    sa.CheckConstraint("n > 0", name="n"),
)

flight_log: Final = _table(
    "flight_log",
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("quad", sa.Text, nullable=False, index=True),
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("sha256", sa.Text, nullable=False),
    sa.Column("report", sa.Text, nullable=False),
    sa.Column("created", UtcDateTime, nullable=False),
)

# Small facts of this store itself: "device" is the name under which it enters events.
setting: Final = _table(
    "setting",
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)

stock: Final = _table(
    "stock",
    sa.Column("item", sa.Text, primary_key=True),
    sa.Column("count", BigWhole, nullable=False),
    sa.CheckConstraint("count >= 0", name="count"),
)


# Counts that others of the crew gave: no event of theirs, one row for each of their quads.
given: Final = _table(
    "given",
    sa.Column("source", sa.Text, primary_key=True),
    sa.Column("label", sa.Text, primary_key=True),
    sa.Column("counts", sa.Text, nullable=False),
    sa.Column("taken", UtcDateTime, nullable=False),
)

# Long work: asked for by one process, run by one of several, answered by any.
job: Final = _table(
    "job",
    sa.Column("id", sa.Text, primary_key=True),
    *(
        sa.Column(name, sa.Text, nullable=False)
        for name in ("kind", "params", "title", "state", "message", "kept", "owner", "maker")
    ),
    *(sa.Column(name, BigWhole, nullable=False) for name in ("done", "total", "stop", "tries")),
    sa.Column("made", UtcDateTime, nullable=False),
    *(sa.Column(name, UtcDateTime) for name in ("began", "beat")),
    sa.CheckConstraint(
        "state IN ('waiting', 'running', 'done', 'failed', 'cancelled', 'interrupted')", name="state"
    ),
)


def insert_into(connection: Connection, table: sa.Table) -> Any:
    """An INSERT that knows ON CONFLICT, in the words of this database."""
    if connection.dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert as server_insert

        return server_insert(table)
    from sqlalchemy.dialects.sqlite import insert as file_insert

    return file_insert(table)


def triggers(dialect: str) -> tuple[str, ...]:
    """The statements that make events append-only on this database."""
    if dialect == "postgresql":
        refuse = "EXECUTE FUNCTION event_is_append_only()"
        return (
            """CREATE FUNCTION event_is_append_only() RETURNS trigger LANGUAGE plpgsql AS
            $$ BEGIN RAISE EXCEPTION 'events are append-only'; END $$""",
            f"CREATE TRIGGER event_no_change BEFORE UPDATE OR DELETE ON event FOR EACH ROW {refuse}",
            f"CREATE TRIGGER event_no_truncate BEFORE TRUNCATE ON event FOR EACH STATEMENT {refuse}",
        )
    return tuple(
        f"CREATE TRIGGER event_no_{verb.lower()} BEFORE {verb} ON event "
        "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
        for verb in ("UPDATE", "DELETE")
    )


def create_all(connection: Connection, device: str) -> None:
    """Make every table in an empty database, without the migration machinery (it takes a second to import).

    A test holds the result equal to what the migrations make. ``device`` is the name under which this store
    enters events; it must differ from every other store's.
    """
    metadata.create_all(connection, checkfirst=False)
    for statement in triggers(connection.dialect.name):
        connection.exec_driver_sql(statement)
    connection.execute(sa.insert(event_kind), [{"kind": kind} for kind in KINDS])
    connection.execute(sa.insert(setting).values(key="device", value=device))
    connection.execute(sa.insert(version).values(version_num=HEAD))
