"""Counts that others of the crew gave are kept."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    server = op.get_bind().dialect.name == "postgresql"
    op.create_table(
        "given",
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("counts", sa.Text(), nullable=False),
        sa.Column(
            "taken",
            postgresql.TIMESTAMP(timezone=True, precision=3) if server else sa.Integer(),
            nullable=False,
        ),
        sa.PrimaryKeyConstraint("source", "label", name="pk_given"),
        sqlite_strict=True,
    )
