"""The first schema of people and crews.

Frozen: written out here and not taken from ``accounts.tables``, which moves on with later versions.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make every table of version 0001 in an empty database."""
    server = op.get_bind().dialect.name == "postgresql"
    whole = sa.BigInteger() if server else sa.Integer()
    when = postgresql.TIMESTAMP(timezone=True, precision=3) if server else sa.Integer()

    def texts(*names: str) -> list[sa.Column[Any]]:
        return [sa.Column(name, sa.Text, nullable=False) for name in names]

    def moments(*names: str) -> list[sa.Column[Any]]:
        return [sa.Column(name, when, nullable=False) for name in names]

    def count(name: str) -> sa.Column[Any]:
        return sa.Column(name, whole, nullable=False)

    def make(table: str, keys: tuple[str, ...], *rest: Any) -> None:
        primary = sa.PrimaryKeyConstraint(*keys, name=f"pk_account_{table}")
        op.create_table(f"account_{table}", *texts(*keys), *rest, primary, sqlite_strict=True)

    def unique(table: str, column: str) -> sa.UniqueConstraint:
        return sa.UniqueConstraint(column, name=f"uq_account_{table}_{column}")

    def points(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
        name = f"fk_account_{table}_{column}"
        return sa.ForeignKeyConstraint([column], [f"account_{to}.id"], name=name)

    def among(table: str, column: str, *words: str) -> sa.CheckConstraint:
        listed = ", ".join(f"'{w}'" for w in words)
        return sa.CheckConstraint(f"{column} IN ({listed})", name=op.f(f"ck_account_{table}_{column}"))

    make(
        "person",
        ("id",),
        *texts("name", "password"),
        *moments("made"),
        count("shut"),
        unique("person", "name"),
    )
    make("crew", ("id",), *texts("name", "place"), *moments("made"))
    make(
        "member",
        ("person", "crew"),
        *texts("role"),
        points("member", "person", "person"),
        points("member", "crew", "crew"),
        among("member", "role", "pilot", "lead"),
    )
    make(
        "session",
        ("digest",),
        *texts("handle", "person", "crew", "kind", "label"),
        *moments("made", "seen", "ends"),
        unique("session", "handle"),
        points("session", "person", "person"),
        among("session", "kind", "browser", "device"),
    )
    op.create_index("ix_account_session_person", "account_session", ["person"])
    make(
        "invitation",
        ("digest",),
        *texts("handle", "crew", "role", "made_by"),
        *moments("made", "ends"),
        sa.Column("used_by", sa.Text),
        unique("invitation", "handle"),
        points("invitation", "crew", "crew"),
    )
    op.create_index("ix_account_invitation_crew", "account_invitation", ["crew"])
    make("attempt", ("key",), count("failures"), *moments("last"))
    op.create_table(
        "account_audit",
        sa.Column("seq", whole, sa.Identity(), nullable=False),
        *moments("happened"),
        *texts("crew", "person", "act", "about"),
        sa.PrimaryKeyConstraint("seq", name="pk_account_audit"),
        sqlite_strict=True,
    )
    op.create_index("ix_account_audit_crew", "account_audit", ["crew"])
