"""A page that takes long says so at once, and follows by itself."""

from __future__ import annotations

import asyncio
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import httpx
import pytest
from fastapi import FastAPI, Request, Response

from crashworthy.jobs.memo import Memo
from crashworthy.web.patience import ASK, Patience
from crashworthy.workshop import Workshop
from crashworthy.workshop.ahead import Ahead

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterator
    from pathlib import Path

BROWSER = {"accept": "text/html"}


class Slow:
    """An app with one slow page and a quick one, asked by browsers in one loop."""

    def __init__(self, workshop: Workshop) -> None:
        self.let, self.asked = threading.Event(), list[str]()
        app = FastAPI()

        @app.get("/slow")
        def slow(request: Request) -> Response:
            self.asked.append(request.headers.get("cookie", ""))
            self.let.wait(20)
            return Response(f"at last {request.url.query}", headers={"X-Own": "kept"})

        @app.get("/quick")
        def quick() -> Response:
            return Response("quick")

        app.add_middleware(Patience, soon=0.05)
        app.state.workshop = workshop
        self.app = app

    def run(self, story: Callable[[httpx.AsyncClient], Awaitable[None]]) -> None:
        """Tell a story to it, in a thread of its own: a browser under test has a loop in this one."""

        async def tell() -> None:
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
                await story(client)

        with ThreadPoolExecutor(1) as own:
            own.submit(lambda: asyncio.run(tell())).result(30)


@pytest.fixture
def slow(tmp_path: Path) -> Iterator[Slow]:
    """Over an empty fleet; whoever still waits at the end is let go."""
    with Workshop(tmp_path) as workshop:
        made = Slow(workshop)
        yield made
        made.let.set()


async def wait(client: httpx.AsyncClient, at: str) -> httpx.Response:
    """Ask as the waiting page does until it is sent on."""
    for _ in range(500):
        answer = await client.get(ASK, params={"at": at})
        if answer.status_code != 200:
            return answer
        await asyncio.sleep(0.02)
    raise AssertionError("it never came")


def test_a_slow_page_is_announced_and_then_handed_over_once(slow: Slow) -> None:
    """The browser is told within a moment, asks, is sent on, and the page was worked out once."""

    async def story(client: httpx.AsyncClient) -> None:
        assert "being worked out" in (await client.get("/slow?a=1", headers=BROWSER)).text
        assert "so far" in (await client.get(ASK, params={"at": "/slow?a=1"})).text
        slow.let.set()
        assert (await wait(client, "/slow?a=1")).headers["HX-Redirect"] == "/slow?a=1"
        last = await client.get("/slow?a=1", headers=BROWSER)
        assert last.text == "at last a=1"
        assert last.headers["X-Own"] == "kept"
        assert len(slow.asked) == 1

    slow.run(story)


@pytest.mark.parametrize("name", ["session", "__Host-session"])
def test_what_was_worked_out_for_one_is_given_to_no_other(slow: Slow, name: str) -> None:
    """Another session gets a page of its own; an address elsewhere is never sent on to."""

    async def story(client: httpx.AsyncClient) -> None:
        await client.get("/slow", headers={**BROWSER, "cookie": f"{name}=one"})
        slow.let.set()
        await wait(client, "/slow")
        assert (await client.get("/slow", headers={**BROWSER, "cookie": f"{name}=two"})).text == "at last "
        assert slow.asked == [f"{name}=one", f"{name}=two"]
        answer = await client.get(ASK, params={"at": "//elsewhere.test/"})
        assert answer.headers["HX-Redirect"] == "/"

    slow.run(story)


def test_programs_and_quick_pages_are_not_held_up(slow: Slow) -> None:
    """Whoever does not ask for HTML waits for the answer itself; a quick page comes as it is."""

    async def story(client: httpx.AsyncClient) -> None:
        assert (await client.get("/quick", headers=BROWSER)).text == "quick"
        threading.Timer(0.3, slow.let.set).start()
        assert (await client.get("/slow")).text == "at last "

    slow.run(story)


def test_an_answer_is_made_once_and_again_when_its_stamp_changes() -> None:
    """Two threads that want the same make it once; other keys do not wait; an error keeps nothing."""
    memo, made, gate = Memo(), [], threading.Event()

    def make() -> int:
        gate.wait(10)
        made.append(1)
        return len(made)

    threads = [threading.Thread(target=memo.get, args=("a", 1, make)) for _ in range(2)]
    for thread in threads:
        thread.start()
    assert memo.get("b", 1, lambda: "at once") == "at once"
    gate.set()
    for thread in threads:
        thread.join(10)
    assert len(made) == 1
    assert memo.get("a", 1, make) == 1
    assert memo.get("a", 2, make) == 2
    with pytest.raises(ZeroDivisionError):
        memo.get("c", 1, lambda: 1 // 0)
    assert memo.get("c", 1, lambda: 5) == 5


def test_what_pages_ask_for_is_worked_out_beforehand(workshop: Workshop) -> None:
    """After a change the slow answers are there before anybody asks; closing stops it."""
    ahead = Ahead(quiet=0.01)
    ahead.changed(workshop)
    end = time.monotonic() + 60
    while ("worn", "gannet") not in {(str(k[0]).split()[0], k[1]) for k in workshop.memo.kept()}:
        assert time.monotonic() < end
        time.sleep(0.05)
    ahead.close()
