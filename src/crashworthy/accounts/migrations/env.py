"""Where alembic starts: it is handed an open connection and works inside that transaction."""

from __future__ import annotations

from alembic import context

from crashworthy.accounts import tables

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=tables.metadata,
    version_table=tables.version.name,
)
context.run_migrations()
