"""`crashworthy backup` and `verify`: a copy you can trust, and a look at what is there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say

if TYPE_CHECKING:
    from crashworthy.store.backup import BackupReport, VerifyReport
    from crashworthy.workshop.hall_backup import HallReport

__all__ = ["backup", "restore", "verify"]


def backup(
    to: Annotated[Path, typer.Argument(help="The new file to write; a new folder where there are accounts.")],
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Write a verified copy of the journal and results to a new file, while the app stays in use.

    Where there are accounts, a new folder holds them and the fleet of every crew.
    Sheets, drawings, photos and logs are plain files in the data folder: copy them as they are.

    Example: crashworthy backup monday.db
    """
    from crashworthy.workshop.hall import Hall, has_accounts

    report: BackupReport | HallReport
    if has_accounts(data, store):
        from crashworthy.workshop.hall_backup import backup_hall

        with Hall(data, store) as hall:
            report = backup_hall(hall, to)
    else:
        with opened(data, store) as workshop:
            report = workshop.backup(to)
    _tell(report, as_json=as_json)


def _tell(report: BackupReport | VerifyReport | HallReport, *, as_json: bool) -> None:
    if as_json:
        print_json(report.to_json())
    else:
        say(report.summary())


def restore(
    source: Annotated[Path, typer.Argument(help="The backup: a file, or the folder of a server's.")],
    end_sessions: Annotated[
        bool,
        typer.Option(
            "--end-sessions",
            help="Of a server's backup: sign everybody out, end tokens of scripts and open invitations.",
        ),
    ] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Fill a new, empty store from a backup, verify both, and print the state, which must be the backup's.

    A server's backup brings back accounts and every crew's fleet. What was ended after it (say, the session
    of a lost phone) opens again, unless --end-sessions signs everybody out.
    Copy sheets, drawings, photos and logs into the data folder beside it.

    Example: crashworthy restore monday.db --data new-folder
    """
    report: VerifyReport | HallReport
    if source.is_dir():
        from crashworthy.workshop.hall_backup import restore_hall

        report = restore_hall(source, data, store, end_sessions=end_sessions)
        if end_sessions:
            typer.echo(
                f"Ended {report.ended} sessions, tokens and invitations: everybody signs in again.", err=True
            )
        elif report.accounts.sessions:
            typer.echo(
                "Sessions and tokens that were ended after this backup open again: see the sheet People,"
                " or restore with --end-sessions.",
                err=True,
            )
    else:
        with opened(data, store) as workshop:
            report = workshop.restore(source)
    _tell(report, as_json=as_json)


def verify(
    against: Annotated[
        Path | None,
        typer.Option(
            "--against", help="An older backup (file or folder): its events must all still be here."
        ),
    ] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Read everything, compare every event with its digest and its device's chain. Status 1 when one differs.

    Prints the state: a digest over all events, equal for a store and for what its backup restores to.
    Where there are accounts it looks at those and at the fleet of every crew. Pictures are compared with
    their digests, and those that no entry speaks of are counted.

    Example: crashworthy verify --against monday.db
    """
    from crashworthy.workshop.hall import Hall, has_accounts

    report: VerifyReport | HallReport
    if has_accounts(data, store):
        from crashworthy.workshop.hall_backup import verify_hall

        with Hall(data, store) as hall:
            report = verify_hall(hall, against)
            pictures = {c.name: hall.workshop_of(c).photo_state() for c in hall.accounts.crews()}
    else:
        with opened(data, store) as workshop:
            report, pictures = workshop.verify(against), {"": workshop.photo_state()}
    if as_json:
        told = {crew: state.to_json() for crew, state in pictures.items()}
        print_json(report.to_json() | {"photos": told.get("", told)})
    else:
        say(report.summary())
        for crew, state in pictures.items():
            if words := state.summary():
                say(f"{crew}: {words}" if crew else words)
    if not (report.ok and all(state.ok for state in pictures.values())):
        raise typer.Exit(1)
