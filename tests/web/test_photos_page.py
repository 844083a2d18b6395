"""Pictures by web: taken, stripped, shown at the entry and at the part, taken back."""

from __future__ import annotations

import asyncio
import struct
import zlib
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import httpx
import pytest

from crashworthy.build.starter import starter
from crashworthy.web.app import create_app
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SITE = "http://localhost"


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def picture(grey: int) -> bytes:
    """A PNG of 4 x 3 pixels with a place in it."""
    return (
        b"\x89PNG\r\n\x1a\n"
        + _chunk(b"IHDR", struct.pack(">IIBBBBB", 4, 3, 8, 0, 0, 0, 0))
        + _chunk(b"tEXt", b"Place\x0051.4778 N")
        + _chunk(b"IDAT", zlib.compress(b"".join(b"\0" + bytes([grey] * 4) for _ in range(3))))
        + _chunk(b"IEND", b"")
    )


class Site:
    """One quad behind the app, asked without a socket."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop
        self.transport = httpx.ASGITransport(create_app(shop))

    def ask(
        self, method: str, path: str, origin: str = SITE, content: bytes = b"", kind: str = ""
    ) -> httpx.Response:
        """Send one request."""
        headers = {"origin": origin} | ({"content-type": kind} if kind else {})

        async def sent() -> httpx.Response:
            async with httpx.AsyncClient(transport=self.transport, base_url=SITE) as client:
                return await client.request(method, path, headers=headers, content=content)

        with ThreadPoolExecutor(1) as own:  # a browser under test has a loop in this thread
            return own.submit(lambda: asyncio.run(sent())).result()

    def post(self, *pictures: bytes, origin: str = SITE, **fields: str) -> httpx.Response:
        """Send the form as a browser does: the file field that was left empty comes along."""
        parts = [f'name="{name}"\r\n\r\n{value}'.encode() for name, value in fields.items()]
        parts += [
            b'name="files"; filename="%b"\r\nContent-Type: application/octet-stream\r\n\r\n%b' % (name, data)
            for name, data in [(b"", b""), *((b"crack.png", d) for d in pictures)]
        ]
        body = b"".join(b"--x\r\nContent-Disposition: form-data; %b\r\n" % p for p in parts) + b"--x--\r\n"
        return self.ask("POST", "/quads/gannet/photos", origin, body, "multipart/form-data; boundary=x")


@pytest.fixture(scope="module")
def gannet(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A starter quad on a page."""
    folder: Path = tmp_path_factory.mktemp("photos")
    with Workshop(folder) as shop:
        assert shop.add_quad(starter("Gannet")) == "gannet"
        yield Site(shop)


def test_a_picture_is_kept_without_its_place_and_served_as_what_it_is(gannet: Site) -> None:
    """It leads back to its entry, shows there with its size, and comes as image/png, not to be guessed at."""
    answer = gannet.post(picture(10), text="the root")
    assert answer.status_code == 303
    address, _, entry = answer.headers["location"].partition("#")
    text = gannet.ask("GET", address).text
    row = text[text.index(f'id="{entry}"') :].partition("</li>")[0]
    name = row.partition('src="/photos/')[2].partition('"')[0]
    assert 'width="4" height="3" loading="lazy"' in row
    assert "the root" in row
    kept = gannet.ask("GET", f"/photos/{name}")
    assert kept.headers["content-type"] == "image/png"
    assert kept.headers["x-content-type-options"] == "nosniff"
    assert "private" in kept.headers["cache-control"]
    assert b"51.4778" not in kept.content


def test_a_picture_of_a_part_stands_in_its_row_until_it_is_taken_back(gannet: Site) -> None:
    """Lives shows it at the part; after a retraction it is in neither place."""
    answer = gannet.post(picture(20), picture(21), part="arm_fl", back="lives")
    assert answer.headers["location"] == "/quads/gannet/lives#p-arm_fl"
    events = [e for e in gannet.shop.events("gannet") if e.kind == "photo"][:2]
    lives = gannet.ask("GET", "/quads/gannet/lives").text
    row = lives[lives.index('id="p-arm_fl"') :].partition("</tr>")[0]
    for event in events:
        source = f'src="/photos/{event.payload.file}"'  # type: ignore[attr-defined] # by its kind
        assert source in row
        gannet.shop.undo(event.id)
        assert source not in gannet.ask("GET", "/quads/gannet/lives").text
        assert source not in gannet.ask("GET", "/quads/gannet/journal").text


def test_what_is_no_picture_is_refused_in_words(gannet: Site) -> None:
    """Another file under that name, no file, no such part and a foreign page get nothing in."""
    before = len(gannet.shop.events("gannet"))
    bad = gannet.post(b"<svg onload='x()'/>")
    assert bad.status_code == 400
    assert "is no JPEG, PNG or WebP" in bad.text
    none = gannet.post()
    assert none.status_code == 400
    assert "no picture came" in none.text
    assert gannet.post(picture(30), part="wing").status_code == 404
    assert gannet.post(picture(30), origin="http://elsewhere.test").status_code == 403
    assert len(gannet.shop.events("gannet")) == before
