"""Signing in and staying signed in: browser sessions, device tokens, and patience with wrong passwords."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from crashworthy.accounts import tables
from crashworthy.accounts.passwords import check
from crashworthy.accounts.people import Crew, People, Role
from crashworthy.accounts.tokens import digest, new_token
from crashworthy.errors import AccessError, NotFoundError, Problem, StoreError
from crashworthy.store.schema import LOCK_KEY, insert_into

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

__all__ = ["LASTS", "Guest", "OpenSession", "Sessions"]

LASTS: Final = {"browser": timedelta(days=90), "device": timedelta(days=365)}
"""How long a session lasts without being used; a phone may lie in a bag over the winter."""

FREE_TRIES: Final = 4
"""Wrong passwords before there is a wait."""

LONGEST_WAIT: Final = 900.0
"""Longest wait after a wrong password, s."""

_FRESHEN: Final = timedelta(hours=1)  # a write for every request would be a write lock for every request


@dataclass(frozen=True, slots=True)
class Guest:
    """Somebody who is signed in, and where.

    Attributes:
        person: their id.
        name: their name.
        crew: the crew they look at.
        role: theirs in it.
        session: handle of the session.
        kind: "browser" or "device".
    """

    person: str
    name: str
    crew: Crew
    role: Role
    session: str
    kind: str

    @property
    def leads(self) -> bool:
        """Whether they lead the crew."""
        return self.role == "lead"


@dataclass(frozen=True, slots=True)
class OpenSession:
    """One line of "where am I signed in".

    Attributes:
        handle: to end it.
        kind: "browser" or "device".
        label: what it said of itself.
        made, seen: when it began and was last used.
    """

    handle: str
    kind: str
    label: str
    made: datetime
    seen: datetime

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "handle": self.handle,
            "kind": self.kind,
            "label": self.label,
            "made": self.made.isoformat(),
            "seen": self.seen.isoformat(),
        }


def _in_turn(connection: Connection) -> None:
    """Let one try at a time be counted; SQLite's write transaction does that by itself."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(LOCK_KEY + 3)))


class Sessions(People):
    """People who come and go."""

    def sign_in(self, name: str, password: str, source: str, label: str = "") -> str:
        """Check a password and begin a browser session.

        Args:
            name: as typed.
            password: as typed.
            source: where from (an address), to count wrong passwords by.
            label: what the browser says of itself.

        Returns:
            The token; it is shown this once.

        Raises:
            AccessError: wrong, or too many tries (then ``wait`` says how many seconds are left).
        """
        plain = name.strip().lower()[:40]
        keys = (f"name {plain}", f"from {source[:60]}")
        p = tables.person.c
        with self.writing() as connection:
            _in_turn(connection)
            wait = max(self._wait(connection, key) for key in keys)
            row = connection.execute(sa.select(p.id, p.password, p.shut).where(p.name == plain)).first()
            if wait == 0.0:
                # Counted before it is known to be wrong: many tries at once must not slip through together.
                for key in keys:
                    self._failed(connection, key)
        if wait > 0.0:
            raise AccessError(
                Problem("too many wrong passwords", f"wait {wait:.0f} s, then try once more"), wait=wait
            )
        good = check(row.password if row else None, password)
        homes = self.crews_of(row.id) if row and good and not row.shut else ()
        with self.writing() as connection:
            if not homes:
                crew = self.crews_of(row.id)[0][0].id if row and self.crews_of(row.id) else ""
                self.note(connection, crew, plain, "sign-in refused", source)
            else:
                assert row is not None  # noqa: S101 - homes are only looked up for a row
                t = tables.attempt.c
                connection.execute(sa.delete(tables.attempt).where(t.key == keys[0]))
                one_less = sa.update(tables.attempt).where(t.key == keys[1], t.failures > 0)
                connection.execute(one_less.values(failures=t.failures - 1))
                return self._begin(connection, row.id, plain, homes[0][0].id, "browser", label)
        raise AccessError(Problem("name and password do not fit together", "check both and try again"))

    def make_device(self, guest: Guest, label: str) -> str:
        """Make a token for a script or a phone, to be sent as ``Authorization: Bearer``.

        Returns:
            The token; it is shown this once.
        """
        with self.writing() as connection:
            return self._begin(connection, guest.person, guest.name, guest.crew.id, "device", label)

    def who(self, token: str, crew: str = "") -> Guest | None:
        """Whose token this is, or None when it opens nothing (any more).

        Args:
            token: as sent.
            crew: look at this crew instead of the session's own; None comes back when it is not theirs.
        """
        s, p, m, c = tables.session.c, tables.person.c, tables.member.c, tables.crew.c
        wanted = s.crew if not crew else sa.literal(crew)
        query = (
            sa.select(s.digest, s.handle, s.kind, s.seen, p.id, p.name, c.id, c.name, c.place, m.role)
            .select_from(tables.session)
            .join(tables.person, p.id == s.person)
            .join(tables.member, (m.person == p.id) & (m.crew == wanted))
            .join(tables.crew, c.id == m.crew)
            .where(s.digest == digest(token), s.ends > self.now(), p.shut == 0)
        )
        with self.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            return None
        key, handle, kind, seen, person, name, *home, role = row
        if self.now() - seen > _FRESHEN:
            # Only so that it lasts: with a full disk whoever is signed in still reads.
            with suppress(StoreError), self.writing() as connection:
                fresh = {"seen": self.now(), "ends": self.now() + LASTS[kind]}
                connection.execute(sa.update(tables.session).where(s.digest == key).values(**fresh))
        return Guest(person, name, Crew(*home), role, handle, kind)

    def look_at(self, guest: Guest, crew: str) -> None:
        """Turn a session to another crew of the same person.

        Raises:
            NotFoundError: it is not a crew of theirs.
        """
        if crew not in (c.id for c, _ in self.crews_of(guest.person)):
            raise NotFoundError(Problem("you are in no such crew", "choose one of yours"))
        s = tables.session.c
        with self.writing() as connection:
            connection.execute(sa.update(tables.session).where(s.handle == guest.session).values(crew=crew))

    def open_sessions(self, person: str) -> tuple[OpenSession, ...]:
        """Where somebody is signed in, the latest first."""
        s = tables.session.c
        query = sa.select(s.handle, s.kind, s.label, s.made, s.seen).where(
            s.person == person, s.ends > self.now()
        )
        with self.reading() as connection:
            return tuple(OpenSession(*row) for row in connection.execute(query.order_by(s.seen.desc())))

    def end(self, person: str, handle: str = "", by: str = "") -> int:
        """End one session of somebody, or all of them.

        Returns:
            How many ended.
        """
        s = tables.session.c
        at = s.person == person
        if handle:
            at = at & (s.handle == handle)
        with self.writing() as connection:
            rows = connection.execute(sa.select(s.crew, s.label).where(at)).all()
            connection.execute(sa.delete(tables.session).where(at))
            for crew, label in rows:
                self.note(connection, crew, by or "themselves", "session ended", label)
        return len(rows)

    def _begin(self, connection: Connection, person: str, name: str, crew: str, kind: str, label: str) -> str:
        token, now = new_token(), self.now()
        values = {"digest": token.digest, "handle": token.handle, "person": person, "crew": crew}
        shown = " ".join(label.split())[:80] or kind
        values |= {"kind": kind, "label": shown}
        connection.execute(sa.delete(tables.session).where(tables.session.c.ends <= now))
        connection.execute(
            sa.insert(tables.session).values(**values, made=now, seen=now, ends=now + LASTS[kind])
        )
        self.note(connection, crew, name, "signed in" if kind == "browser" else "device token made", shown)
        return token.secret

    def _wait(self, connection: Connection, key: str) -> float:
        """Seconds until the next try, doubling with each wrong password beyond the free ones."""
        t = tables.attempt.c
        row = connection.execute(sa.select(t.failures, t.last).where(t.key == key)).first()
        # Many people share an address, so it bears more than a name does.
        free = FREE_TRIES if key.startswith("name ") else 10 * FREE_TRIES
        if row is None or row.failures < free:
            return 0.0
        pause: float = min(2.0 ** float(row.failures - free), LONGEST_WAIT)
        since = float((self.now() - row.last).total_seconds())
        return max(pause - since, 0.0)

    def _failed(self, connection: Connection, key: str) -> None:
        t = tables.attempt.c
        old = self.now() - timedelta(seconds=2.0 * LONGEST_WAIT)
        connection.execute(sa.delete(tables.attempt).where(t.last < old))
        row = insert_into(connection, tables.attempt).values(key=key, failures=1, last=self.now())
        connection.execute(
            row.on_conflict_do_update(
                index_elements=["key"], set_={"failures": t.failures + 1, "last": self.now()}
            )
        )
