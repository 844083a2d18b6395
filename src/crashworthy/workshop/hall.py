"""A server for crews: who may come in, and the one workshop each of them may see.

Every crew has a fleet of its own: a folder with its own database, or a schema of its own on PostgreSQL. A
request is given the workshop of its crew and no other, so nothing that a page asks for can belong to
somebody else: the isolation is here, in ``workshop_of``, and nowhere else.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Self

from crashworthy.store.folder import default_folder
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from crashworthy.accounts.book import Accounts
    from crashworthy.accounts.people import Crew

__all__ = ["Hall", "has_accounts", "open_accounts"]


def open_accounts(data: Path | None = None, store: str | None = None) -> Accounts:
    """Open the people and crews of a data folder.

    Args:
        data: folder, made when absent; None means the platform's folder for application data.
        store: "postgresql://..." or None for SQLite in the folder.

    Raises:
        StoreError: the folder or the database cannot be used.
    """
    from crashworthy.accounts.book import Accounts
    from crashworthy.accounts.ledger import FILE_NAME
    from crashworthy.store.folder import DataFolder

    return Accounts(store or DataFolder(data or default_folder()).root / FILE_NAME)


def has_accounts(data: Path | None = None, store: str | None = None) -> bool:
    """Whether a data folder (or its database server) holds accounts, and so perhaps several fleets.

    Raises:
        StoreError: the database cannot be used.
    """
    from crashworthy.accounts.ledger import FILE_NAME, holds_accounts

    file = (data or default_folder()) / FILE_NAME
    if store is None and not file.is_file():
        return False  # nothing is made by asking
    return holds_accounts(store or file)


class Hall:
    """The workshops of every crew behind one door."""

    def __init__(
        self, data: Path | None = None, store: str | None = None, cluster: str | None = None
    ) -> None:
        """Open the accounts; a crew's fleet is opened when its first member comes in.

        Args:
            data: folder that holds everything.
            store: "postgresql://..." or None for SQLite files in the folder.
            cluster: "tcp://..." of a Dask scheduler that runs the crashes, or None.

        Raises:
            StoreError: the folder or the database cannot be used.
        """
        self.root = data or default_folder()
        self.accounts = open_accounts(self.root, store)
        self.address, self.cluster = store, cluster
        self._open: dict[str, Workshop] = {}
        self._lock = threading.Lock()

    def __enter__(self) -> Self:
        """Open for a ``with`` block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close at the end of it."""
        self.close()

    def close(self) -> None:
        """Close every fleet and the accounts."""
        with self._lock:
            for workshop in self._open.values():
                workshop.close()
            self._open.clear()
        self.accounts.close()

    def workshop_of(self, crew: Crew) -> Workshop:
        """The workshop of one crew.

        Raises:
            StoreError: its fleet cannot be used.
        """
        with self._lock:
            if crew.id not in self._open:
                self._open[crew.id] = self.fleet_at(crew.place)
            return self._open[crew.id]

    def entries_of(
        self,
        person: str = "",
        crew: str = "",
        devices: Iterable[str] | None = None,
        quad: str | None = None,
        *,
        table: bool = False,
    ) -> tuple[str, ...]:
        """Everything that somebody has entered in a crew, as lines of a journal file.

        Args:
            person: name they sign in with; "" for everybody.
            crew: its name; "" when there is only one.
            devices: only what was entered with one of these.
            quad: only of this quad.
            table: rows of a table instead of JSON lines.

        Raises:
            NotFoundError: no such person, crew or quad.
        """
        known = self.accounts.crews()
        home = known[0] if not crew and len(known) == 1 else self.accounts.crew_named(crew)
        wanted = None if devices is None else set(devices)
        if person:
            theirs = set(self.accounts.devices_of(home.id, self.accounts.person_named(person)))
            wanted = theirs if wanted is None else wanted & theirs
        shop = self.workshop_of(home)
        if quad is not None:
            shop.require(quad)
        return tuple(shop.export_journal(quad, table=table, devices=wanted))

    def fleet_at(self, place: str) -> Workshop:
        """The fleet of a place, opened once more: for whoever closes it, as a backup is put back.

        Args:
            place: of a crew; "" is the data folder itself.
        """
        folder = self.root / "crews" / place if place else self.root
        store = self.address
        if store is not None and place:
            from crashworthy.store.connect import in_schema

            store = in_schema(store, place)
        workshop = Workshop(folder, store)
        workshop.cluster = self.cluster
        return workshop
