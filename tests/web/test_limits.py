"""Whatever is sent, the server keeps its room and its head, and says what was wrong."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import zipfile
from typing import TYPE_CHECKING
from uuid import UUID

import httpx
import pytest
import sqlalchemy as sa

from crashworthy.build.models import read_mesh
from crashworthy.errors import DrawingError, StoreError
from crashworthy.store import folder as folder_room
from crashworthy.store.engine import open_store
from crashworthy.store.photos import keep_photo

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.workshop import Workshop


def bomb(name: str = "3D/3dmodel.model", size: int = 300_000_000) -> bytes:
    """A small archive that says it holds a lot."""
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive,
        archive.open(name, "w") as f,
    ):
        block = bytes(1 << 20)
        for _ in range(size >> 20):
            f.write(block)
    return packed.getvalue()


def names(root: Path) -> set[str]:
    """Every file below a folder."""
    return {str(p.relative_to(root)) for p in root.rglob("*") if p.is_file() and "fleet.db" not in p.name}


@pytest.mark.parametrize(
    "name",
    [
        "../../evil.stl",
        "..\\evil.stl",
        "/etc/evil.stl",
        "a/b.stl",
        "x.stl\0.png",
        ".stl",
        "x" * 300 + ".stl",
    ],
)
def test_no_name_of_a_drawing_leads_out_of_its_folder(
    client: httpx.Client, shop: Workshop, name: str
) -> None:
    """A name with a way in it is refused, and no file appears anywhere."""
    root = shop.folder.root
    before, beside = names(root), set(root.parent.iterdir())
    answer = client.post("/quads/gannet/drawings", files={"file": (name, b"solid x\nendsolid x\n")})
    assert answer.status_code in (400, 422), answer.text
    assert names(root) == before
    assert set(root.parent.iterdir()) == beside


@pytest.mark.parametrize(
    "name", ["../../../evil.csv", "..\\..\\evil.csv", "/etc/passwd", "\x00", "con", "x" * 4000]
)
def test_no_name_of_a_log_leads_out_of_its_folder(client: httpx.Client, shop: Workshop, name: str) -> None:
    """A log is kept under its digest in the folder of logs, or refused; never anywhere else."""
    root = shop.folder.root
    before = names(root)
    answer = client.post("/quads/gannet/flights", files={"file": (name, b"\xff\xfe no log")})
    assert answer.status_code in (400, 422)
    assert all(new.startswith("logs/") for new in names(root) - before)


def test_a_part_that_unpacks_to_too_much_is_refused(tmp_path: Path) -> None:
    """A 3MF of 300 kB that unpacks to 300 MB is told by its table of contents and never unpacked."""
    data = bomb()
    assert len(data) < 1_000_000
    (tmp_path / "big.3mf").write_bytes(data)
    with pytest.raises(DrawingError, match="larger than 50 MB"):
        read_mesh(tmp_path / "big.3mf")


def test_drawings_are_limited_in_size_and_number(
    client: httpx.Client, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that is too large, and one too many, are refused in words."""
    monkeypatch.setattr(folder_room, "DRAWING_LIMIT", 1000)
    large = client.post("/quads/gannet/drawings", files={"file": ("large.stl", bytes(1001))})
    assert large.status_code == 400
    assert "a drawing may have" in large.text
    monkeypatch.setattr(folder_room, "MOST_DRAWINGS", len(list(shop.folder.drawings("gannet").iterdir())))
    more = client.post("/quads/gannet/drawings", files={"file": ("more.stl", b"x")})
    assert more.status_code == 400
    assert "drawings already" in more.text


def test_logs_are_limited_and_nothing_is_left_of_a_refused_one(
    client: httpx.Client, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A log that is too large, and one for which the folder has no room, leave no half file."""
    before = names(shop.folder.root)
    monkeypatch.setattr(folder_room, "LOG_LIMIT", 1000)
    answer = client.post("/quads/gannet/flights", files={"file": ("long.csv", bytes(5000))})
    assert answer.status_code == 400
    assert "cut the log" in answer.text
    monkeypatch.setattr(folder_room, "LOG_LIMIT", 10_000)
    monkeypatch.setattr(folder_room, "LOGS_LIMIT", 100)
    answer = client.post("/quads/gannet/flights", files={"file": ("long.csv", bytes(5000))})
    assert "move old ones away" in answer.text
    assert names(shop.folder.root) == before


def test_sound_that_promises_hours_is_refused(client: httpx.Client) -> None:
    """A WAV whose header announces more than can be there, or too much, is told so."""
    head = b"RIFF\xff\xff\xff\x7fWAVEfmt \x10\0\0\0\x01\0\x01\0\x80\xbb\0\0\0w\x01\0\x02\0\x10\0"
    head += b"data\xf0\xff\xff\x7f"
    answer = client.post(
        "/quads/gannet/flights/tap", data={"part": "arm_fl"}, files={"file": ("a.wav", head + bytes(400))}
    )
    assert answer.status_code in (400, 422)


def test_many_files_of_counts_are_refused(client: httpx.Client) -> None:
    """Counts of more than thirty others at once are not read."""
    answer = client.post("/crew", files=[("counts", (f"{k}.json", b"{}")) for k in range(31)])
    assert answer.status_code == 413
    # More parts than a form may have end the same way, before the page sees them.
    assert client.post("/crew", files=[("counts", ("x", b""))] * 1500).status_code == 400


@pytest.mark.parametrize(
    "data",
    [
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + (60_000).to_bytes(4) * 2 + bytes(40),
        b"\xff\xd8\xff\xe0\0\x04\0\0\xff\xc0\0\x11\x08\xff\xff\xff\xff" + bytes(40),
        b"RIFF\0\0\0\0WEBPVP8X\n\0\0\0\0\0\0\0\xff\xff\xff\xff\xff\xff" + bytes(40),
        b"RIFF\0\0\0\0WEBPVP8L\n\0\0\0\x2f\xff\xff\xff\xff" + bytes(40),
    ],
    ids=["png", "jpeg", "webp", "webp-lossless"],
)
def test_a_picture_that_would_fill_a_phone_is_refused(tmp_path: Path, data: bytes) -> None:
    """A small file that announces more than a hundred million pixels is not kept."""
    (tmp_path / "p").write_bytes(data)
    with pytest.raises(StoreError):
        keep_photo(tmp_path / "data", tmp_path / "p")


def entries(first: int, count: int) -> list[dict[str, object]]:
    """Entries as a phone sends them."""
    return [
        {
            "id": str(UUID(int=(7 << 76) | (2 << 62) | k)),
            "quad": "gannet",
            "device": "full-disk-phone",
            "device_seq": k,
            "kind": "note",
            "occurred": "2026-06-01T10:00:00.000+00:00",
            "payload": {"text": "x" * 400},
        }
        for k in range(first, first + count)
    ]


def test_on_a_full_disk_phones_keep_their_entries_and_pages_answer(
    client: httpx.Client, shop: Workshop
) -> None:
    """A full disk is "later" (507), not a refusal; what was acknowledged is there; with room it goes on."""
    store, tight = shop.store, [True]
    store.engine.dispose()

    def small_disk(connection: sa.engine.interfaces.DBAPIConnection, _record: object) -> None:
        if tight[0]:
            cursor = connection.cursor()
            pages = cursor.execute("PRAGMA page_count").fetchone()[0]
            cursor.execute(f"PRAGMA max_page_count={pages + 4}")
            cursor.close()

    sa.event.listen(store.engine, "connect", small_disk)
    known: set[str] = set()
    try:
        for k in range(1, 2000, 20):
            answer = client.post("/api/events", json={"events": entries(k, 20)})
            if answer.status_code != 200:
                break
            known.update(answer.json()["accepted"])
        assert answer.status_code == 507
        assert "the disk is full" in answer.text
        assert client.get("/quads/gannet/field").status_code == 200
        assert client.get("/api/quads/gannet/due").status_code == 200
    finally:
        tight[0] = False
        sa.event.remove(store.engine, "connect", small_disk)
        store.engine.dispose()
    assert known <= {str(e.id) for e in store.events("gannet")}
    again = client.post("/api/events", json={"events": entries(k, 20)})
    assert again.status_code == 200
    assert len(again.json()["accepted"]) == 20
    assert store.verify().ok


FILLER = """
import resource, sys
from crashworthy.build.models import read_mesh
from crashworthy.errors import DrawingError, StoreError
from crashworthy.store.engine import open_store
from crashworthy.upkeep.payloads import Note
with open_store(sys.argv[1]) as store:
    resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, 2_000_000))
    try:
        for _ in range(5000):
            (event,) = store.record("gannet", Note("x" * 400))
            print(event.id, flush=True)
    except StoreError as error:
        print("said:", error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there are no limits of file size")
def test_the_system_refusing_to_write_loses_nothing_acknowledged(tmp_path: Path) -> None:
    """When the operating system stops the writes, it is one message, and the store opens with all of it."""
    path = tmp_path / "fleet.db"
    done = subprocess.run(
        [sys.executable, "-c", FILLER, str(path)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=os.environ,
    )
    *told, last = done.stdout.splitlines()
    assert last.startswith("said:"), done.stderr
    assert "disk" in last
    assert len(told) > 50
    with open_store(path) as store:
        assert {UUID(line) for line in told} <= {e.id for e in store.events()}
        assert store.verify().ok
