"""People, crews, and who belongs to which."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import sqlalchemy as sa

from crashworthy.accounts import tables
from crashworthy.accounts.ledger import Ledger
from crashworthy.accounts.passwords import keep
from crashworthy.accounts.tokens import new_id
from crashworthy.errors import AccessError, NotFoundError, Problem

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

__all__ = ["Crew", "Member", "People", "Role"]

Role = Literal["pilot", "lead"]

_NAME: Final = re.compile(r"[a-z0-9](?:[a-z0-9 ._-]{0,38}[a-z0-9])?")


@dataclass(frozen=True, slots=True)
class Crew:
    """A crew.

    Attributes:
        id: for machines.
        name: for people.
        place: folder and schema of its fleet; "" is the data folder itself.
    """

    id: str
    name: str
    place: str


@dataclass(frozen=True, slots=True)
class Member:
    """Somebody in a crew.

    Attributes:
        person: their id.
        name: what they sign in with.
        role: "pilot" or "lead".
        shut: whether they may not sign in any more.
    """

    person: str
    name: str
    role: Role
    shut: bool

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {"name": self.name, "role": self.role, "shut": self.shut}


def plain_name(name: str) -> str:
    """A name as it is stored.

    Raises:
        AccessError: it cannot be one.
    """
    plain = name.strip().lower()
    if not _NAME.fullmatch(plain):
        what = f"{name[:60]!r} cannot be a name here"
        raise AccessError(
            Problem(what, "use up to 40 letters a-z, digits, spaces and . _ - between them", field="name")
        )
    return plain


class People(Ledger):
    """People and crews of one server."""

    def empty(self) -> bool:
        """Whether nobody has an account yet."""
        with self.reading() as connection:
            return connection.execute(sa.select(tables.person.c.id).limit(1)).first() is None

    def crews(self) -> tuple[Crew, ...]:
        """Every crew, by name."""
        t = tables.crew.c
        with self.reading() as connection:
            rows = connection.execute(sa.select(t.id, t.name, t.place).order_by(t.name, t.id)).all()
        return tuple(Crew(*row) for row in rows)

    def crew_named(self, name: str) -> Crew:
        """The crew of that name or id.

        Raises:
            NotFoundError: there is none, or several share the name.
        """
        known = self.crews()
        found = [c for c in known if c.id == name or c.name.lower() == name.strip().lower()]
        if len(found) == 1:
            return found[0]
        remedy = ", ".join(c.name for c in known) or "none yet"
        what = f"{len(found)} crews are" if found else "no crew is"
        raise NotFoundError(Problem(f"{what} called {name[:60]!r}", f"crews here: {remedy}"))

    def add_crew(self, name: str, by: str = "command line") -> Crew:
        """Make a crew; the first one takes over the fleet that is in the data folder already.

        Raises:
            AccessError: the name is empty or too long, or taken.
        """
        shown = " ".join(name.split())
        if not 1 <= len(shown) <= 60:
            raise AccessError(Problem("a crew needs a name of 1 to 60 characters", "give one", field="crew"))
        with self.writing() as connection:
            t = tables.crew.c
            names = connection.execute(sa.select(t.name)).scalars().all()
            if shown.lower() in (n.lower() for n in names):
                raise AccessError(
                    Problem(f"there is a crew {shown!r} already", "take another name", field="crew")
                )
            made = Crew(new_id(), shown, "")
            if names:
                made = Crew(made.id, shown, f"crew_{made.id}")
            connection.execute(
                sa.insert(tables.crew).values(id=made.id, name=shown, place=made.place, made=self.now())
            )
            self.note(connection, made.id, by, "crew made", shown)
        return made

    def add_person(
        self, name: str, password: str, crew: Crew, role: Role = "pilot", by: str = "command line"
    ) -> Member:
        """Make an account in a crew.

        Raises:
            AccessError: the name is taken or the password cannot be used.
        """
        plain = plain_name(name)
        stored = keep(password, plain)
        with self.writing() as connection:
            return self._add(connection, plain, stored, crew.id, role, by)

    def _add(self, connection: Connection, name: str, stored: str, crew: str, role: Role, by: str) -> Member:
        t = tables.person.c
        if connection.execute(sa.select(t.id).where(t.name == name)).first():
            raise AccessError(Problem(f"the name {name!r} is taken", "take another", field="name"))
        made = Member(new_id(), name, role, shut=False)
        values = {"id": made.person, "name": name, "password": stored, "made": self.now(), "shut": 0}
        connection.execute(sa.insert(tables.person).values(**values))
        connection.execute(sa.insert(tables.member).values(person=made.person, crew=crew, role=role))
        self.note(connection, crew, by, "person added", f"{name}, {role}")
        return made

    def members(self, crew: str) -> tuple[Member, ...]:
        """Everybody in a crew, by name."""
        p, m = tables.person.c, tables.member.c
        query = (
            sa.select(p.id, p.name, m.role, p.shut)
            .join_from(tables.member, tables.person)
            .where(m.crew == crew)
            .order_by(p.name)
        )
        with self.reading() as connection:
            return tuple(Member(i, n, r, bool(s)) for i, n, r, s in connection.execute(query))

    def crews_of(self, person: str) -> tuple[tuple[Crew, Role], ...]:
        """The crews somebody belongs to, and their role in each."""
        c, m = tables.crew.c, tables.member.c
        query = (
            sa.select(c.id, c.name, c.place, m.role)
            .join_from(tables.member, tables.crew)
            .where(m.person == person)
            .order_by(c.name)
        )
        with self.reading() as connection:
            return tuple((Crew(i, n, p), r) for i, n, p, r in connection.execute(query))

    def set_role(self, crew: str, name: str, role: Role | None, by: str) -> None:
        """Change what somebody may do in a crew; None takes them out of it.

        Raises:
            NotFoundError: nobody of that name is in the crew.
            AccessError: the crew would be left without a lead.
        """
        m = tables.member.c
        there = self.members(crew)
        found = next((x for x in there if x.name == name.strip().lower()), None)
        if found is None:
            raise NotFoundError(Problem(f"nobody called {name[:60]!r} is in this crew", "see the list"))
        if found.role == "lead" and role != "lead" and sum(x.role == "lead" for x in there) == 1:
            raise AccessError(Problem("a crew needs a lead", "make somebody else lead first"))
        at = (m.person == found.person) & (m.crew == crew)
        with self.writing() as connection:
            if role is None:
                connection.execute(sa.delete(tables.member).where(at))
                s = tables.session.c
                gone = (s.person == found.person) & (s.crew == crew)
                connection.execute(sa.delete(tables.session).where(gone))
                self.note(connection, crew, by, "person taken out", found.name)
            else:
                connection.execute(sa.update(tables.member).where(at).values(role=role))
                self.note(connection, crew, by, "role changed", f"{found.name}, {role}")

    def set_password(self, name: str, password: str, by: str) -> None:
        """Give somebody a new password and end every session of theirs.

        Raises:
            NotFoundError: nobody has that name.
            AccessError: the password cannot be used.
        """
        plain = plain_name(name)
        stored = keep(password, plain)
        p = tables.person.c
        with self.writing() as connection:
            found = connection.execute(sa.select(p.id).where(p.name == plain)).scalar()
            if found is None:
                raise NotFoundError(Problem(f"nobody is called {plain!r}", "see the list of people"))
            connection.execute(sa.update(tables.person).where(p.id == found).values(password=stored))
            connection.execute(sa.delete(tables.session).where(tables.session.c.person == found))
            for (crew,) in connection.execute(
                sa.select(tables.member.c.crew).where(tables.member.c.person == found)
            ).all():
                self.note(connection, crew, by, "password changed", plain)
