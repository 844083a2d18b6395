"""A server whose disk is really full loses nothing acknowledged, says so, and goes on with room."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
import pytest

from crashworthy.workshop.hall import Hall
from crashworthy.workshop.hall_backup import verify_hall

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SECRET = "a quarry at noon"  # noqa: S105 - of people who do not exist
SMALL = 3 * 1024 * 1024
LINUX = sys.platform == "linux"


@dataclass
class Disk:
    """A folder in which a server finds little room, and what gives it more."""

    folder: Path
    limit: Callable[[int], None] = lambda _pid: None  # told the process of the server once it runs
    widen: Callable[[int], None] = lambda _pid: None


def mounted(folder: Path) -> bool:
    """Put a small file system of its own there; only root may."""
    if os.geteuid() != 0:
        return False
    words = ["mount", "-t", "tmpfs", "-o", f"size={SMALL}", "tmpfs", str(folder)]
    return subprocess.run(words, capture_output=True, check=False).returncode == 0


def file_limit(pid: int, size: int | None) -> None:
    """From now on the system refuses this process every byte of a file beyond ``size``."""
    import resource

    hard = resource.prlimit(pid, resource.RLIMIT_FSIZE)[1]
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (hard if size is None else size, hard))


@pytest.fixture(params=["file system", "limit"])
def disk(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Disk]:
    """A small file system where one may be mounted, else a limit the system puts on the server's files."""
    folder = tmp_path / "small"
    folder.mkdir()
    if request.param == "file system" and mounted(folder):
        ballast = folder / "ballast"
        ballast.write_bytes(bytes(SMALL // 3))
        try:
            yield Disk(folder, widen=lambda _pid: ballast.unlink())
        finally:
            subprocess.run(["umount", "-l", str(folder)], check=True)
    else:
        size = 700_000
        yield Disk(folder, lambda pid: file_limit(pid, size), lambda pid: file_limit(pid, None))


class Server:
    """``crashworthy serve --accounts`` in a process of its own."""

    def __init__(self, disk: Disk, log: Path) -> None:
        words = [sys.executable, "-m", "crashworthy", "serve", "--accounts", "--port", "0", "--no-browser"]
        words += ["--json", "--data", str(disk.folder)]
        with log.open("a") as told:
            self.process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=told, text=True)
        assert self.process.stdout is not None
        said: list[str] = []

        def read() -> None:
            for line in self.process.stdout or ():
                said.append(line)
                if line.startswith("}"):
                    return

        reader = threading.Thread(target=read, daemon=True)
        reader.start()
        reader.join(60)
        try:
            self.address = json.loads("".join(said))["address"].rstrip("/")
        except ValueError:
            self.end()
            raise AssertionError(log.read_text()) from None

    def end(self) -> None:
        """As a flat battery would."""
        self.process.kill()
        self.process.wait(20)
        assert self.process.stdout is not None
        self.process.stdout.close()


def entries(first: int, count: int) -> list[dict[str, Any]]:
    """Notes of a phone, each of half a kilobyte."""
    return [
        {
            "id": f"01900000-0000-7000-8000-{k:012x}",
            "quad": "gannet",
            "device": "phone-1",
            "device_seq": k,
            "kind": "note",
            "occurred": "2026-06-01T10:00:00.000+00:00",
            "payload": {"text": f"{k} " + "x" * 400},
        }
        for k in range(first, first + count)
    ]


def pixels() -> bytes:
    """A picture of 40 kB that no compression makes smaller."""
    import struct
    import zlib

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    rows = b"".join(b"\0" + os.urandom(3 * 120) for _ in range(120))
    head = struct.pack(">IIBBBBB", 120, 120, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows, 1))
        + chunk(b"IEND", b"")
    )


@pytest.mark.skipif(not LINUX, reason="only there can a running server be given a limit; see test_limits")
def test_nothing_acknowledged_is_lost_on_a_disk_that_is_really_full(
    disk: Disk, gannet_sheet: Path, tmp_path: Path
) -> None:
    """Phones sync until the system refuses to write; the answer says why; with room all of it goes on."""
    with Hall(disk.folder) as hall:
        home = hall.accounts.add_crew("Millrace")
        hall.accounts.add_person("robin", SECRET, home, "lead")
        guest = hall.accounts.who(hall.accounts.sign_in("robin", SECRET, "here"))
        assert guest is not None
        token = hall.accounts.make_device(guest, "phone 1")
        hall.workshop_of(home).add_quad(gannet_sheet.read_text(encoding="utf-8"), gannet_sheet)
    key = {"Authorization": f"Bearer {token}"}
    log = tmp_path / "server.log"
    server = Server(disk, log)
    known: set[str] = set()
    try:
        disk.limit(server.process.pid)
        with httpx.Client(base_url=server.address, headers=key, timeout=60) as client:

            def send(first: int, count: int) -> httpx.Response:
                answer = client.post("/api/events", json={"events": entries(first, count)})
                if answer.status_code == 200:
                    known.update(answer.json()["accepted"], answer.json()["duplicate"])
                return answer

            full = 0
            for first in range(1, 20_001, 20):
                answer = send(first, 20)
                if answer.status_code != 200:
                    full = first
                    break
            assert full > 20, "the disk was never full"
            assert answer.status_code in (503, 507), answer.text
            said = answer.json()["problems"][0]
            assert "disk" in said["what"], said
            assert said["remedy"]
            for k in range(3):  # it stays "later" for as long as there is no room, one by one too
                assert send(full + k, 1).status_code in (200, 503, 507)
            picture = client.post("/quads/gannet/photos", files={"files": ("a.png", pixels(), "image/png")})
            assert picture.status_code in (503, 507), picture.text
            for path in ("/quads/gannet/journal", "/quads/gannet/field", "/api/quads/gannet/due", "/people"):
                assert client.get(path).status_code == 200, path
            form = {"name": "robin", "password": SECRET}
            assert client.post("/sign-in", data=form).status_code in (303, 503, 507)
        server.end()  # killed on a full disk, and started on it again
        server = Server(disk, log)
        disk.limit(server.process.pid)
        with httpx.Client(base_url=server.address, headers=key, timeout=60) as client:
            assert client.get("/quads/gannet/journal").status_code == 200
            with Hall(disk.folder) as hall:  # read by another process meanwhile
                assert known <= {str(e.id) for e in hall.workshop_of(home).store.events()}
            disk.widen(server.process.pid)
            again = client.post("/api/events", json={"events": entries(full, 20)})
            assert again.status_code == 200, again.text
            known.update(again.json()["accepted"], again.json()["duplicate"])
            assert {e["id"] for e in entries(full, 20)} <= known
            picture = client.post("/quads/gannet/photos", files={"files": ("a.png", pixels(), "image/png")})
            assert picture.status_code == 303, picture.text
    finally:
        server.end()
    with Hall(disk.folder) as hall:
        assert verify_hall(hall).ok
        shop = hall.workshop_of(home)
        assert known <= {str(e.id) for e in shop.store.events()}
        left = [p for p in (disk.folder / "photos").iterdir() if p.suffix != ".png"]
        assert left == [], "half a picture was left"
    assert "Traceback" not in log.read_text()
