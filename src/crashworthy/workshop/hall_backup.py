"""Backup of a server for crews: the accounts and the fleet of every crew, as one folder.

    monday/
      accounts.db                  people, crews, tokens and passwords as digests, invitations, the record
      fleet.db                     the fleet of the first crew
      crews/crew_.../fleet.db      that of each further one
      backup.json                  what is in it, with checksums

Each file is a copy of one moment. Fleets are copied first and the accounts last, so that whoever entered
something that is in the copy is in it too.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from crashworthy import __version__
from crashworthy.errors import Problem, StoreError
from crashworthy.store.backup import restore, write_copy
from crashworthy.store.copies import passing_beside, sha256_of, unwritable
from crashworthy.workshop.hall import Hall

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.accounts.copies import AccountsState
    from crashworthy.store.backup import VerifyReport

__all__ = ["HallReport", "backup_hall", "fleet_file", "restore_hall", "verify_hall"]

MANIFEST: Final = "backup.json"
FORMAT: Final = "crashworthy-backup-1"
ACCOUNTS: Final = "accounts.db"
_PLACE: Final = re.compile(r"(crew_[a-z0-9]{1,56})?")


@dataclass(frozen=True, slots=True)
class HallReport:
    """What was copied, put back or looked at.

    Attributes:
        path: the folder of the backup; None after a look at what is in use.
        accounts: what the accounts hold.
        fleets: what verifying each fleet found, by the crew's name.
        ended: sessions, tokens and invitations that were ended on restoring.
    """

    path: Path | None
    accounts: AccountsState
    fleets: Mapping[str, VerifyReport]
    ended: int = 0

    @property
    def ok(self) -> bool:
        """Nothing is wrong in any fleet."""
        return all(report.ok for report in self.fleets.values())

    def summary(self) -> str:
        """A line for the accounts and one for each fleet."""
        a = self.accounts
        people = "1 account" if a.people == 1 else f"{a.people} accounts"
        lines = [f"{people}, {a.sessions} sessions and tokens (state {a.digest[:12]})."]
        lines += [f"{crew}: {report.summary()}" for crew, report in self.fleets.items()]
        if self.path is not None:
            lines.append(f"In {self.path}.")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        fleets = {crew: report.to_json() for crew, report in self.fleets.items()}
        told = {"ok": self.ok, "accounts": self.accounts.to_json(), "fleets": fleets, "ended": self.ended}
        return told if self.path is None else {"path": str(self.path), **told}


def fleet_file(place: str) -> Path:
    """Where a crew's fleet lies in a backup, relative to it."""
    return Path("crews", place, "fleet.db") if place else Path("fleet.db")


def backup_hall(hall: Hall, to: Path) -> HallReport:
    """Write accounts and fleets to a new folder while the server stays in use.

    It is written under a passing name, verified, and only then gets its own.

    Args:
        hall: opened.
        to: a new folder, or one that is there and gets a folder named by the moment.

    Raises:
        StoreError: it exists, cannot be written, or a copy does not verify.
    """
    from crashworthy.accounts.copies import copy_accounts

    target = to.expanduser()
    now = hall.accounts.now()
    if target.is_dir():
        target = target / f"crashworthy-{now:%Y%m%d-%H%M%S}"
    if target.exists():
        raise StoreError(Problem("there is a file of that name", "name a new folder", str(target)))
    passing = passing_beside(target)
    fleets: dict[str, VerifyReport] = {}
    try:
        passing.mkdir(parents=True)
        passing.chmod(0o700)  # digests of passwords are nobody else's business
        rows = []
        for crew in hall.accounts.crews():
            file = fleet_file(crew.place)
            (passing / file).parent.mkdir(parents=True, exist_ok=True)
            report = write_copy(hall.workshop_of(crew).store, passing / file)
            fleets[crew.name] = report.verified
            rows.append(
                {"crew": crew.name, "place": crew.place, "sha256": report.sha256, "bytes": report.size}
                | {"events": report.events, "digest": report.digest}
            )
        state = copy_accounts(hall.accounts, passing / ACCOUNTS)
        told = {"sha256": sha256_of(passing / ACCOUNTS), **state.to_json()}
        whole = {"format": FORMAT, "version": __version__, "made": now.isoformat()}
        _write(passing / MANIFEST, json.dumps({**whole, "accounts": told, "fleets": rows}, indent=1))
        passing.rename(target)
    except OSError as problem:
        raise unwritable(problem, target) from None
    finally:
        shutil.rmtree(passing, ignore_errors=True)
    return HallReport(target, state, fleets)


def _write(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.write(text + "\n")
        file.flush()
        os.fsync(file.fileno())


def restore_hall(
    source: Path, data: Path | None = None, store: str | None = None, *, end_sessions: bool = False
) -> HallReport:
    """Put a backup back into a new place: a data folder, or a PostgreSQL database.

    Every file must have the checksum it was written with; fleets come first, each verified before and after,
    and the accounts last: until then nobody can sign in.

    Args:
        source: folder of the backup.
        data: new data folder.
        store: "postgresql://..." with nothing of ours in it, or None for SQLite in the folder.
        end_sessions: sign everybody out, and end tokens of scripts and open invitations.

    Raises:
        StoreError: the backup is not whole, or the place is not empty.
    """
    from crashworthy.accounts.copies import end_every_session, restore_accounts

    made, fleets = _manifest(source)
    with Hall(data, store) as hall:
        if not hall.accounts.empty():
            raise StoreError(
                Problem("there are accounts here already", "give a new place", hall.accounts.address.shown)
            )
        found = {}
        for row in fleets:
            with hall.fleet_at(row["place"]) as fleet:
                report = restore(fleet.store, source / fleet_file(row["place"]))
            _must_equal(report.digest, row["digest"], f"the fleet of {row['crew']}")
            found[row["crew"]] = report
        state = restore_accounts(hall.accounts, source / ACCOUNTS)
        _must_equal(state.digest, made["accounts"]["digest"], "the record of people and crews")
        ended = end_every_session(hall.accounts) if end_sessions else 0
        with hall.accounts.writing() as connection:
            for crew in hall.accounts.crews():
                about = f"the backup of {made['made']}" + (", everybody signed out" if end_sessions else "")
                hall.accounts.note(connection, crew.id, "command line", "restored", about)
    return HallReport(source, state, found, ended)


def _manifest(source: Path) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What a backup says of itself; every file in it is there and as it was written."""
    file = source / MANIFEST
    try:
        made = json.loads(file.read_text(encoding="utf-8"))
        if made["format"] != FORMAT:
            raise ValueError(f"format {made['format']!r:.40}")
        fleets = [{k: str(row[k]) for k in ("crew", "place", "sha256", "digest")} for row in made["fleets"]]
        if not all(_PLACE.fullmatch(row["place"]) for row in fleets):
            raise ValueError("a place that is none")
        files = {
            ACCOUNTS: str(made["accounts"]["sha256"]),
            **{str(fleet_file(r["place"])): r["sha256"] for r in fleets},
        }
        made = {"made": str(made["made"]), "accounts": {"digest": str(made["accounts"]["digest"])}}
    except OSError as problem:
        what = problem.strerror or "cannot be read"
        raise StoreError(
            Problem(f"is no backup of a server: {what}", "give the folder it is in", str(file))
        ) from None
    except (ValueError, KeyError, TypeError, RecursionError) as problem:
        what = f"does not say what is in this backup ({problem})"
        raise StoreError(Problem(what, "take another backup", str(file))) from None
    for name, sha256 in files.items():
        try:
            same = sha256_of(source / name) == sha256
        except OSError:
            raise StoreError(
                Problem("is missing from this backup", "take another backup", str(source / name))
            ) from None
        if not same:
            raise StoreError(
                Problem(
                    "is not as it was written",
                    "take another backup; keep this one for rescue",
                    str(source / name),
                )
            )
    return made, fleets


def _must_equal(got: str, told: str, what: str) -> None:
    if got != told:
        raise StoreError(
            Problem(f"{what} differs from what the backup says", "restore into a new place again")
        )


def verify_hall(hall: Hall, against: Path | None = None) -> HallReport:
    """Look at accounts and every fleet; see ``store.backup.verify``.

    Args:
        hall: opened.
        against: an older backup: a folder as ``backup_hall`` makes it; every event in it must still be here.

    Raises:
        StoreError: the backup cannot be opened, or the accounts are damaged.
    """
    from crashworthy.accounts.copies import state_of

    fleets: dict[str, VerifyReport] = {}
    older = (
        {}
        if against is None
        else {r["place"]: against / fleet_file(r["place"]) for r in _manifest(against)[1]}
    )
    for crew in hall.accounts.crews():
        fleets[crew.name] = hall.workshop_of(crew).store.verify(older.get(crew.place))
    return HallReport(None, state_of(hall.accounts), fleets)
