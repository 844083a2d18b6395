"""Signing in, joining by invitation, and the sheet of people; only on a server for crews."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from starlette.exceptions import HTTPException

from crashworthy.accounts.sessions import LASTS
from crashworthy.errors import AccessError, NotFoundError, Problem
from crashworthy.web.door import cookie_name, token_of
from crashworthy.web.views import guest, lone, page, workshop

if TYPE_CHECKING:
    from crashworthy.accounts.book import Accounts
    from crashworthy.accounts.people import Role

router = APIRouter(include_in_schema=False)

Text = Annotated[str, Form(max_length=300)]


def _accounts(request: Request) -> Accounts:
    hall = request.app.state.hall
    if hall is None:  # one person's server has no accounts, and so no such page
        raise HTTPException(404)
    found: Accounts = hall.accounts
    return found


def _source(request: Request) -> str:
    return request.client.host if request.client else "unknown"


def _label(request: Request) -> str:
    """What a list of sessions can call this browser: the first words it says of its machine."""
    agent = request.headers.get("user-agent", "")
    return agent.partition("(")[2].partition(")")[0][:60] or "browser"


def _inside(then: str) -> str:
    """A path of this server to go on to; anything else becomes the first page."""
    return then if then.startswith("/") and not then.startswith(("//", "/\\")) else "/"


def _welcome(request: Request, token: str, to: str) -> Response:
    answer = RedirectResponse(to, 303)
    secure = request.url.scheme == "https"
    age = int(LASTS["browser"].total_seconds())
    name = cookie_name(request.url.scheme)
    answer.set_cookie(name, token, max_age=age, path="/", secure=secure, httponly=True, samesite="lax")
    return answer


def _person(request: Request) -> Any:
    """Whoever asks, when they signed in themselves: a token that leaks must not make further ones.

    Raises:
        AccessError: a script asks.
    """
    found = guest(request)
    if found.kind != "browser":
        raise AccessError(
            Problem("a token of a script may not change accounts", "sign in and do it yourself")
        )
    return found


def _lead(request: Request) -> Any:
    """Whoever asks, when they lead the crew.

    Raises:
        AccessError: they do not.
    """
    found = _person(request)
    if not found.leads:
        raise AccessError(Problem("only a lead of the crew may do that", "ask one of them"))
    return found


@router.get("/sign-in")
def sign_in_form(request: Request, then: str = "/") -> Response:
    """The form."""
    _accounts(request)
    return lone(request, "sign_in.html", then=_inside(then), name="", problems=())


@router.post("/sign-in")
def sign_in(request: Request, name: Text, password: Text, then: Text = "/") -> Response:
    """Sign in, or say why not and keep the name that was typed."""
    accounts = _accounts(request)
    try:
        token = accounts.sign_in(name, password, _source(request), _label(request))
    except AccessError as error:
        more = {"Retry-After": f"{error.wait:.0f}"} if error.wait else {}
        problems = error.problems
        status = 429 if error.wait else 401
        return lone(request, "sign_in.html", status, more, then=_inside(then), name=name, problems=problems)
    return _welcome(request, token, _inside(then))


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """End this session."""
    found = guest(request)
    _accounts(request).end(found.person, found.session, found.name)
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(cookie_name(request.url.scheme), path="/", secure=request.url.scheme == "https")
    # What the page keeps on the phone (the outbox) stays: it may hold entries that are not sent yet.
    return answer


@router.get("/join/{token}")
def join_form(request: Request, token: str) -> Response:
    """What an invitation offers."""
    return _join(request, token, name="", problems=())


def _join(
    request: Request, token: str, name: str, problems: tuple[Problem, ...], status: int = 200
) -> Response:
    accounts = _accounts(request)
    try:
        offer = accounts.invitation(token)
    except NotFoundError as error:
        return lone(
            request, "join.html", 404, offer=None, token="", name="", problems=error.problems, known=""
        )
    known = accounts.who(token_of(request.scope))
    return lone(
        request,
        "join.html",
        status,
        offer=offer,
        token=token,
        name=name,
        problems=problems,
        known=known.name if known else "",
    )


@router.post("/join/{token}")
def join(request: Request, token: str, name: Text = "", password: Text = "") -> Response:
    """Make the account, or join with the one that is signed in."""
    accounts = _accounts(request)
    known = accounts.who(token_of(request.scope))
    try:
        if known is not None and known.kind == "browser" and not name:
            accounts.look_at(known, accounts.join(token, known))
            return RedirectResponse("/", 303)
        return _welcome(request, accounts.accept(token, name, password, _label(request)), "/")
    except (AccessError, NotFoundError) as error:
        return _join(request, token, name, error.problems, 400)


@router.get("/people")
def people(request: Request) -> Response:
    """The sheet."""
    return _people(request)


def _people(
    request: Request, shown: str = "", secret: str = "", problems: tuple[Problem, ...] = ()
) -> Response:
    accounts, me = _accounts(request), guest(request)
    return page(
        request,
        "people.html",
        status=400 if problems else 200,
        me=me,
        crews=accounts.crews_of(me.person),
        members=accounts.members(me.crew.id),
        sessions=accounts.open_sessions(me.person),
        invitations=accounts.invitations(me.crew.id) if me.leads else (),
        record=accounts.record(me.crew.id) if me.leads else (),
        shown=shown,
        secret=secret,
        problems=problems,
    )


@router.post("/people/invite")
def invite(request: Request, role: Text = "pilot") -> Response:
    """Make a link that opens once; it is shown now and never again."""
    found = _lead(request)
    wanted: Role = "lead" if role == "lead" else "pilot"
    token = _accounts(request).invite(found.crew.id, wanted, found.name)
    return _people(
        request, shown="invitation", secret=str(request.url.replace(path=f"/join/{token}", query=""))
    )


@router.post("/people/withdraw")
def withdraw(request: Request, handle: Text) -> Response:
    """Take an invitation back."""
    found = _lead(request)
    _accounts(request).withdraw(found.crew.id, handle, found.name)
    return RedirectResponse("/people", 303)


@router.post("/people/role")
def role(request: Request, name: Text, role: Text) -> Response:
    """Change what somebody may do, or take them out."""
    found = _lead(request)
    roles: dict[str, Role | None] = {"pilot": "pilot", "lead": "lead", "out": None}
    if role not in roles:
        raise HTTPException(422)
    try:
        _accounts(request).set_role(found.crew.id, name, roles[role], found.name)
    except (AccessError, NotFoundError) as error:
        return _people(request, problems=error.problems)
    return RedirectResponse("/people", 303)


@router.post("/people/device")
def device(request: Request, label: Text = "") -> Response:
    """Make a token for a script; it is shown now and never again."""
    token = _accounts(request).make_device(_person(request), label or "device")
    return _people(request, shown="device", secret=token)


@router.post("/people/end")
def end(request: Request, handle: Text = "") -> Response:
    """End one session of one's own, or all of them."""
    found = _person(request)
    _accounts(request).end(found.person, handle, found.name)
    return RedirectResponse("/people", 303)


@router.post("/people/crew")
def crew(request: Request, crew: Text) -> Response:
    """Look at another crew of one's own."""
    _accounts(request).look_at(_person(request), crew)
    return RedirectResponse("/", 303)


@router.post("/people/password")
def password(request: Request, old: Text, new: Text) -> Response:
    """Change one's own password; every session ends, and one signs in anew."""
    found, accounts = _person(request), _accounts(request)
    try:
        accounts.sign_in(found.name, old, _source(request), "password change")
        accounts.set_password(found.name, new, found.name)
    except AccessError as error:
        return _people(request, problems=error.problems)
    return RedirectResponse("/sign-in", 303)


@router.get("/people/entries.jsonl")
def entries(request: Request) -> Response:
    """Everything that whoever asks has entered in this crew, as a journal file."""
    found = guest(request)
    devices = _accounts(request).devices_of(found.crew.id, found.person)
    lines = workshop(request).export_journal(devices=devices)
    return Response(
        "".join(line.rstrip("\n") + "\n" for line in lines),
        media_type="application/x-ndjson",
        headers={"Content-Disposition": f'attachment; filename="{found.name}-entries.jsonl"'},
    )


@router.get("/api/me")
def me(request: Request) -> JSONResponse:
    """Who is asking, for the outbox of a phone; null where there are no accounts."""
    if request.app.state.hall is None:
        return JSONResponse(None)
    found = guest(request)
    crews = [{"id": c.id, "name": c.name, "role": r} for c, r in _accounts(request).crews_of(found.person)]
    crew = {"id": found.crew.id, "name": found.crew.name}
    return JSONResponse({"person": found.person, "name": found.name, "crew": crew, "crews": crews})
