"""Tap tests, findings and photos become kinds of events."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_KINDS = ("tap", "finding", "photo")


def upgrade() -> None:
    """Add the kinds."""
    op.bulk_insert(sa.table("event_kind", sa.column("kind")), [{"kind": kind} for kind in _KINDS])
