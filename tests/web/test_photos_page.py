"""Pictures by web: taken, stripped, shown at the entry and at the part, taken back."""

from __future__ import annotations

import asyncio
import hashlib
import io
import json
import os
import struct
import time
import uuid
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


def send(site: Site, data: bytes, **said: object) -> httpx.Response:
    """A picture and its entry as a phone sends them."""
    entry = {"id": str(uuid.UUID(int=7)), "quad": "gannet", "device": "phone", "device_seq": 1}
    entry |= {"occurred": "2026-06-01T10:00:00.000+00:00", "text": "Crash, slam"} | said
    body = b"".join(
        b'--x\r\nContent-Disposition: form-data; name="%b"%b\r\n\r\n%b\r\n' % part
        for part in (
            (b"entry", b"", json.dumps(entry).encode()),
            (b"file", b'; filename="picture"\r\nContent-Type: image/png', data),
        )
    )
    return site.ask("POST", "/api/photos", SITE, body + b"--x--\r\n", "multipart/form-data; boundary=x")


def test_a_picture_that_a_phone_sends_twice_is_one_entry_and_one_file(gannet: Site) -> None:
    """The receipt is the digest of what came; an answer that was lost and the next name one entry."""
    data = picture(40)
    first, again = send(gannet, data), send(gannet, data)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.json()["received"] == hashlib.sha256(data).hexdigest()
    assert first.json()["bytes"] == len(data)
    (event,) = [e for e in gannet.shop.store.events("gannet") if e.id.int == 7]
    assert (event.kind, event.device, event.device_seq) == ("photo", "phone", 1)
    kept = gannet.shop.photo(event.payload.file)  # type: ignore[attr-defined] # by its kind
    assert kept is not None
    assert b"51.4778" not in kept.read_bytes()
    kept.unlink()  # the folder was lost, the journal not: the phone's copy brings it back
    assert send(gannet, data).status_code == 200
    assert gannet.shop.photo_state().missing == ()


@pytest.mark.parametrize(
    ("data", "said", "status", "words"),
    [
        (b"no picture", {}, 400, "is no JPEG"),
        (b"", {}, 400, "is no JPEG"),
        (picture(41), {"quad": "heron"}, 404, "no quad"),
        (picture(41), {"part": "wing"}, 404, "wing"),
        (picture(41), {"id": "x"}, 422, "id"),
        (picture(41), {"device_seq": 0}, 422, "device_seq"),
        (picture(41), {"occurred": "yesterday"}, 422, "occurred"),
        (picture(41), {"id": str(uuid.UUID(int=8))}, 422, "belongs to another event"),
        (bytes(22 * 1024 * 1024), {}, 413, "too large"),
    ],
)
def test_a_picture_that_cannot_be_taken_is_refused_for_good_and_leaves_nothing(
    gannet: Site, data: bytes, said: dict[str, object], status: int, words: str
) -> None:
    """Status 4xx with the reason: a phone then asks its pilot and does not try again by itself."""
    send(gannet, picture(40))
    before = {p.name for p in (gannet.shop.folder.root / "photos").iterdir()}, gannet.shop.store.count()
    answer = send(gannet, data, **said)
    assert answer.status_code == status, answer.text
    assert words in answer.text
    after = {p.name for p in (gannet.shop.folder.root / "photos").iterdir()}, gannet.shop.store.count()
    assert after[1] == before[1]
    if "belongs" not in words:
        assert after == before


def test_pictures_taken_back_are_counted_and_tidied_away_after_their_time(gannet: Site) -> None:
    """A file goes only when no entry speaks of it for so long; a changed one is told."""
    shop = gannet.shop
    shop.tidy_photos(0)
    keep, back, late = (shop.keep_photo("gannet", io.BytesIO(picture(g))) for g in (50, 51, 52))
    folder = shop.folder.root / "photos"
    shop.undo(back.id)
    shop.undo(late.id)
    name = {e: e.payload.file for e in (keep, back, late)}  # type: ignore[attr-defined] # by its kind
    stray = dict(shop.photo_state().stray)
    assert set(stray) >= {name[back], name[late]}
    assert name[keep] not in stray
    assert "journal tidy" in shop.photo_state().summary()
    assert shop.tidy_photos(30) == ()
    long_ago = time.time() - 40 * 86400
    for file in folder.iterdir():
        os.utime(file, (long_ago, long_ago))
    assert shop.tidy_photos(30) == ()  # old files, but taken back just now
    assert {n for n, _ in shop.tidy_photos(0)} == set(stray)
    assert {name[keep]} <= {p.name for p in folder.iterdir()}
    assert shop.photo_state().stray == ()
    assert shop.photo_state().ok
    (folder / name[keep]).write_bytes(picture(53))
    assert shop.photo_state().changed == (name[keep],)
    (folder / name[keep]).unlink()
    assert name[keep] in shop.photo_state().missing


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
