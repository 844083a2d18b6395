"""Which devices somebody enters events with: an event names its device, and the device leads to a person.

A browser takes a name of its own for each person who signs in on it. A device that two people used (a name
given by hand) belongs to both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from crashworthy.accounts import tables
from crashworthy.accounts.sessions import Guest, Sessions
from crashworthy.errors import NotFoundError, Problem
from crashworthy.store.schema import insert_into

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["Devices"]


class Devices(Sessions):
    """People, sessions, and the devices they enter events with."""

    def saw_devices(self, guest: Guest, devices: Iterable[str]) -> None:
        """Note that somebody entered events with these devices; costs nothing when it is known."""
        seen: set[tuple[str, str, str]] = self.__dict__.setdefault("_seen_devices", set())
        new = {(guest.crew.id, guest.person, device) for device in devices} - seen
        if not new:
            return
        rows = [{"crew": crew, "person": person, "device": device} for crew, person, device in sorted(new)]
        with self.writing() as connection:
            connection.execute(insert_into(connection, tables.device).on_conflict_do_nothing(), rows)
        seen |= new

    def devices_of(self, crew: str, person: str) -> tuple[str, ...]:
        """The devices somebody entered events of a crew with."""
        t = tables.device.c
        query = sa.select(t.device).where(t.crew == crew, t.person == person).order_by(t.device)
        with self.reading() as connection:
            return tuple(connection.execute(query).scalars())

    def person_named(self, name: str) -> str:
        """The id of somebody by the name they sign in with.

        Raises:
            NotFoundError: nobody has it.
        """
        p = tables.person.c
        with self.reading() as connection:
            found = connection.execute(sa.select(p.id).where(p.name == name.strip().lower())).scalar()
        if found is None:
            raise NotFoundError(Problem(f"nobody is called {name!r} here", "see people list for the names"))
        return str(found)
