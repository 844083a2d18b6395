"""A server's backup holds accounts and every crew's fleet, is whole, and comes back as it was."""

from __future__ import annotations

import json
import shutil
import threading
from pathlib import Path

import pytest

from crashworthy.accounts.copies import state_of
from crashworthy.errors import StoreError
from crashworthy.store.backup import verify
from crashworthy.upkeep.payloads import Crash, Pack
from crashworthy.upkeep.state import fold
from crashworthy.workshop.hall import Hall, has_accounts
from crashworthy.workshop.hall_backup import backup_hall, restore_hall, verify_hall

SECRET = "a quarry at noon"  # noqa: S105 - of people who do not exist


def people(hall):
    """Two crews, a person in each, a token, an open invitation and some entries."""
    for name, crew in (("robin", "Millrace"), ("wren", "Weir")):
        home = hall.accounts.add_crew(crew)
        hall.accounts.add_person(name, SECRET, home, "lead")
        hall.workshop_of(home).store.record("gannet", Pack(4.0), Crash("hit"), device=f"phone-{name}")
    guest = hall.accounts.who(hall.accounts.sign_in("robin", SECRET, "here"))
    token = hall.accounts.make_device(guest, "logger")
    invitation = hall.accounts.invite(guest.crew.id, "pilot", "robin")
    hall.accounts.saw_devices(guest, ["phone-robin"])
    return token, invitation


@pytest.fixture
def place(where, tmp_path):
    """Data folder and address of a server, on each database; makes a further empty one when asked."""
    if isinstance(where, Path):
        return tmp_path / "here", None
    return tmp_path / "here", where


@pytest.fixture
def fresh(place, tmp_path, request):
    """Another place, empty."""
    _, store = place
    if store is None:
        return tmp_path / "there", None
    return tmp_path / "there", request.getfixturevalue("postgres").new_database()


@pytest.fixture(autouse=True)
def own_schemas(place):
    """Crews' fleets lie in schemas of the whole database: what a test made goes with it."""
    yield
    if place[1] is not None:
        drop_crews(place[1])


def drop_crews(store):
    """As on a new machine: no fleet of any crew is left."""
    import psycopg

    query = "SELECT nspname FROM pg_namespace WHERE nspname LIKE 'crew%'"
    with psycopg.connect(store.split("?")[0], autocommit=True) as connection:
        for (name,) in connection.execute(query).fetchall():
            connection.execute(f'DROP SCHEMA "{name}" CASCADE')


def test_everything_comes_back_as_it_was(place, fresh, tmp_path):
    """State of every fleet and of the accounts is equal; passwords, tokens and invitations open again."""
    with Hall(*place) as hall:
        token, invitation = people(hall)
        made = backup_hall(hall, tmp_path / "monday")
        before = verify_hall(hall)
    if place[1]:
        drop_crews(place[1])
    assert made.ok
    assert {n: r.digest for n, r in made.fleets.items()} == {n: r.digest for n, r in before.fleets.items()}
    assert made.accounts == before.accounts
    assert (made.accounts.people, made.accounts.crews, made.accounts.invitations) == (2, 2, 1)
    back = restore_hall(tmp_path / "monday", *fresh)
    assert {n: r.digest for n, r in back.fleets.items()} == {n: r.digest for n, r in before.fleets.items()}
    assert back.accounts.digest == before.accounts.digest
    with Hall(*fresh) as hall:
        guest = hall.accounts.who(token)
        assert guest.name == "robin"
        assert hall.accounts.sign_in("wren", SECRET, "here")
        assert hall.accounts.invitation(invitation).crew == "Millrace"
        assert hall.accounts.devices_of(guest.crew.id, guest.person) == ("phone-robin",)
        assert hall.accounts.record(guest.crew.id)[0].act == "restored"
        for name in ("Millrace", "Weir"):
            shop = hall.workshop_of(hall.accounts.crew_named(name))
            (pack, crash) = shop.store.events()
            assert (pack.kind, crash.kind) == ("pack", "crash")
            shop.store.record("gannet", Pack(1.0))  # it goes on counting
    with pytest.raises(StoreError, match="already"):
        restore_hall(tmp_path / "monday", *fresh)


def test_everybody_can_be_signed_out_on_restoring(tmp_path):
    """A session that was ended after the backup must not open again: then nobody's does."""
    with Hall(tmp_path / "here") as hall:
        token, invitation = people(hall)
        backup_hall(hall, tmp_path / "monday")
    back = restore_hall(tmp_path / "monday", tmp_path / "there", end_sessions=True)
    assert back.ended == 3  # a session, a token, an invitation
    with Hall(tmp_path / "there") as hall:
        assert hall.accounts.who(token) is None
        with pytest.raises(Exception, match="run out"):
            hall.accounts.invitation(invitation)
        assert hall.accounts.sign_in("robin", SECRET, "here")


def test_a_backup_during_writes_restores_to_its_own_state(place, fresh, tmp_path):
    """Taken while both crews enter things and invite: whole, of one moment each, equal on return."""
    with Hall(*place) as hall:
        people(hall)
        crews = hall.accounts.crews()
        shops = {c.name: hall.workshop_of(c) for c in crews}
        stop, broken = threading.Event(), []

        def write(crew):
            try:
                while not stop.is_set():
                    shops[crew.name].store.record("gannet", Pack(1.0), Crash("hit"))
                    hall.accounts.invite(crew.id, "pilot", "robin")
            except Exception as problem:  # noqa: BLE001 - told to the test below
                broken.append(problem)

        threads = [threading.Thread(target=write, args=(c,)) for c in crews]
        for thread in threads:
            thread.start()
        try:
            made = [backup_hall(hall, tmp_path / f"b{k}") for k in range(2)]
        finally:
            stop.set()
            for thread in threads:
                thread.join()
        assert not broken
        every = {name: shop.store.events() for name, shop in shops.items()}
    if place[1]:
        drop_crews(place[1])
    back = restore_hall(tmp_path / "b1", *fresh)
    assert made[0].fleets["Weir"].events < made[1].fleets["Weir"].events
    assert back.accounts.digest == made[1].accounts.digest
    with Hall(*fresh) as hall:
        for crew in hall.accounts.crews():
            store = hall.workshop_of(crew).store
            report = verify(store)
            assert report.ok
            assert report.digest == made[1].fleets[crew.name].digest
            events = store.events()
            history = fold("gannet", events, {})
            # Entered in pairs: never half of one.
            assert history.packs == len(history.crashes) == len(events) / 2
            assert events == every[crew.name][: len(events)]


def test_a_backup_is_not_written_over_and_leaves_nothing_half(tmp_path, monkeypatch):
    """A name that is taken is refused; a copy that fails leaves no folder behind."""
    with Hall(tmp_path / "here") as hall:
        people(hall)
        (tmp_path / "safe").mkdir()
        made = backup_hall(hall, tmp_path / "safe")
        assert made.path.parent == tmp_path / "safe"
        with pytest.raises(StoreError, match="name a new"):
            backup_hall(hall, made.path / "backup.json")

        def full(*_):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("crashworthy.accounts.copies.settle", full)
        with pytest.raises(StoreError, match="the disk is full"):
            backup_hall(hall, tmp_path / "later")
    assert [p.name for p in (tmp_path / "safe").iterdir()] == [made.path.name]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["here", "safe"]


def test_only_the_owner_may_read_the_copied_accounts(tmp_path):
    """Digests of passwords are nobody else's business in a backup either."""
    with Hall(tmp_path / "here") as hall:
        people(hall)
        made = backup_hall(hall, tmp_path / "monday")
    assert made.path.stat().st_mode & 0o077 == 0
    assert (made.path / "accounts.db").stat().st_mode & 0o077 == 0
    stored = b"".join(p.read_bytes() for p in made.path.rglob("*") if p.is_file())
    assert SECRET.encode() not in stored


@pytest.mark.parametrize("spoil", ["accounts.db", "fleet.db", "crews", "backup.json", "lost", "place"])
def test_a_backup_that_is_not_whole_is_refused_before_anything_is_written(spoil, tmp_path):
    """A changed byte, a missing file, a place outside the folder: one message, and an empty target."""
    with Hall(tmp_path / "here") as hall:
        people(hall)
        made = backup_hall(hall, tmp_path / "monday").path
    if spoil == "crews":
        (file,) = made.glob("crews/*/fleet.db")
    else:
        file = made / (spoil if "." in spoil else "backup.json")
    if spoil == "lost":
        shutil.rmtree(made / "crews")
    elif spoil == "place":
        told = json.loads(file.read_text())
        told["fleets"][1]["place"] = "../../elsewhere"
        file.write_text(json.dumps(told))
    else:
        data = bytearray(file.read_bytes())
        data[len(data) // 2] ^= 1
        file.write_bytes(bytes(data[:-9] if spoil == "backup.json" else data))
    with pytest.raises(StoreError, match="backup"):
        restore_hall(made, tmp_path / "there")
    assert not has_accounts(tmp_path / "there")
    assert not list((tmp_path / "there").rglob("*.db"))


def test_restoring_changes_no_byte_of_the_backup(tmp_path):
    """A backup on a stick that may only be read serves as often as it is needed."""
    with Hall(tmp_path / "here") as hall:
        people(hall)
        made = backup_hall(hall, tmp_path / "monday").path
    before = {p: p.read_bytes() for p in made.rglob("*") if p.is_file()}
    for k in range(2):
        restore_hall(made, tmp_path / f"there{k}")
    with Hall(tmp_path / "there1") as hall:
        assert verify_hall(hall, made).ok
        a, b = (state_of(h.accounts) for h in (hall, hall))
        assert a == b
    assert {p: p.read_bytes() for p in made.rglob("*") if p.is_file()} == before


def test_an_older_backup_shows_what_was_taken_away_from_any_crew(tmp_path):
    """Newest events that are gone from a second crew's fleet are noticed against the folder."""
    with Hall(tmp_path / "here") as hall:
        people(hall)
        older = backup_hall(hall, tmp_path / "older").path
        weir = hall.workshop_of(hall.accounts.crew_named("Weir")).store
        with weir.engine.begin() as connection:
            connection.exec_driver_sql("DROP TRIGGER event_no_delete")
            connection.exec_driver_sql("DELETE FROM event WHERE seq = 2")
        assert verify_hall(hall).ok
        found = verify_hall(hall, older)
    assert not found.ok
    assert found.fleets["Millrace"].ok
    assert "phone-wren" in found.summary()
