"""What the guard lets through, what it refuses, and that a refusal tells nothing."""

from __future__ import annotations

import asyncio
import re
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.datastructures import Headers

from crashworthy.web.app import create_app
from crashworthy.web.security import Guard, host_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    import httpx
    from starlette.types import ASGIApp, Message

    from crashworthy.workshop import Workshop


def test_pages_may_only_load_from_their_own_origin(client: httpx.Client) -> None:
    """Every answer, good or bad, carries the content policy and its companions."""
    for path in ("/", "/static/app.css", "/nope", "/api/fleet"):
        headers = client.get(path).headers
        assert headers["content-security-policy"].startswith("default-src 'self'"), path
        assert "unsafe" not in headers["content-security-policy"], path
        assert headers["x-content-type-options"] == "nosniff", path
        assert headers["referrer-policy"] == "no-referrer", path


def test_other_host_names_are_refused_and_told_nothing(client: httpx.Client, shop: Workshop) -> None:
    """A rebound name gets 421 without a word about the fleet, on pages, files and the API."""
    for path in ("/", "/static/app.css", "/api/fleet", "/quads/gannet/field"):
        answer = client.get(path, headers={"host": "evil.example:80"})
        assert answer.status_code == 421, path
        assert not any(name in answer.text for name in shop.names().values()), path


def test_own_names_are_answered_on_any_port(client: httpx.Client) -> None:
    """Loopback names work with and without a port."""
    for host in ("127.0.0.1", "localhost:8765", "[::1]:9", "LOCALHOST"):
        assert client.get("/static/app.css", headers={"host": host}).status_code == 200, host


def ask(
    app: ASGIApp, path: str, host: str, pieces: Sequence[bytes] = (), kind: str = "", length: str = ""
) -> tuple[int, str]:
    """Ask an app without a server: status and body. A body in pieces has no announced length."""
    told: list[Message] = []
    waiting = [{"type": "http.request", "body": p, "more_body": True} for p in pieces]

    async def receive() -> Message:
        return waiting.pop(0) if waiting else {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        told.append(message)

    headers = [(b"host", host.encode()), (b"content-type", kind.encode())]
    if length:
        headers.append((b"content-length", length.encode()))
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST" if pieces else "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": headers,
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 80),
    }
    # In a thread of its own: the browser tests keep an event loop running in this one.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(lambda: asyncio.run(app(scope, receive, send))).result(timeout=30)
    body = b"".join(m.get("body", b"") for m in told)
    return int(told[0]["status"]), body.decode()


def test_further_names_can_be_allowed(shop: Workshop) -> None:
    """A name given to the app is answered, and then only that."""
    app = create_app(shop, hosts=("field.test",))
    assert ask(app, "/static/plot.css", "field.test")[0] == 200
    assert ask(app, "/static/plot.css", "127.0.0.1")[0] == 421


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://127.0.0.1:1"}, 403),
        ({"sec-fetch-site": "same-origin"}, 422),
        ({"origin": "own"}, 422),
        ({}, 422),
    ],
)
def test_changes_from_other_origins_are_refused(
    client: httpx.Client, headers: dict[str, str], status: int
) -> None:
    """An unsafe request must come from this origin; what passes the guard then fails only on its content."""
    headers = {k: str(client.base_url).rstrip("/") if v == "own" else v for k, v in headers.items()}
    answer = client.post("/api/quads/gannet/events", json={"id": "x"}, headers=headers)
    assert answer.status_code == status


def test_reading_is_open_to_links_from_elsewhere(client: httpx.Client) -> None:
    """A link from another site may open a page, for it changes nothing."""
    assert client.get("/", headers={"sec-fetch-site": "cross-site"}).status_code == 200


def test_a_body_over_the_limit_is_refused_by_its_announced_size(shop: Workshop) -> None:
    """Content-Length over the limit gives 413 in words, before the body is read."""
    status, text = ask(create_app(shop), "/quads/gannet/flights", "127.0.0.1", [b"x"], length="9000000000")
    assert status == 413
    assert "too large" in text


def test_a_body_over_the_limit_is_refused_while_it_streams(shop: Workshop) -> None:
    """Without an announced size the limit holds all the same."""
    head = b'--b\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\n'
    status, text = ask(
        create_app(shop, upload_limit=1_000_000),
        "/quads/gannet/flights",
        "127.0.0.1",
        [head, *[b"0" * 100_000] * 20],
        "multipart/form-data; boundary=b",
    )
    assert status == 413
    assert "too large" in text


@pytest.mark.parametrize("length", ["-1", "1e3", "ten"])
def test_an_odd_length_is_refused(shop: Workshop, length: str) -> None:
    """A Content-Length that is no number gives 400, not a crash."""
    assert ask(create_app(shop), "/quads/gannet/flights", "127.0.0.1", [b"x"], length=length)[0] == 400


@given(st.text(min_size=0, max_size=60))
def test_any_host_header_is_cut_without_failing(host: str) -> None:
    """Whatever stands in Host, the name is found or differs from every allowed one; nothing is raised."""
    name = host_name(host)
    assert isinstance(name, str)
    if name in ("127.0.0.1", "localhost"):
        assert host.lower().startswith(name)


WIRE = st.text(st.characters(max_codepoint=255, categories=["L", "N", "P"]), max_size=20)


@given(st.sampled_from(["POST", "PUT", "DELETE", "PATCH"]), WIRE, WIRE)
def test_only_equal_origins_pass_without_fetch_metadata(method: str, origin: str, host: str) -> None:
    """Without Sec-Fetch-Site an unsafe request passes only when Origin names the very Host."""
    guard = Guard(None, refuse=None, hosts=(host_name(host),))  # type: ignore[arg-type] # only asked, never called
    passed = guard._refusal(method, Headers({"host": host, "origin": f"http://{origin}"}), 10) == 0
    same = re.split(r"[/?#]", origin, maxsplit=1)[0].lower() == host.lower()
    assert not passed or same
    if same and "[" not in host and "]" not in host and not re.search(r"[/?#]", host) and host.isascii():
        assert passed
