"""`crashworthy people`: the accounts of a server for crews, for whoever sits at it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.listing import PEOPLE, sections
from crashworthy.cli.options import Data, Json, Store
from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from crashworthy.accounts.book import Accounts
    from crashworthy.accounts.people import Crew, Role

__all__ = ["app"]

app = typer.Typer(
    cls=sections("people", PEOPLE),
    help="Accounts of a server for crews: who may come in.\n\nExample: crashworthy people list",
    no_args_is_help=True,
    rich_markup_mode=None,
)

CrewName = Annotated[str, typer.Option("--crew", help="Name of the crew; made when it does not exist.")]
AnyCrew = Annotated[str, typer.Option("--crew", help="Name of the crew; needed when there are several.")]
Lead = Annotated[bool, typer.Option("--lead", help="May also invite, take out and read the record.")]


def _opened(data: Data, store: Store) -> Accounts:
    from crashworthy.workshop.hall import open_accounts

    return open_accounts(data, store)


def _crew(accounts: Accounts, name: str) -> Crew:
    known = accounts.crews()
    if not name and len(known) == 1:
        return known[0]
    return accounts.crew_named(name)


def _password() -> str:
    if sys.stdin.isatty():
        asked: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
        return asked
    return sys.stdin.readline().rstrip("\n")


@app.command("add")
def add(
    name: Annotated[str, typer.Argument(help="What they sign in with.")],
    crew: CrewName,
    lead: Lead = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Make an account; the password is asked for, or read from standard input.

    The first crew takes over the fleet that is in the data folder already.

    Example: crashworthy people add robin --crew Millrace --lead
    """
    with _opened(data, store) as accounts:
        known = [c.name.lower() for c in accounts.crews()]
        password = _password()
        home = accounts.crew_named(crew) if crew.strip().lower() in known else accounts.add_crew(crew)
        made = accounts.add_person(name, password, home, "lead" if lead else "pilot")
        if as_json:
            print_json({"name": made.name, "crew": home.name, "role": made.role})
        else:
            say(f"{made.name} may sign in to {home.name} as {made.role}.")


@app.command("invite")
def invite(
    crew: AnyCrew = "",
    lead: Lead = False,
    address: Annotated[
        str, typer.Option("--address", help="Address of the server, to print the whole link.")
    ] = "",
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Print an invitation that opens once, within seven days.

    Example: crashworthy people invite --crew Millrace --address https://fleet.example.org
    """
    with _opened(data, store) as accounts:
        home = _crew(accounts, crew)
        token = accounts.invite(home.id, "lead" if lead else "pilot", "command line")
        link = f"{address.rstrip('/')}/join/{token}"
        if as_json:
            print_json({"link": link, "crew": home.name, "role": "lead" if lead else "pilot", "days": 7})
            return
        typer.echo(link)
        say(f"Send it to one person; it opens {home.name} once, within seven days.")


@app.command("list")
def list_people(data: Data = None, store: Store = None, as_json: Json = False) -> None:
    """Say who is in which crew.

    Example: crashworthy people list
    """
    with _opened(data, store) as accounts:
        crews = [(c, accounts.members(c.id)) for c in accounts.crews()]
    if as_json:
        print_json([{"crew": c.name, "members": [x.to_json() for x in m]} for c, m in crews])
        return
    if not crews:
        say("There are no accounts: the fleet is served to this machine only.")
        return
    table(("crew", "name", "role"), [(c.name, x.name, x.role) for c, m in crews for x in m])


@app.command("role")
def role(
    name: Annotated[str, typer.Argument(help="Who.")],
    role: Annotated[str, typer.Argument(help="pilot, lead, or out (of the crew).")],
    crew: AnyCrew = "",
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Change what somebody may do in a crew, or take them out of it.

    Example: crashworthy people role robin pilot --crew Millrace
    """
    roles: dict[str, Role | None] = {"pilot": "pilot", "lead": "lead", "out": None}
    if role not in roles:
        raise typer.BadParameter("the role is pilot, lead or out")
    with _opened(data, store) as accounts:
        home = _crew(accounts, crew)
        accounts.set_role(home.id, name, roles[role], "command line")
        if as_json:
            print_json({"name": name, "crew": home.name, "role": roles[role]})
            return
        say(f"{name} is {'out of' if role == 'out' else role + ' in'} {home.name}.")


@app.command("password")
def password(
    name: Annotated[str, typer.Argument(help="Whose.")],
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Give somebody a new password and end every session of theirs.

    Example: crashworthy people password robin
    """
    with _opened(data, store) as accounts:
        accounts.set_password(name, _password(), "command line")
        if as_json:
            print_json({"name": name, "changed": True})
            return
        say(f"{name} has a new password; every session of theirs has ended.")


@app.command("record")
def record(crew: AnyCrew = "", data: Data = None, store: Store = None, as_json: Json = False) -> None:
    """Print who did what with accounts: sign-ins, invitations, roles, passwords, tokens.

    Example: crashworthy people record --crew Millrace
    """
    with _opened(data, store) as accounts:
        lines = accounts.record(_crew(accounts, crew).id)
    if as_json:
        print_json([e.to_json() for e in lines])
        return
    table(
        ("when (UTC)", "who", "did", "about"),
        [(e.happened.strftime("%Y-%m-%d %H:%M"), e.person, e.act, e.about) for e in lines],
    )
