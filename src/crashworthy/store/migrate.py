"""Bringing a database to the schema of this program: nothing to do, make it, or migrate it.

The version table is read first, so opening a store that is up to date costs one small query; the migration
library is imported only when there is something to migrate.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import sqlalchemy as sa

from crashworthy.errors import Problem, StoreError
from crashworthy.store import schema
from crashworthy.store.connect import Address, reading, writing

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.engine import Connection, Engine

__all__ = ["FLEET", "Family", "ensure_schema", "found_version", "run_migrations"]


@dataclass(frozen=True, slots=True)
class Family:
    """Tables that are versioned together.

    Attributes:
        version: their version table, one text column ``version_num``.
        head: the newest version.
        metadata: the tables.
        scripts: folder of the migrations.
        create_all: makes everything in an empty database.
    """

    version: sa.Table
    head: str
    metadata: sa.MetaData
    scripts: Path
    create_all: Callable[[Connection], None]


FLEET: Final = Family(
    version=schema.version,
    head=schema.HEAD,
    metadata=schema.metadata,
    scripts=Path(__file__).parent / "migrations",
    create_all=lambda connection: schema.create_all(connection, f"home-{secrets.token_hex(4)}"),
)
"""The tables of one fleet."""


def ensure_schema(engine: Engine, address: Address, family: Family = FLEET) -> None:
    """Make the tables or bring them up to date.

    Raises:
        StoreError: the database belongs to another program or to a newer version of this one.
    """
    with reading(engine, address) as connection:
        found = found_version(connection, address, family)
    if found == family.head:
        return
    with writing(engine, address) as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(schema.LOCK_KEY)))
        # Another process may have done it while this one waited for the lock.
        found = found_version(connection, address, family)
        if found is None:
            family.create_all(connection)
        elif found < family.head:
            run_migrations(connection, family=family)


def found_version(connection: Connection, address: Address, family: Family = FLEET) -> str | None:
    """The version of the schema that is there, or None in an empty database.

    Raises:
        StoreError: the database belongs to another program or to a newer version of this one.
    """
    names = _table_names(connection)
    if family.version.name not in names:
        ours = set(family.metadata.tables)
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
    found = connection.execute(sa.select(family.version.c.version_num)).scalar() or ""
    if found > family.head:
        what = f"was written by a newer version (schema {found}, this one knows {family.head})"
        raise StoreError(Problem(what, "update this program", address.shown))
    return str(found)


def _table_names(connection: Connection) -> set[str]:
    if connection.dialect.name == "postgresql":
        query = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
    else:
        query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    return set(connection.exec_driver_sql(query).scalars())


def run_migrations(connection: Connection, target: str = "head", family: Family = FLEET) -> None:
    """Run the migrations up to ``target`` inside the caller's transaction."""
    from alembic import command
    from alembic.config import Config

    # Alembic would make a version table of its own shape; ours is STRICT.
    family.version.create(connection, checkfirst=True)
    config = Config()
    config.set_main_option("script_location", str(family.scripts).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, target)
