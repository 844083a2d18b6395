"""A campaign on a cluster of two worker processes has the bytes of one run in this process."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from crashworthy.errors import CrashworthyError
from crashworthy.impact.campaign import simulate
from crashworthy.jobs.cluster import Cluster, engine_of_this_process
from crashworthy.jobs.executor import executor_for
from crashworthy.store.chunks import ChunkStore

START = 25.0


@dataclass
class Processes:
    """A scheduler and its workers, each a process of its own."""

    address: str
    workers: list[subprocess.Popen[str]]


def start(*words: str) -> subprocess.Popen[str]:
    """Start one process of the cluster; what it says comes through a pipe."""
    env = {**os.environ, "DASK_DISTRIBUTED__WORKER__DAEMON": "false"}
    return subprocess.Popen(
        [sys.executable, *words], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=env
    )


def wait_for(process: subprocess.Popen[str], pattern: str) -> str:
    """What the first line that fits the pattern gives; the rest is read away in the background."""
    end = time.monotonic() + START
    assert process.stderr is not None
    for line in process.stderr:
        found = re.search(pattern, line)
        if found:
            threading.Thread(target=lambda: [None for _ in process.stderr or ()], daemon=True).start()
            return found.group(1)
        if time.monotonic() > end:
            break
    raise AssertionError(f"the cluster did not say {pattern}")


@pytest.fixture
def cluster(tmp_path) -> Iterator[Processes]:
    """A scheduler and two workers without a nanny, so that who is killed stays dead."""
    common = ("--host", "127.0.0.1", "--no-dashboard")
    scheduler = start("-m", "distributed.cli.dask_scheduler", "--port", "0", *common)
    workers: list[subprocess.Popen[str]] = []
    try:
        address = wait_for(scheduler, r"Scheduler at:\s+(tcp://\S+)")
        words = ("-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny", *common)
        workers = [start(*words, "--local-directory", str(tmp_path)) for _ in range(2)]
        for worker in workers:
            wait_for(worker, r"(Registered to)")
        yield Processes(address, workers)
    finally:
        for process in [*workers, scheduler]:
            process.kill()
        for process in [*workers, scheduler]:
            process.wait(10)
            with contextlib.suppress(ValueError):
                assert process.stderr is not None
                process.stderr.close()


def test_a_cluster_gives_the_bytes_of_one_process_also_when_a_worker_is_killed(cluster, small, tmp_path):
    """The same campaign inline, on two workers, and after one of them was killed midway: the same bytes."""
    n, seed = 96, 7
    plain = simulate(small, n, seed, chunk=8).save()
    pool = executor_for(cluster=cluster.address)
    assert isinstance(pool, Cluster)
    assert simulate(small, n, seed, chunk=8, map_chunks=pool.map_chunks).save() == plain

    killed: list[int] = []

    def kill_one(done: int, _: int) -> None:
        if done >= n // 6 and not killed:
            os.kill(cluster.workers[0].pid, signal.SIGKILL)
            killed.append(done)

    again = simulate(small, n, seed + 1, chunk=8, map_chunks=pool.map_chunks, progress=kill_one).save()
    assert killed
    assert killed[0] < n
    assert cluster.workers[0].wait(10) == -signal.SIGKILL
    assert again == simulate(small, n, seed + 1, chunk=8).save()

    kept = ChunkStore(tmp_path / "chunks").keeping(pool.map_chunks)
    assert simulate(small, n, seed, chunk=8, map_chunks=kept).save() == plain
    assert len(list((tmp_path / "chunks").glob("*.npz"))) == n // 8


def test_an_address_without_a_cluster_is_one_clear_message(monkeypatch):
    """A wrong address is named with what to do."""
    monkeypatch.setattr("crashworthy.jobs.cluster.PATIENCE", 0.3)
    with pytest.raises(CrashworthyError, match="no cluster answers there") as caught:
        list(Cluster("tcp://127.0.0.1:9").map_chunks(len, ["a"]))
    assert "scheduler's address" in caught.value.problems[0].remedy


def test_the_engine_names_version_and_physics():
    """What must be equal on every worker is the package's version and the digest of its physics."""
    assert re.fullmatch(r"\S+, engine \d+, physics-[0-9a-f]{16}", engine_of_this_process())
