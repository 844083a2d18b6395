"""Where alembic starts: it is handed an open connection and works inside that transaction."""

from __future__ import annotations

from alembic import context

from crashworthy.store import schema

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=schema.metadata,
    version_table=schema.VERSION_TABLE,
)
context.run_migrations()
