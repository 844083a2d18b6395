"""People, crews, sessions, invitations and the record of them."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from crashworthy.accounts import tables
from crashworthy.accounts.book import INVITATION_LASTS, Accounts
from crashworthy.accounts.sessions import FREE_TRIES, LASTS
from crashworthy.errors import AccessError, NotFoundError
from crashworthy.store.connect import make_engine, parse_address
from crashworthy.store.migrate import run_migrations

SECRET = "a quarry at noon"  # noqa: S105 - of people who do not exist


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = datetime(2026, 5, 1, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        """What it is set to."""
        return self.now


@pytest.fixture
def clock() -> Clock:
    """A clock at noon."""
    return Clock()


@pytest.fixture
def accounts(tmp_path, clock):
    """An empty book."""
    with Accounts(tmp_path / "accounts.db", clock) as opened:
        yield opened


@pytest.fixture
def crew(accounts):
    """A crew with its lead in it."""
    made = accounts.add_crew("Millrace")
    accounts.add_person("Robin", SECRET, made, "lead")
    return made


def test_nothing_that_opens_is_stored(accounts, crew, tmp_path):
    """Neither a password nor a token nor an invitation can be read from the database."""
    token = accounts.sign_in("robin", SECRET, "here")
    invitation = accounts.invite(crew.id, "pilot", "robin")
    device = accounts.make_device(accounts.who(token), "logger")
    accounts.close()
    stored = b"".join(p.read_bytes() for p in tmp_path.iterdir())
    for secret in (SECRET, token, invitation, device):
        assert secret.encode() not in stored


def test_sign_in_names_the_person_and_their_crew(accounts, crew):
    """A right password gives a token that says who it is, whatever the letters' case."""
    guest = accounts.who(accounts.sign_in(" ROBIN ", SECRET, "here"))
    assert (guest.name, guest.crew, guest.role, guest.leads) == ("robin", crew, "lead", True)


@pytest.mark.parametrize(("name", "password"), [("robin", "wrong password"), ("nobody", SECRET), ("", "")])
@pytest.mark.usefixtures("crew")
def test_a_wrong_sign_in_does_not_say_what_was_wrong(accounts, name, password):
    """A wrong name and a wrong password are refused in the same words."""
    with pytest.raises(AccessError, match="name and password do not fit together"):
        accounts.sign_in(name, password, "here")


def test_guessing_is_slowed_and_a_right_password_ends_the_wait(accounts, crew, clock):
    """After the free tries each wrong password doubles the wait, for that name and no other."""
    accounts.add_person("wren", SECRET, crew)
    for _ in range(FREE_TRIES):
        with pytest.raises(AccessError, match="do not fit"):
            accounts.sign_in("robin", "wrong password", "here")
    waits = []
    for _ in range(4):
        with pytest.raises(AccessError, match="too many") as refused:
            accounts.sign_in("robin", SECRET, "elsewhere")
        waits.append(refused.value.wait)
        clock.now += timedelta(seconds=refused.value.wait + 0.1)
        with pytest.raises(AccessError, match="do not fit"):
            accounts.sign_in("robin", "wrong password", "here")
    assert waits == pytest.approx([1.0, 2.0, 4.0, 8.0], abs=0.01)
    accounts.sign_in("wren", SECRET, "here")
    clock.now += timedelta(minutes=20)
    accounts.sign_in("robin", SECRET, "here")
    accounts.sign_in("robin", SECRET, "here")


@pytest.mark.usefixtures("crew")
def test_many_wrong_passwords_at_once_are_no_more_tries_than_one_by_one(accounts):
    """Whoever sends a hundred guesses in the same moment gets as many looked at as in a row."""
    said = []

    def guess(number):
        try:
            accounts.sign_in("robin", f"a guess, {number}", f"10.0.0.{number}")
        except AccessError as error:
            said.append(error.wait)

    with ThreadPoolExecutor(16) as pool:
        list(pool.map(guess, range(100)))
    assert len(said) == 100
    assert sum(wait == 0.0 for wait in said) == FREE_TRIES


@pytest.mark.usefixtures("crew")
def test_signing_in_is_not_counted_as_a_wrong_password(accounts, clock):
    """A crew behind one address signs in as often as it likes: only wrong passwords are counted."""
    for _ in range(60):
        clock.now += timedelta(seconds=1)
        assert accounts.sign_in("robin", SECRET, "here")
    for _ in range(FREE_TRIES):
        with pytest.raises(AccessError) as refused:
            accounts.sign_in("robin", "not this one", "here")
        assert refused.value.wait == 0.0


@pytest.mark.usefixtures("crew")
def test_a_session_lasts_while_it_is_used(accounts, clock):
    """Use prolongs a session; without use it ends after its time."""
    token = accounts.sign_in("robin", SECRET, "here")
    for _ in range(5):
        clock.now += LASTS["browser"] - timedelta(days=1)
        assert accounts.who(token) is not None
    clock.now += LASTS["browser"]
    assert accounts.who(token) is None


@pytest.mark.usefixtures("crew")
def test_a_crew_of_somebody_else_cannot_be_named(accounts):
    """A session asked for another crew gives nobody, and cannot be turned to it."""
    other = accounts.add_crew("Weir")
    accounts.add_person("wren", SECRET, other, "lead")
    token = accounts.sign_in("robin", SECRET, "here")
    assert accounts.who(token, other.id) is None
    with pytest.raises(NotFoundError):
        accounts.look_at(accounts.who(token), other.id)


def test_an_invitation_opens_once(accounts, crew):
    """Of many who use a link at once, one gets in."""
    token = accounts.invite(crew.id, "pilot", "robin")

    def enter(number):
        try:
            return accounts.accept(token, f"guest {number}", SECRET)
        except (AccessError, NotFoundError):
            return None

    with ThreadPoolExecutor(4) as pool:
        inside = [t for t in pool.map(enter, range(4)) if t]
    assert len(inside) == 1
    assert accounts.who(inside[0]).role == "pilot"
    assert len(accounts.members(crew.id)) == 2


def test_a_refused_name_or_password_leaves_the_invitation_good(accounts, crew):
    """A mistake in the form does not use the link up."""
    token = accounts.invite(crew.id, "pilot", "robin")
    for name, password in (("robin", SECRET), ("wren", "short"), ("wren", "wren"), ("../x", SECRET)):
        with pytest.raises(AccessError):
            accounts.accept(token, name, password)
    assert accounts.who(accounts.accept(token, "wren", SECRET)).name == "wren"


def test_an_invitation_runs_out_and_can_be_taken_back(accounts, crew, clock):
    """An old or withdrawn link opens nothing."""
    first = accounts.invite(crew.id, "pilot", "robin")
    accounts.withdraw(crew.id, accounts.invitations(crew.id)[0].handle, "robin")
    second = accounts.invite(crew.id, "pilot", "robin")
    clock.now += INVITATION_LASTS
    for token in (first, second):
        with pytest.raises(NotFoundError):
            accounts.accept(token, "wren", SECRET)


def test_out_of_the_crew_is_out_at_once(accounts, crew):
    """Whoever is taken out of a crew has no way in from that moment, also with an open session."""
    accounts.add_person("wren", SECRET, crew)
    token = accounts.sign_in("wren", SECRET, "here")
    device = accounts.make_device(accounts.who(token), "logger")
    accounts.set_role(crew.id, "wren", None, "robin")
    assert accounts.who(token) is None
    assert accounts.who(device) is None
    with pytest.raises(AccessError):
        accounts.sign_in("wren", SECRET, "here")


def test_a_crew_keeps_a_lead(accounts, crew):
    """The last lead can neither step down nor be taken out."""
    for role in ("pilot", None):
        with pytest.raises(AccessError, match="needs a lead"):
            accounts.set_role(crew.id, "robin", role, "robin")


@pytest.mark.usefixtures("crew")
def test_a_new_password_ends_every_session(accounts):
    """After a change of password only the new one opens."""
    tokens = [accounts.sign_in("robin", SECRET, "here") for _ in range(2)]
    accounts.set_password("robin", "another quarry", "robin")
    assert [accounts.who(t) for t in tokens] == [None, None]
    assert accounts.who(accounts.sign_in("robin", "another quarry", "here")) is not None


def test_what_was_done_is_on_record(accounts, crew):
    """Sign-ins, refusals, invitations and roles are in the crew's record, newest first."""
    accounts.sign_in("robin", SECRET, "here")
    with pytest.raises(AccessError):
        accounts.sign_in("robin", "wrong password", "10.0.0.9")
    accounts.accept(accounts.invite(crew.id, "pilot", "robin"), "wren", SECRET)
    acts = [e.act for e in accounts.record(crew.id)]
    entered = ["signed in", "person added", "invitation made"]
    assert acts == [*entered, "sign-in refused", "signed in", "person added", "crew made"]
    assert accounts.record("another") == ()


def test_the_migrations_make_what_a_new_database_has(tmp_path, accounts):
    """Migrating from nothing and making at once give the same tables."""
    address = parse_address(tmp_path / "migrated.db")
    engine = make_engine(address)
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        run_migrations(connection, family=tables.ACCOUNTS)
    shapes = []
    for one in (engine, accounts.engine):
        inspector = sa.inspect(one)
        shapes.append(
            {
                name: (
                    [(c["name"], str(c["type"]), c["nullable"]) for c in inspector.get_columns(name)],
                    inspector.get_pk_constraint(name),
                    sorted(inspector.get_unique_constraints(name), key=str),
                    sorted(inspector.get_check_constraints(name), key=str),
                    sorted(inspector.get_foreign_keys(name), key=str),
                    sorted(inspector.get_indexes(name), key=str),
                )
                for name in inspector.get_table_names()
            }
        )
    engine.dispose()
    assert shapes[0] == shapes[1]
