"""Several processes on one socket: any of them answers for a job, and one that dies is replaced."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
import pytest

from crashworthy.store.engine import open_store
from crashworthy.store.jobs import JobBook

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.skipif(not Path("/proc").is_dir(), reason="needs to see its processes")


def children(pid: int) -> list[int]:
    """Processes that a process started and that run."""
    return [int(x) for x in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


@pytest.fixture
def two(fleet_folder: Path, tmp_path: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Address of a server of two workers over the demo fleet."""
    words = [sys.executable, "-m", "crashworthy", "serve", "--workers", "2", "--port", "0"]
    words += ["--no-browser", "--json", "--data", str(fleet_folder)]
    with (tmp_path / "out").open("w") as out, (tmp_path / "err").open("w") as err:
        process = subprocess.Popen(words, stdout=out, stderr=err, text=True)
        deadline = time.monotonic() + 60
        while not (said := (tmp_path / "out").read_text()).strip().endswith("}"):
            assert process.poll() is None, (tmp_path / "err").read_text()
            assert time.monotonic() < deadline, "no address within 60 s"
            time.sleep(0.1)
        yield json.loads(said)["address"].rstrip("/"), process
        process.terminate()
        assert process.wait(30) == 0, (tmp_path / "err").read_text()


def ask(method: str, address: str, **more: Any) -> httpx.Response:
    """Ask on a new connection, so that any worker may answer."""
    return httpx.request(method, address, timeout=60, follow_redirects=False, **more)


def test_a_job_outlives_its_worker_and_any_worker_answers(
    two: tuple[str, subprocess.Popen[str]], fleet_folder: Path
) -> None:
    """The worker that runs a campaign is killed; another goes on with it, and any of them tells how far."""
    address, parent = two
    form = {"n": "30000", "seed": "77"}
    answer = ask("POST", f"{address}/quads/gannet/crash", data=form)
    assert answer.status_code == 303, answer.text
    job = answer.headers["location"].partition("job=")[2]
    with open_store(fleet_folder / "fleet.db") as store:
        book = JobBook(store)
        deadline = time.monotonic() + 60
        while (row := book.get(job)).state != "running" or row.done == 0:
            assert time.monotonic() < deadline, row
            time.sleep(0.1)
        owner = int(row.owner.split("/")[1])
        before = children(parent.pid)
        assert owner in before
        assert {ask("GET", f"{address}/api/jobs/{job}").json()["state"] for _ in range(12)} == {"running"}
        os.kill(owner, signal.SIGKILL)
        while (row := book.get(job)).tries != 2 or row.state != "running":
            assert time.monotonic() < deadline, row
            time.sleep(0.1)
        assert int(row.owner.split("/")[1]) != owner
        while len([c for c in children(parent.pid) if c != owner]) < len(before):
            assert time.monotonic() < deadline, "the dead worker was not replaced"
            time.sleep(0.1)
        assert ask("POST", f"{address}/jobs/{job}/cancel").status_code == 200
        while (state := ask("GET", f"{address}/api/jobs/{job}").json()["state"]) != "cancelled":
            assert state == "running"
            assert time.monotonic() < deadline, state
            time.sleep(0.1)
