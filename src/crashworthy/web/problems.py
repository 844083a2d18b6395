"""Every failure in words: what happened, where, what to do. As a page, as a piece of a page, or as JSON."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Any, Final

from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from crashworthy.errors import (
    DISK_FULL,
    AccessError,
    CrashworthyError,
    JournalError,
    NotFoundError,
    Problem,
    StoreError,
    said_by_system,
)
from crashworthy.store.connect import PASSING
from crashworthy.web.security import HEADERS
from crashworthy.web.views import bare, page

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fastapi import FastAPI, Request
    from starlette.responses import Response

__all__ = ["answer", "install", "plain", "refuse", "status_of"]

log = logging.getLogger("crashworthy.web")

WORDS: Final[dict[int, tuple[str, str]]] = {
    400: ("That request cannot be read", "go back and try again"),
    401: ("You are not signed in here", "sign in; what this device keeps to be sent is not lost"),
    403: ("That change did not come from this app's own pages", "open the page here and do it again"),
    404: ("There is no such page", "choose a sheet above"),
    405: ("That page does not take this kind of request", "choose a sheet above"),
    409: ("That does not fit what is there now", "reload and look again"),
    413: ("That is too large", "send a file of at most 256 MB, or entries of at most 4 MB at a time"),
    421: ("This server does not answer to that name", "open it by the address it printed at start"),
    422: ("Something in that form is missing or not in range", "mend it and send it again"),
    429: ("That was tried too often", "wait as long as it says, then try once more"),
    503: (
        "The data cannot be reached just now",
        "try again in a moment; what was acknowledged is safe, and phones keep what was not",
    ),
    507: (
        "The disk of the server is full",
        "make room there; what was acknowledged is safe, and phones keep what was not and send it again",
    ),
    500: (
        "Something in this program went wrong",
        "nothing in the journal is lost; go back and try again; the details are in the log of the server",
    ),
}
"""What a status means, and what to do."""


def plain(problem: Problem) -> dict[str, Any]:
    """A problem as JSON."""
    return {
        "what": problem.what,
        "remedy": problem.remedy,
        "file": problem.file,
        "line": problem.line,
        "field": problem.field,
    }


def answer(request: Request, status: int, problems: Sequence[Problem]) -> Response:
    """The answer to a request that failed, in the shape that its sender can use."""
    title, _ = WORDS.get(status, WORDS[400])
    if _stranger(request):
        return refuse(request, status)
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": title, "problems": [plain(p) for p in problems]}, status)
    name = "problem_piece.html" if request.headers.get("hx-request") == "true" else "problem.html"
    return page(request, name, status=status, title=title, problems=tuple(problems))


def _stranger(request: Request) -> bool:
    """Whether nobody is signed in on a server that has accounts."""
    return request.app.state.workshop is None and "workshop" not in request.scope.get("state", {})


def refuse(request: Request, status: int) -> Response:
    """The answer to a request that may not even learn which quads there are."""
    title, remedy = WORDS.get(status, WORDS[400])
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": title, "problems": [plain(Problem(title, remedy))]}, status)
    return bare(request, status, title, remedy)


def status_of(error: CrashworthyError) -> int:
    """The status that fits an error a person can mend."""
    if isinstance(error, NotFoundError):
        return 404
    if isinstance(error, JournalError):
        return 422
    if isinstance(error, AccessError):
        return 429 if error.wait else 403
    if isinstance(error, StoreError) and any(p.what == DISK_FULL for p in error.problems):
        return 507
    return 503 if isinstance(error, StoreError) and _is_down(error) else 400


def _is_down(error: StoreError) -> bool:
    """Whether the same request may succeed later: a phone then keeps its entries and tries again."""
    return any("connect" in p.what.lower() or p.what in PASSING for p in error.problems)


def install(app: FastAPI) -> None:
    """Give the app its handlers."""

    @app.exception_handler(CrashworthyError)
    async def mendable(request: Request, error: CrashworthyError) -> Response:
        return answer(request, status_of(error), error.problems)

    @app.exception_handler(OSError)
    async def system(request: Request, error: OSError) -> Response:
        if said_by_system(error, "") != DISK_FULL:
            raise error
        return answer(request, 507, [Problem(DISK_FULL, WORDS[507][1])])

    @app.exception_handler(HTTPException)
    async def status(request: Request, error: HTTPException) -> Response:
        if isinstance(error.__cause__, OSError) and said_by_system(error.__cause__, "") == DISK_FULL:
            return await system(request, error.__cause__)  # a form whose file found no room
        title, remedy = WORDS.get(error.status_code, WORDS[400])
        return answer(request, error.status_code, [Problem(title, remedy)])

    @app.exception_handler(RequestValidationError)
    async def invalid(request: Request, error: RequestValidationError) -> Response:
        found = [
            Problem(
                str(e.get("msg", "is not as it should be")),
                "mend it and send it again",
                field=".".join(str(x) for x in e.get("loc", ())[1:]),
            )
            for e in error.errors()
        ]
        return answer(request, 422, found)

    @app.exception_handler(Exception)
    async def broken(request: Request, error: Exception) -> Response:
        if isinstance(error, CrashworthyError):  # raised outside the pages: in the door, in a waiting page
            response = refuse(request, status_of(error))
            response.headers.update(HEADERS)
            return response
        log.error("%s %s failed", request.method, request.url.path, exc_info=error)
        title, remedy = WORDS[500]
        if request.url.path.startswith("/api/"):
            response = JSONResponse({"error": title, "problems": [plain(Problem(title, remedy))]}, 500)
        else:
            response = bare(request, 500, title, remedy)
        response.headers.update(HEADERS)  # this answer is made outside the guard
        return response
