"""No stranger sees a thing, no crew another; long because every way in is tried on the same two crews."""

from __future__ import annotations

import asyncio
import json
import pkgutil
import re
import shutil
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from importlib import import_module
from io import BytesIO
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import httpx
import pytest
import sqlalchemy as sa
import uvicorn

from crashworthy.accounts import tables
from crashworthy.errors import NotFoundError, Problem, StoreError
from crashworthy.web import pages
from crashworthy.web.app import create_app
from crashworthy.web.door import is_open
from crashworthy.web.patience import ASK, Patience
from crashworthy.web.security import SMALL_LIMITS
from crashworthy.web.serve import bind, serve
from crashworthy.web.workers import config_of
from crashworthy.workshop.hall import Hall

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Iterator
    from pathlib import Path

SECRET = "a quarry at noon"  # noqa: S105 - of people who do not exist
FORM = {"content-type": "application/x-www-form-urlencoded"}
PICTURE = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de"
    "0000000c49444154789c63f8cfc0000003010100c9fe92ef0000000049454e44ae426082"
)


@pytest.fixture(scope="module")
def hall(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hall]:
    """Two crews: one with the demo fleet, one with nothing, and somebody in each."""
    folder = tmp_path_factory.mktemp("hall") / "data"
    shutil.copytree(demo_folder, folder)
    with Hall(folder) as opened:
        millrace = opened.accounts.add_crew("Millrace")
        weir = opened.accounts.add_crew("Weir")
        opened.accounts.add_person("robin", SECRET, millrace, "lead")
        opened.accounts.add_person("wren", SECRET, weir, "lead")
        opened.accounts.add_person("dipper", SECRET, millrace)
        yield opened


@pytest.fixture
def door(hall: Hall) -> Visitor:
    """Somebody who has not signed in."""
    return Visitor(create_app(None, ("testserver",), hall=hall))


class Visitor:
    """Somebody with a browser: asks the app without a socket and keeps its cookies."""

    def __init__(self, app: Any, base: str = "http://testserver") -> None:
        self.app = app
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        self.browser = httpx.AsyncClient(transport=transport, base_url=base)

    @property
    def cookies(self) -> httpx.Cookies:
        """What it keeps."""
        return self.browser.cookies

    def request(self, method: str, path: str, **more: Any) -> httpx.Response:
        """Ask, in a thread of its own: a browser under test has a loop in this one; follow no redirect."""
        with ThreadPoolExecutor(1) as own:
            return own.submit(lambda: asyncio.run(self.browser.request(method, path, **more))).result()

    def get(self, path: str, **more: Any) -> httpx.Response:
        """Ask for a page."""
        return self.request("GET", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        """Send a form."""
        return self.request("POST", path, **more)


def signed_in(hall: Hall, name: str) -> Visitor:
    """Somebody who has."""
    client = Visitor(create_app(None, ("testserver",), hall=hall))
    answer = client.post("/sign-in", data={"name": name, "password": SECRET, "then": "/"})
    assert answer.status_code == 303
    return client


OPEN_ROUTES = {"/sign-in", "/join/x", "/static/plot.css", "/manifest.webmanifest", "/worker.js"}
"""All that a stranger gets an answer from; whoever opens another route changes this list and says why."""


def routes(app: Any) -> list[tuple[str, str]]:
    """Every method and path of every page, with a quad of the demo fleet in it."""
    found = {("GET", "/nowhere"), ("GET", ASK)}  # the latter is answered before any route
    for route in every_route(app.routes):
        path = re.sub(r"\{(?!slug)[^}]*\}", "x", route.path).replace("{slug}", "gannet")
        found |= {(method, path) for method in getattr(route, "methods", None) or {"GET"}}
    return sorted(found)


def every_route(routes: Any) -> Iterator[Any]:
    """Each route of an app, those of the routers within it too."""
    for route in routes:
        inner = getattr(route, "original_router", None) or getattr(route, "router", None)
        if inner is not None:
            yield from every_route(inner.routes)
        else:
            yield route


def test_every_route_turns_a_stranger_away(door: Visitor, hall: Hall) -> None:
    """No route but the sign-in, an invitation and the style sheets does anything for a stranger."""
    asked = [(m, p) for m, p in routes(door.app) if not is_open(p)]
    assert len(asked) >= 50
    modules = [import_module(f"{pages.__name__}.{i.name}") for i in pkgutil.iter_modules(pages.__path__)]
    made = {r.path for m in modules if hasattr(m, "router") for r in m.router.routes}
    assert made <= {r.path for r in every_route(door.app.routes)}  # none is forgotten, here or there
    assert {p for _, p in routes(door.app) if is_open(p)} == OPEN_ROUTES
    names = [*hall.workshop_of(hall.accounts.crew_named("Millrace")).names().values(), "millrace"]
    for method, path in asked:
        answer = door.request(method, path)
        assert answer.status_code in (303, 401), (method, path)
        if answer.status_code == 303:
            assert answer.headers["location"].startswith("/sign-in?then=/"), (method, path)
        assert not any(name.lower() in answer.text.lower() for name in names), (method, path)


def test_every_route_hides_the_fleet_from_another_crew(hall: Hall) -> None:
    """Whoever is in another crew finds no quad of this one, on any route."""
    wren = signed_in(hall, "wren")
    asked = [(m, p) for m, p in routes(wren.app) if "/gannet" in p]
    assert len(asked) >= 30
    answers = {(method, path): wren.request(method, path) for method, path in asked}
    served = {asked: a.status_code for asked, a in answers.items() if a.status_code not in (404, 422)}
    assert served == {}
    assert not [asked for asked, a in answers.items() if "quarry" in a.text.lower()]
    before = hall.workshop_of(hall.accounts.crew_named("Millrace")).names()
    assert "gannet" in before  # and nothing of it was changed away
    assert wren.get("/api/fleet").json() == []


def test_what_another_crew_keeps_cannot_be_had_by_its_own_name(hall: Hall) -> None:
    """Real names of a picture, a job, a flight log and an event of one crew open nothing for another."""
    shop = hall.workshop_of(hall.accounts.crew_named("Millrace"))
    event = shop.keep_photo("gannet", BytesIO(PICTURE), text="a quarry")
    job = shop.jobs.start("evidence", "nothing", {"room": "build"})
    log = shop.store.logs()[0]
    asked = {
        ("GET", f"/photos/{event.payload.file}"),
        ("GET", f"/jobs/{job.id}"),
        ("GET", f"/api/jobs/{job.id}"),
        ("POST", f"/jobs/{job.id}/cancel"),
        ("GET", f"/quads/{log.quad}/flights/{log.key}"),
    }
    robin, wren = signed_in(hall, "robin"), signed_in(hall, "wren")
    for method, path in sorted(asked):
        assert wren.request(method, path).status_code == 404, path
        if method == "GET":
            assert robin.get(path).status_code == 200, path
    row = {"id": str(uuid4()), "quad": "gannet", "device": "x", "device_seq": 1, "kind": "retraction"}
    row |= {"occurred": "2026-06-01T10:00:00.000+00:00", "payload": {"target": str(event.id)}}
    assert wren.post("/api/events", json={"events": [row]}).json()["accepted"] == []
    assert str(row["id"]) not in {str(e.id) for e in shop.store.events("gannet")}
    shop.cancel(job.id)


async def raw(app: Any, path: str, headers: dict[str, str]) -> tuple[int, str]:
    """Ask for a path exactly as it stands: no client has put it in order before."""
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    lines = [(k.encode(), v.encode()) for k, v in ({"host": "testserver"} | headers).items()]
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
    }
    scope |= {"path": path, "raw_path": path.encode(), "query_string": b"", "root_path": "", "headers": lines}
    scope |= {"client": ("10.0.0.1", 1), "server": ("testserver", 80)}
    await app(scope, receive, send)
    body = b"".join(m.get("body", b"") for m in sent)
    return sent[0]["status"], body.decode("utf-8", "replace")


@pytest.mark.parametrize(
    "path",
    [
        "/static/../quads/gannet/field",
        "/static/../../accounts.db",
        "/static//../fleet.db",
        "/static/..\\..\\fleet.db",
        "/static/vendor/../../templates/people.html",
        "/join/../quads/gannet/field",
        "/join/x/../../quads/gannet/journal",
        "//quads/gannet/field",
        "/sign-in/../quads/gannet/field",
        "/sign-in/",
        "/Static/../fleet",
        "/static",
        "/worker.js/../api/fleet",
    ],
)
def test_no_way_round_the_door_leads_inside(hall: Hall, path: str) -> None:
    """A path with steps up, doubled strokes or another case shows a stranger nothing of any fleet."""
    app = create_app(None, ("testserver",), hall=hall)
    with ThreadPoolExecutor(1) as own:
        status, text = own.submit(lambda: asyncio.run(raw(app, path, {}))).result()
    assert status in (303, 307, 401, 404, 405)
    assert not any(word in text.lower() for word in ("gannet</", "millrace", "sqlite", "{% "))


def test_pages_that_are_worked_out_are_kept_apart_by_token_and_crew(hall: Hall) -> None:
    """Two scripts without cookies that ask for the same slow page each get their own crew's."""
    both = hall.accounts.crew_named("Millrace"), hall.accounts.crew_named("Weir")
    keys = []
    for name, crew in zip(("robin", "wren"), both, strict=True):
        guest = hall.accounts.who(hall.accounts.sign_in(name, SECRET, "here"))
        assert guest is not None
        keys.append(
            Patience._key(
                {
                    "type": "http", "method": "GET", "path": "/crew", "query_string": b"", "headers": [],
                    "state": {"guest": guest, "crew": crew},
                }
            )
        )  # fmt: skip
    assert keys[0] != keys[1]
    robin = hall.accounts.who(hall.accounts.sign_in("robin", SECRET, "here"))
    assert robin is not None
    scope = {"type": "http", "method": "GET", "path": "/crew", "query_string": b"", "headers": []}
    elsewhere = replace(robin, crew=both[1])
    assert Patience._key({**scope, "state": {"guest": robin}}) != Patience._key(
        {**scope, "state": {"guest": elsewhere}}
    )


def test_a_stranger_can_send_little(door: Visitor) -> None:
    """A sign-in of more than 64 kB, and entries of more than 4 MB, are refused before they are read."""
    assert door.post("/sign-in", data={"name": "robin", "password": "x" * 70_000}).status_code == 413
    assert door.post("/join/x", data={"name": "x" * 70_000}).status_code == 413
    large = door.post("/api/events", content=b"[" + b" " * SMALL_LIMITS["/api/"])
    assert large.status_code == 413

    async def drip() -> AsyncIterator[bytes]:
        for _ in range(100):  # without saying how much will come
            yield b"name=" + b"x" * 10_000

    assert door.request("POST", "/sign-in", content=drip(), headers=FORM).status_code == 413


def test_a_token_of_a_script_makes_no_other_and_changes_no_account(hall: Hall) -> None:
    """Whoever found a token cannot outlive its end: no further token, invitation, role or password by it."""
    robin = hall.accounts.who(hall.accounts.sign_in("robin", SECRET, "here"))
    assert robin is not None
    token = {"authorization": f"Bearer {hall.accounts.make_device(robin, 'logger')}"}
    script = Visitor(create_app(None, ("testserver",), hall=hall))
    before = len(hall.accounts.open_sessions(robin.person))
    forms = {
        "device": {"label": "mine"},
        "invite": {"role": "lead"},
        "role": {"name": "dipper", "role": "lead"},
        "withdraw": {"handle": "x"},
        "end": {},
        "crew": {"crew": robin.crew.id},
        "password": {"old": SECRET, "new": "another quarry at noon"},
    }
    for path, form in forms.items():
        assert script.post(f"/people/{path}", data=form, headers=token).status_code == 403, path
    assert len(hall.accounts.open_sessions(robin.person)) == before
    assert script.get("/api/fleet", headers=token).status_code == 200


@pytest.mark.parametrize(("behind", "believed"), [("127.0.0.1", True), ("192.0.2.7", False), ("", False)])
def test_what_a_proxy_says_is_believed_from_the_named_address_alone(
    hall: Hall, behind: str, believed: bool
) -> None:
    """Scheme and sender come from the proxy after --behind; what anybody else claims changes nothing."""
    listener = bind("127.0.0.1", 0)
    port = listener.getsockname()[1]
    server = uvicorn.Server(config_of(create_app(None, ("fleet.test",), hall=hall), None, behind))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    said = {
        "host": "fleet.test",
        "x-forwarded-proto": "https",
        "x-forwarded-for": "198.51.100.9, 203.0.113.5",
    }
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", headers=said) as client:
            answer = client.post("/sign-in", data={"name": "robin", "password": SECRET})
            assert (
                client.post("/sign-in", data={"name": "nobody-here", "password": "wrong"}).status_code == 401
            )
    finally:
        server.should_exit = True
        thread.join(10)
        listener.close()
    assert ("__Host-session" in answer.headers["set-cookie"]) == believed
    assert ("secure" in answer.headers["set-cookie"].lower()) == believed
    with hall.accounts.reading() as connection:
        keys = set(connection.execute(sa.select(tables.attempt.c.key)).scalars())
    # The last address is the one the proxy itself saw; those before it anybody can make up.
    assert ("from 203.0.113.5" in keys) == believed
    assert "from 198.51.100.9" not in keys
    with hall.accounts.writing() as connection:
        connection.execute(sa.delete(tables.attempt))


def test_with_the_accounts_out_of_reach_nobody_is_signed_out(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database that does not answer is "later" (503) in words, not a fault and not a sign-in page."""
    robin = signed_in(hall, "robin")

    def away(*_: object) -> None:
        raise StoreError(Problem("nothing answers there", "start the server"))

    monkeypatch.setattr(hall.accounts, "who", away)
    for path in ("/api/fleet", "/quads/gannet/field"):
        answer = robin.get(path)
        assert answer.status_code == 503
        assert "cannot be reached" in answer.text
        assert "content-security-policy" in answer.headers


def test_a_crew_cannot_be_asked_for_by_header(hall: Hall) -> None:
    """Naming another crew in a request opens nothing; naming one's own works."""
    wren = signed_in(hall, "wren")
    millrace, weir = (hall.accounts.crew_named(n).id for n in ("Millrace", "Weir"))
    assert wren.get("/api/fleet", headers={"x-crew": millrace}).status_code == 401
    assert wren.get("/api/fleet", headers={"x-crew": weir}).status_code == 200


def test_signing_in_leads_on_and_never_off_the_server(door: Visitor) -> None:
    """A right password leads to the page that was wanted; an address elsewhere is not followed."""
    form = {"name": "robin", "password": SECRET}
    for then, to in (
        ("/quads/gannet/field", "/quads/gannet/field"),
        ("//evil.example", "/"),
        ("https://evil", "/"),
    ):
        answer = door.post("/sign-in", data={**form, "then": then})
        assert (answer.status_code, answer.headers["location"]) == (303, to)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie


def test_over_tls_the_cookie_is_bound_to_the_host(hall: Hall) -> None:
    """Over https the session is in a secure cookie with the host prefix, and only that one is taken."""
    app = create_app(None, ("fleet.test",), hall=hall)
    client = Visitor(app, "https://fleet.test")
    answer = client.post("/sign-in", data={"name": "robin", "password": SECRET})
    assert answer.headers["set-cookie"].startswith("__Host-session=")
    assert "Secure" in answer.headers["set-cookie"]
    token = answer.cookies["__Host-session"]
    fresh = Visitor(app, "https://fleet.test")
    assert fresh.get("/api/fleet", headers={"cookie": f"session={token}"}).status_code == 401


def test_a_wrong_password_keeps_the_name_and_says_so(door: Visitor) -> None:
    """The form comes back with the name, the reason and status 401."""
    answer = door.post("/sign-in", data={"name": "robin", "password": "not this one"})
    assert answer.status_code == 401
    assert "do not fit together" in answer.text
    assert 'value="robin"' in answer.text


def test_a_cross_site_sign_in_is_refused(door: Visitor) -> None:
    """A form on another site cannot sign anybody in or out."""
    for path in ("/sign-in", "/sign-out", "/people/end"):
        answer = door.post(path, headers={"origin": "https://evil.example"})
        assert answer.status_code == 403, path


def test_an_invitation_makes_a_pilot_who_may_not_lead(hall: Hall) -> None:
    """By a link somebody gets in, sees the fleet, and can neither invite nor read the record."""
    lead = signed_in(hall, "robin")
    page = lead.post("/people/invite", data={"role": "pilot"})
    link = re.search(r"http://testserver(/join/[\w-]+)", page.text)
    assert link is not None
    guest = Visitor(create_app(None, ("testserver",), hall=hall))
    assert "Millrace" in guest.get(link[1]).text
    assert guest.post(link[1], data={"name": "siskin", "password": "short"}).status_code == 400
    assert guest.post(link[1], data={"name": "siskin", "password": SECRET}).status_code == 303
    assert [q["slug"] for q in guest.get("/api/fleet").json()] == ["dunlin", "gannet"]
    for path, form in (("invite", {"role": "lead"}), ("role", {"name": "siskin", "role": "lead"})):
        assert guest.post(f"/people/{path}", data=form).status_code == 403
    assert "Record" not in guest.get("/people").text
    assert guest.get(link[1]).status_code == 404


def test_taken_out_is_out(hall: Hall) -> None:
    """An open session of somebody who was taken out of the crew opens nothing from then on."""
    gone = signed_in(hall, "dipper")
    assert gone.get("/api/fleet").status_code == 200
    lead = signed_in(hall, "robin")
    assert lead.post("/people/role", data={"name": "dipper", "role": "out"}).status_code == 303
    assert gone.get("/api/fleet").status_code == 401


def test_a_device_token_works_until_it_is_ended(hall: Hall) -> None:
    """A token made on the sheet of people opens the API without a cookie, and can be revoked."""
    lead = signed_in(hall, "robin")
    page = lead.post("/people/device", data={"label": "field tablet"})
    token = re.search(r'class="secret" readonly value="([\w-]+)"', page.text)
    assert token is not None
    script = Visitor(create_app(None, ("testserver",), hall=hall))
    mine = {"authorization": f"Bearer {token[1]}"}
    assert script.get("/api/me", headers=mine).json()["name"] == "robin"
    person = hall.accounts.who(token[1])
    assert person is not None
    assert lead.post("/people/end", data={"handle": person.session}).status_code == 303
    assert script.get("/api/me", headers=mine).status_code == 401


def test_everybody_can_save_what_they_entered(hall: Hall) -> None:
    """Each person gets every event of their own devices as a journal file, and nobody else's."""
    hall.accounts.add_person("plover", SECRET, hall.accounts.crew_named("Millrace"))
    robin, plover = signed_in(hall, "robin"), signed_in(hall, "plover")
    rows = {}
    for visitor, device in ((robin, "robins-phone"), (plover, "plovers-phone")):
        row = {"id": str(uuid4()), "quad": "gannet", "device": device, "device_seq": 1, "kind": "note"}
        row |= {"occurred": "2026-06-01T10:00:00.000+00:00", "payload": {"text": device}}
        assert visitor.post("/api/events", json={"events": [row]}).json()["accepted"] == [row["id"]]
        rows[device] = row["id"]
    saved = plover.get("/people/entries.jsonl")
    assert "plover-entries.jsonl" in saved.headers["content-disposition"]
    (line,) = saved.text.splitlines()
    assert json.loads(line)["id"] == rows["plovers-phone"]
    assert "".join(hall.entries_of("plover", "Millrace")).strip() == line
    assert rows["robins-phone"] in "".join(hall.entries_of("robin", "Millrace"))
    assert hall.entries_of("robin", "Millrace", ["plovers-phone"]) == ()
    assert signed_in(hall, "wren").get("/people/entries.jsonl").text == ""
    with pytest.raises(NotFoundError):
        hall.entries_of("nobody", "Millrace")


def test_signing_out_ends_the_session_on_the_server(hall: Hall) -> None:
    """After signing out, a copy of the old cookie opens nothing."""
    client = signed_in(hall, "robin")
    token = client.cookies["session"]
    assert client.post("/sign-out").status_code == 303
    old = Visitor(create_app(None, ("testserver",), hall=hall))
    assert old.get("/api/fleet", headers={"cookie": f"session={token}"}).status_code == 401


def test_without_accounts_nothing_but_this_machine_is_served(tmp_path: Path) -> None:
    """Listening to the network is refused without accounts, and without TLS."""
    with Hall(tmp_path / "data") as hall:
        with pytest.raises(StoreError, match="people add"):
            serve(hall, "0.0.0.0", 0, open_browser=False)  # noqa: S104 - it must be refused
        crew = hall.accounts.add_crew("Weir")
        hall.accounts.add_person("wren", SECRET, crew, "lead")
        with pytest.raises(StoreError, match="in the clear"):
            serve(hall, "0.0.0.0", 0, open_browser=False)  # noqa: S104 - it must be refused


def test_a_server_for_one_has_no_people_page(client: httpx.Client) -> None:
    """Without accounts the pages of accounts do not exist."""
    assert client.get("/people").status_code == 404
    assert client.get("/sign-in").status_code == 404
    assert client.get("/api/me").json() is None
