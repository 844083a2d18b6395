"""The journal: what happened goes in, what is due comes out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.errors import CrashworthyError, JournalError, NotFoundError, Problem
from crashworthy.workshop.fleet import FleetBench

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime
    from pathlib import Path
    from uuid import UUID

    from crashworthy.store.journal import AppendResult
    from crashworthy.upkeep.due import Due
    from crashworthy.upkeep.events import Event
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.payloads import Payload
    from crashworthy.upkeep.plan import DayPlan

__all__ = ["JournalBench"]


class JournalBench(FleetBench):
    """Events of the fleet, and what follows from them."""

    def record(self, slug: str, *payloads: Payload, occurred: datetime | None = None) -> tuple[Event, ...]:
        """Enter what happened to a quad, all of it or nothing; it is safe on the disk when this returns.

        Raises:
            NotFoundError: no quad has that slug.
            JournalError: a field cannot be accepted, or names a joint group or part the quad does not have.
        """
        self.require(slug)
        self._known_to_build(slug, payloads)
        return self.store.record(slug, *payloads, occurred=occurred)

    def record_once(
        self,
        slug: str,
        payload: Payload,
        of: tuple[str, ...],
        same: Callable[[Payload], bool],
        occurred: datetime | None = None,
    ) -> Event:
        """Enter what can be said only once; said again it is the same entry, unless that was taken back.

        Its id follows from ``of`` and from how often the entry was taken back: two clicks at the same moment,
        of two server processes or in two copies of a fleet, make one event.

        Args:
            slug: the quad.
            payload: what happened.
            of: names what it is said of, such as a kept flight.
            same: whether another payload says the same.
            occurred: when; now if None.

        Returns:
            The event that stands.

        Raises:
            NotFoundError: no quad has that slug.
            JournalError: a field cannot be accepted, or names a joint group the quad does not have.
        """
        from crashworthy.upkeep.events import id_of
        from crashworthy.upkeep.payloads import Retraction

        self.require(slug)
        self._known_to_build(slug, (payload,))
        events = self.store.events(slug)
        gone = {e.payload.target for e in events if isinstance(e.payload, Retraction)}
        said = [e for e in events if same(e.payload)]
        standing = next((e for e in said if e.id not in gone), None)
        if standing is not None:
            return standing
        return self.store.record_once(id_of(slug, *of, str(len(said))), slug, payload, occurred=occurred)

    def append(self, events: Iterable[Event]) -> AppendResult:
        """Add events made elsewhere; those that are here already do no harm.

        Raises:
            NotFoundError: an event is of a quad that is not in the fleet.
            JournalError: an event names a joint group or part its quad does not have.
        """
        batch = tuple(events)
        for slug in {event.quad for event in batch}:
            self.require(slug)
            self._known_to_build(slug, [e.payload for e in batch if e.quad == slug])
        return self.store.append(batch)

    def _known_to_build(self, slug: str, payloads: Iterable[Payload]) -> None:
        from crashworthy.upkeep.payloads import Check, Tighten

        asked = {p.group for p in payloads if isinstance(p, Check | Tighten)}
        if not asked:
            return
        groups = {joint.name for joint in self.quad(slug).joints}
        for name in sorted(asked - groups):
            raise JournalError(
                Problem(
                    f"{slug} has no joint group {name!r}",
                    f"use one of {', '.join(sorted(groups))}",
                    field="group",
                )
            )

    def undo(self, event: UUID, why: str = "") -> Event:
        """Take an event back by entering a retraction; of a changed build the sheet from before comes back.

        Raises:
            NotFoundError: there is no such event.
            JournalError: it is a retraction itself.
            StoreError: it is a change of the build, and not the last one.
        """
        from crashworthy.upkeep.payloads import Build

        target = self.store.event(event)
        if isinstance(target.payload, Build):
            self.restore_sheet(target.quad, target.payload.digest)
        return self.store.retract(event, why)

    def event_ending(self, text: str) -> Event:
        """The event whose id is, or ends in, ``text``.

        Raises:
            NotFoundError: no event's id ends so, or those of several do.
        """
        wanted = text.lower().replace("-", "")
        found = [e for e in self.store.events() if wanted and e.id.hex.endswith(wanted)]
        if len(found) != 1:
            what = (
                f"{len(found)} events have an id that ends in {text!r}"
                if found
                else f"no event ends in {text!r}"
            )
            raise NotFoundError(Problem(what, "give more of the id; the journal shows it"))
        return found[0]

    def events(self, slug: str | None = None, limit: int = 50) -> tuple[Event, ...]:
        """The latest events, newest first."""
        return self.store.latest(slug, limit)

    def history(self, slug: str) -> QuadHistory:
        """What the journal says about a quad, folded; again only when events came or the build changed.

        Raises:
            NotFoundError: no quad has that slug.
            StoreError: a row was damaged outside this program.
        """
        from crashworthy.upkeep.state import fold_columns, screws_of

        self.require(slug)
        try:
            joints, digest = self.quad(slug).joints, self.quad(slug).digest
        except CrashworthyError:
            joints, digest = (), ""
        priors = self.priors()
        stamp = (self.store.last_seq(), digest, hash(repr(priors)))
        with self._lock:
            cache: dict[str, tuple[object, QuadHistory]] = self.__dict__.setdefault("_histories", {})
            known = cache.get(slug)
            if known is None or known[0] != stamp:
                said: dict[bytes, Payload] = self.__dict__.setdefault("_payloads_read", {})
                columns = self.store.columns(slug, said)
                history = fold_columns(slug, columns, screws_of(joints), priors=priors)
                known = (stamp, history)
                cache[slug] = known
            return known[1]

    def due(self, slug: str) -> tuple[Due, ...]:
        """Every joint group of a quad, most urgent first.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.upkeep.due import due

        return due(self.history(slug), self.quad(slug).joints, self.priors())

    def plan_day(self, slug: str, packs: int) -> DayPlan:
        """Put the checks of a day of ``packs`` packs into the gaps between them.

        Raises:
            NotFoundError: no quad has that slug.
        """
        from crashworthy.upkeep.plan import plan_day

        return plan_day(self.due(slug), packs)

    def import_journal(self, path: Path) -> tuple[AppendResult, tuple[Problem, ...]]:
        """Take the events of a journal file; good lines are taken, bad ones told with their line number.

        Args:
            path: JSON lines, or a table when its name ends in ".csv".

        Raises:
            JournalError: the file cannot be read at all.
            NotFoundError: an event is of a quad that is not in the fleet.
        """
        from crashworthy.upkeep.lines import read_journal

        if path.suffix.lower() == ".csv":
            from crashworthy.upkeep.sheets import read_table

            try:
                with path.open(encoding="utf-8", newline="") as stream:
                    text = stream.read()
            except OSError as problem:
                what = problem.strerror or "cannot be read"
                raise JournalError(Problem(what, "check the name and your rights", str(path))) from None
            except UnicodeDecodeError:
                raise JournalError(
                    Problem("is not UTF-8 text", "save the table as UTF-8", str(path))
                ) from None
            file = read_table(text, str(path))
        else:
            file = read_journal(path)
        return self.append(file.events), file.problems

    def export_journal(
        self, slug: str | None = None, *, table: bool = False, devices: Iterable[str] | None = None
    ) -> Iterable[str]:
        """Every event as a JSON line, or as a row of a table, in order of arrival.

        Args:
            slug: a quad; None for all of them.
            table: rows of a table instead of JSON lines.
            devices: only what was entered with one of these.
        """
        from crashworthy.upkeep.lines import write_lines
        from crashworthy.upkeep.sheets import write_table

        events = self.store.events(slug)
        if devices is not None:
            wanted = frozenset(devices)
            events = tuple(event for event in events if event.device in wanted)
        return write_table(events) if table else write_lines(events)
