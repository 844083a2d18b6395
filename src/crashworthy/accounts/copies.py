"""People, crews and what opens doors to them, copied while in use and put back.

A copy holds what the database holds: passwords, sessions, tokens of scripts and invitations as digests, the
record of what was done. Whoever has it cannot sign in with it; put back, the same tokens open again.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from crashworthy.accounts import tables
from crashworthy.accounts.ledger import Ledger
from crashworthy.errors import Problem, StoreError
from crashworthy.store.copies import copy_file, copy_table, settle, snapshot_of, spare_copy

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy.engine import Connection

__all__ = ["AccountsState", "copy_accounts", "end_every_session", "restore_accounts", "state_of"]


@dataclass(frozen=True, slots=True)
class AccountsState:
    """What a book of accounts holds.

    Attributes:
        people, crews, sessions, invitations: how many; invitations are those that nobody has used.
        digest: SHA-256 over every row of every table, hexadecimal; equal for a book and for its copy,
            whatever database each is on.
    """

    people: int
    crews: int
    sessions: int
    invitations: int
    digest: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {name: getattr(self, name) for name in self.__slots__}


def _tables() -> list[sa.Table]:
    return [t for t in tables.metadata.sorted_tables if t is not tables.version]


def state_of(accounts: Ledger) -> AccountsState:
    """Count and digest everything, as of one moment.

    Raises:
        StoreError: the file is damaged, or a row names something that is not there.
    """
    total = hashlib.sha256()
    counts: dict[str, int] = {}
    with snapshot_of(accounts.engine, accounts.address) as connection:
        _must_be_sound(connection, accounts)
        for table in sorted(_tables(), key=lambda t: t.name):
            given = [c for c in table.columns if c.identity is not None]
            shown = [c for c in table.columns if c.identity is None]
            lines = [
                json.dumps([_plain(value) for value in row], separators=(",", ":"))
                for row in connection.execute(sa.select(*shown).order_by(*given)).all()
            ]
            # By what they say, not as the database sorts: PostgreSQL sorts letters by language.
            for line in lines if given else sorted(lines):
                total.update(f"{table.name} {line}\n".encode())
            counts[table.name] = len(lines)
        unused = sa.select(sa.func.count()).where(tables.invitation.c.used_by.is_(None))
        open_ones = int(connection.execute(unused).scalar_one())
    people, crews, sessions = (counts[t.name] for t in (tables.person, tables.crew, tables.session))
    return AccountsState(people, crews, sessions, open_ones, total.hexdigest())


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime) else value


def _must_be_sound(connection: Connection, accounts: Ledger) -> None:
    if connection.dialect.name != "sqlite":
        return
    found = [r[0] for r in connection.exec_driver_sql("PRAGMA integrity_check(5)") if r[0] != "ok"]
    found += [
        f"table {r[0]} names what is not there"
        for r in connection.exec_driver_sql("PRAGMA foreign_key_check")
    ]
    if found:
        what = f"the accounts are damaged: {found[0]}"
        raise StoreError(Problem(what, "keep this file, restore your latest backup", accounts.address.shown))


def copy_accounts(accounts: Ledger, to: Path) -> AccountsState:
    """Write a copy of one moment to a new SQLite file, and read it back.

    Raises:
        StoreError: it cannot be written, or is damaged.
        OSError: it cannot be written.
    """
    if accounts.engine.dialect.name == "sqlite":
        copy_file(accounts.engine, accounts.address, to)
    else:
        with Ledger(to) as copy:
            _copy(accounts, copy)
    with Ledger(to) as copy:
        state = state_of(copy)
    settle(to)
    to.chmod(0o600)
    return state


def restore_accounts(accounts: Ledger, source: Path) -> AccountsState:
    """Fill an empty book from a copy; all of it or nothing.

    Raises:
        StoreError: the copy is damaged, or the book is not empty.
    """
    with spare_copy(source) as copy, Ledger(copy) as old:
        before = state_of(old)
        _copy(old, accounts)
    after = state_of(accounts)
    if after.digest != before.digest:
        raise StoreError(Problem("the accounts differ from the backup", "restore into a new place again"))
    return after


def _copy(old: Ledger, new: Ledger) -> None:
    with snapshot_of(old.engine, old.address) as source, new.writing() as target:
        for table in _tables():
            if target.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
                raise StoreError(
                    Problem("there are accounts here already", "give a new place", new.address.shown)
                )
        for table in _tables():
            copy_table(source, target, table)


def end_every_session(accounts: Ledger) -> int:
    """Sign everybody out, and end every token of a script and every open invitation; returns how many."""
    gone = 0
    with accounts.writing() as connection:
        for table, which in (
            (tables.session, sa.true()),
            (tables.invitation, tables.invitation.c.used_by.is_(None)),
        ):
            gone += len(connection.execute(sa.delete(table).where(which).returning(table.c.handle)).all())
    return gone
