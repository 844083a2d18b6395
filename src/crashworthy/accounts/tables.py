"""The tables of people and crews, the same on SQLite (STRICT) and PostgreSQL."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from crashworthy.store.migrate import Family
from crashworthy.store.schema import NAMES, BigWhole, UtcDateTime

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

__all__ = [
    "ACCOUNTS",
    "HEAD",
    "attempt",
    "audit",
    "crew",
    "device",
    "invitation",
    "member",
    "person",
    "session",
    "version",
]

HEAD: Final = "0002"
"""The newest migration; a test holds it equal to the newest file in ``migrations/versions``."""

metadata: Final = sa.MetaData(naming_convention=NAMES)


def _table(name: str, *columns: Any) -> sa.Table:
    return sa.Table(f"account_{name}", metadata, *columns, sqlite_strict=True)


def _needed(name: str, kind: Any, *more: Any, **options: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, *more, nullable=False, **options)


version: Final = _table("version", sa.Column("version_num", sa.Text, primary_key=True))

person: Final = _table(
    "person",
    sa.Column("id", sa.Text, primary_key=True),
    _needed("name", sa.Text, unique=True),  # lower case: what is typed to sign in
    _needed("password", sa.Text),  # Argon2 in its own text form
    _needed("made", UtcDateTime),
    _needed("shut", BigWhole),  # 1: may not sign in any more
)

crew: Final = _table(
    "crew",
    sa.Column("id", sa.Text, primary_key=True),
    _needed("name", sa.Text),
    _needed("place", sa.Text),  # folder (and schema) of its fleet; "" is the data folder itself
    _needed("made", UtcDateTime),
)

member: Final = _table(
    "member",
    sa.Column("person", sa.Text, sa.ForeignKey("account_person.id"), primary_key=True),
    sa.Column("crew", sa.Text, sa.ForeignKey("account_crew.id"), primary_key=True),
    _needed("role", sa.Text),
    sa.CheckConstraint("role IN ('pilot', 'lead')", name="role"),
)

device: Final = _table(
    "device",
    sa.Column("crew", sa.Text, primary_key=True),
    sa.Column("person", sa.Text, primary_key=True),
    sa.Column("device", sa.Text, primary_key=True),  # as its events name it
)

session: Final = _table(
    "session",
    sa.Column("digest", sa.Text, primary_key=True),  # SHA-256 of the token
    _needed("handle", sa.Text, unique=True),  # how lists and revocations name it; opens nothing
    _needed("person", sa.Text, sa.ForeignKey("account_person.id"), index=True),
    _needed("crew", sa.Text),  # the crew looked at; membership is asked again each time
    _needed("kind", sa.Text),
    _needed("label", sa.Text),
    _needed("made", UtcDateTime),
    _needed("seen", UtcDateTime),
    _needed("ends", UtcDateTime),
    sa.CheckConstraint("kind IN ('browser', 'device')", name="kind"),
)

invitation: Final = _table(
    "invitation",
    sa.Column("digest", sa.Text, primary_key=True),
    _needed("handle", sa.Text, unique=True),
    _needed("crew", sa.Text, sa.ForeignKey("account_crew.id"), index=True),
    _needed("role", sa.Text),
    _needed("made_by", sa.Text),
    _needed("made", UtcDateTime),
    _needed("ends", UtcDateTime),
    sa.Column("used_by", sa.Text),
)

attempt: Final = _table(
    "attempt",
    sa.Column("key", sa.Text, primary_key=True),  # "name ..." or "from ..."
    _needed("failures", BigWhole),
    _needed("last", UtcDateTime),
)

audit: Final = _table(
    "audit",
    sa.Column("seq", BigWhole, sa.Identity(), primary_key=True),
    _needed("happened", UtcDateTime),
    _needed("crew", sa.Text, index=True),  # "" when it concerns none
    _needed("person", sa.Text),  # the name at the time, or what was typed
    _needed("act", sa.Text),
    _needed("about", sa.Text),
)


def _create_all(connection: Connection) -> None:
    metadata.create_all(connection, checkfirst=False)
    connection.execute(sa.insert(version).values(version_num=HEAD))


ACCOUNTS: Final = Family(version, HEAD, metadata, Path(__file__).parent / "migrations", _create_all)
"""The tables of this room, for ``ensure_schema``."""
