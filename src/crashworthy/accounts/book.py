"""Invitations, and with them everything: ``Accounts`` is the room's one public class."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from crashworthy.accounts import tables
from crashworthy.accounts.devices import Devices
from crashworthy.accounts.passwords import keep
from crashworthy.accounts.people import plain_name
from crashworthy.accounts.sessions import Guest
from crashworthy.accounts.tokens import digest, new_token
from crashworthy.errors import AccessError, NotFoundError, Problem

if TYPE_CHECKING:
    from datetime import datetime

    from crashworthy.accounts.people import Role

__all__ = ["INVITATION_LASTS", "Accounts", "Invitation"]

INVITATION_LASTS: Final = timedelta(days=7)
"""How long an invitation can be used."""


@dataclass(frozen=True, slots=True)
class Invitation:
    """An invitation that nobody has used yet.

    Attributes:
        handle: to take it back.
        crew: name of the crew.
        role: what the guest may do.
        made_by: who invites.
        ends: until when.
    """

    handle: str
    crew: str
    role: Role
    made_by: str
    ends: datetime

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "handle": self.handle,
            "crew": self.crew,
            "role": self.role,
            "made_by": self.made_by,
            "ends": self.ends.isoformat(),
        }


class Accounts(Devices):
    """Who may come in to this server."""

    def invite(self, crew: str, role: Role, by: str) -> str:
        """Make an invitation that opens once.

        Returns:
            The token for the link; it is shown this once.
        """
        token, now = new_token(), self.now()
        values = {"digest": token.digest, "handle": token.handle, "crew": crew, "role": role, "made_by": by}
        with self.writing() as connection:
            connection.execute(
                sa.insert(tables.invitation).values(**values, made=now, ends=now + INVITATION_LASTS)
            )
            self.note(connection, crew, by, "invitation made", role)
        return token.secret

    def invitations(self, crew: str) -> tuple[Invitation, ...]:
        """Invitations of a crew that can still be used."""
        i, c = tables.invitation.c, tables.crew.c
        query = (
            sa.select(i.handle, c.name, i.role, i.made_by, i.ends)
            .join_from(tables.invitation, tables.crew)
            .where(i.crew == crew, i.used_by.is_(None), i.ends > self.now())
            .order_by(i.ends)
        )
        with self.reading() as connection:
            return tuple(Invitation(*row) for row in connection.execute(query))

    def invitation(self, token: str) -> Invitation:
        """What an invitation offers.

        Raises:
            NotFoundError: it is not, or no longer, valid.
        """
        i, c = tables.invitation.c, tables.crew.c
        query = (
            sa.select(i.handle, c.name, i.role, i.made_by, i.ends)
            .join_from(tables.invitation, tables.crew)
            .where(i.digest == digest(token), i.used_by.is_(None), i.ends > self.now())
        )
        with self.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            raise NotFoundError(
                Problem("this invitation was used, taken back or has run out", "ask for a new one")
            )
        return Invitation(*row)

    def withdraw(self, crew: str, handle: str, by: str) -> None:
        """Take an invitation back."""
        i = tables.invitation.c
        with self.writing() as connection:
            connection.execute(sa.delete(tables.invitation).where(i.handle == handle, i.crew == crew))
            self.note(connection, crew, by, "invitation taken back", handle)

    def accept(self, token: str, name: str, password: str, label: str = "") -> str:
        """Make an account by an invitation and sign in.

        Returns:
            The session's token.

        Raises:
            NotFoundError: the invitation is not valid any more.
            AccessError: the name is taken or the password cannot be used; the invitation stays good.
        """
        plain = plain_name(name)
        self.invitation(token)
        stored = keep(password, plain)
        with self.writing() as connection:
            crew, role = self._use(connection, token, plain)
            made = self._add(connection, plain, stored, crew, role, plain)
            return self._begin(connection, made.person, plain, crew, "browser", label)

    def join(self, token: str, guest: Guest) -> str:
        """Use an invitation with an account that exists.

        Returns:
            The id of the crew joined.

        Raises:
            NotFoundError: the invitation is not valid any more.
            AccessError: they are in that crew already; the invitation stays good.
        """
        with self.writing() as connection:
            crew, role = self._use(connection, token, guest.name)
            m = tables.member.c
            at = (m.person == guest.person) & (m.crew == crew)
            if connection.execute(sa.select(m.role).where(at)).first():
                raise AccessError(Problem("you are in this crew already", "pass the invitation on"))
            connection.execute(sa.insert(tables.member).values(person=guest.person, crew=crew, role=role))
            self.note(connection, crew, guest.name, "joined", role)
            return crew

    def _use(self, connection: Any, token: str, name: str) -> tuple[str, Role]:
        """Mark an invitation as used: of two at once, one gets it."""
        i = tables.invitation.c
        used = (
            sa.update(tables.invitation)
            .where(i.digest == digest(token), i.used_by.is_(None), i.ends > self.now())
            .values(used_by=name)
            .returning(i.crew, i.role)
        )
        row = connection.execute(used).first()
        if row is None:
            raise NotFoundError(
                Problem("this invitation was used, taken back or has run out", "ask for a new one")
            )
        return row.crew, row.role
