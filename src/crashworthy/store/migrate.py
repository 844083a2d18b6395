"""Bringing a database to the schema of this program: nothing to do, make it, or migrate it.

The version table is read first, so opening a store that is up to date costs one small query; the migration
library is imported only when there is something to migrate.
"""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from crashworthy.errors import Problem, StoreError
from crashworthy.store import schema
from crashworthy.store.connect import Address, reading, writing

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection, Engine

__all__ = ["ensure_schema", "found_version", "run_migrations"]


def ensure_schema(engine: Engine, address: Address) -> None:
    """Make the tables or bring them up to date.

    Raises:
        StoreError: the database belongs to another program or to a newer version of this one.
    """
    with reading(engine, address) as connection:
        found = found_version(connection, address)
    if found == schema.HEAD:
        return
    with writing(engine, address) as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(schema.LOCK_KEY)))
        # Another process may have done it while this one waited for the lock.
        found = found_version(connection, address)
        if found is None:
            schema.create_all(connection, f"home-{secrets.token_hex(4)}")
        elif found < schema.HEAD:
            run_migrations(connection)


def found_version(connection: Connection, address: Address) -> str | None:
    """The version of the schema that is there, or None in an empty database.

    Raises:
        StoreError: the database belongs to another program or to a newer version of this one.
    """
    names = _table_names(connection)
    if schema.VERSION_TABLE not in names:
        ours = set(schema.metadata.tables)
        # A PostgreSQL database may be shared, as long as no name is taken; a file may not.
        if names & ours or (names and connection.dialect.name == "sqlite"):
            raise StoreError(
                Problem(
                    "this database belongs to another program",
                    "give an empty database or a new file",
                    address.shown,
                )
            )
        return None
    found = connection.execute(sa.select(schema.version.c.version_num)).scalar() or ""
    if found > schema.HEAD:
        what = f"was written by a newer version (schema {found}, this one knows {schema.HEAD})"
        raise StoreError(Problem(what, "update this program", address.shown))
    return str(found)


def _table_names(connection: Connection) -> set[str]:
    if connection.dialect.name == "postgresql":
        query = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
    else:
        query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    return set(connection.exec_driver_sql(query).scalars())


def run_migrations(connection: Connection, target: str = "head") -> None:
    """Run the migrations up to ``target`` inside the caller's transaction."""
    from alembic import command
    from alembic.config import Config

    # Alembic would make a version table of its own shape; ours is STRICT.
    schema.version.create(connection, checkfirst=True)
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, target)
