"""Which devices a person of a crew enters events with."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "account_device",
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("crew", "person", "device")),
        sa.PrimaryKeyConstraint("crew", "person", "device", name="pk_account_device"),
        sqlite_strict=True,
    )
