"""Several processes that serve one socket: more than one core answers, and one that dies is replaced.

The parent binds the socket, starts the workers (by spawn, so that nothing half-open is inherited) and does
nothing else. Each worker opens the data for itself; what they must agree on is in the database: sessions,
events, and the jobs, of which one of a fleet runs at a time (``store.jobs``).
"""

from __future__ import annotations

import multiprocessing
import signal
import threading
import time
from dataclasses import dataclass
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import Problem, StoreError

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable
    from pathlib import Path

    from fastapi import FastAPI

__all__ = ["Plan", "config_of", "serve_many"]

SHORT: Final = 10.0
"""A worker that ended within so many seconds of its start did not come up, s."""

FALLS: Final = 5
"""Workers in a row that may end so before the server gives up."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What each worker opens and serves.

    Attributes:
        data: folder; None means the platform's.
        store: "postgresql://..." or None for SQLite in the folder.
        cluster: address of a Dask scheduler, or None.
        crews: whether there are accounts, and a fleet for each crew.
        hosts: names the server answers to.
        certificate: files of chain and key, or None for plain http.
        proxy: address of the reverse proxy whose word is taken, or "".
    """

    data: Path | None
    store: str | None
    cluster: str | None
    crews: bool
    hosts: tuple[str, ...]
    certificate: tuple[Path, Path] | None = None
    proxy: str = ""


def config_of(app: FastAPI, certificate: tuple[Path, Path] | None, proxy: str) -> Any:
    """How the HTTP server is set up, in one process as in many."""
    import uvicorn

    return uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=2,
        lifespan="off",
        server_header=False,
        ws="none",
        proxy_headers=bool(proxy),
        forwarded_allow_ips=proxy or None,
        ssl_certfile=None if certificate is None else certificate[0],
        ssl_keyfile=None if certificate is None else certificate[1],
    )


def _work(plan: Plan, listener: socket.socket, up: Any) -> None:
    """One worker, from its start to its end."""
    import uvicorn

    from crashworthy.web.app import create_app
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.ahead import Ahead
    from crashworthy.workshop.hall import Hall

    with (
        Hall(plan.data, plan.store, plan.cluster) if plan.crews else Workshop(plan.data, plan.store)
    ) as opened:
        ahead = Ahead()
        if isinstance(opened, Hall):
            app = create_app(None, plan.hosts, hall=opened, ahead=ahead)
        else:
            opened.cluster = plan.cluster
            opened.resume()
            ahead.changed(opened)
            app = create_app(opened, plan.hosts, ahead=ahead)
        server = uvicorn.Server(config_of(app, plan.certificate, plan.proxy))

        def watch() -> None:
            while not server.started and not server.should_exit:
                time.sleep(0.02)
            up.release()
            parent = multiprocessing.parent_process()
            if parent is not None:
                parent.join()  # killed without a word: nobody is left who would stop this worker
                server.should_exit = True

        threading.Thread(target=watch, name="watch", daemon=True).start()
        server.run(sockets=[listener])
        ahead.close()


class _Crew:
    """The workers of one parent."""

    def __init__(self, plan: Plan, listener: socket.socket, count: int) -> None:
        self.context = multiprocessing.get_context("spawn")
        self.plan, self.listener = plan, listener
        self.up = self.context.Semaphore(0)
        self.stopping = threading.Event()
        self.falls = 0
        self.running = [self._one() for _ in range(count)]

    def _one(self) -> tuple[Any, float]:
        process = self.context.Process(
            target=_work, args=(self.plan, self.listener, self.up), name="worker", daemon=False
        )
        process.start()
        return process, time.monotonic()

    def tend(self) -> None:
        """Replace what ended.

        Raises:
            StoreError: workers end as soon as they begin.
        """
        ended = wait([process.sentinel for process, _ in self.running], timeout=0.3)
        for k, (process, since) in enumerate(self.running):
            if process.sentinel in ended and not self.stopping.is_set():
                process.join()
                self.falls = self.falls + 1 if time.monotonic() - since < SHORT else 0
                if self.falls >= FALLS:
                    raise StoreError(
                        Problem(
                            f"{self.falls} workers ended as soon as they began (status {process.exitcode})",
                            "serve with one worker to see why",
                            field="--workers",
                        )
                    )
                self.running[k] = self._one()

    def end(self) -> None:
        """Stop every worker, and wait for them."""
        self.stopping.set()
        for process, _ in self.running:
            process.terminate()
        for process, _ in self.running:
            process.join(15)
            if process.is_alive():
                process.kill()
                process.join()


def serve_many(plan: Plan, listener: socket.socket, workers: int, announce: Callable[[], None]) -> None:
    """Serve with several processes until stopped with Ctrl-C or a termination signal.

    Args:
        plan: what they serve.
        listener: bound and listening.
        workers: how many.
        announce: called once every one of them answers.

    Raises:
        StoreError: they do not come up.
    """
    crew = _Crew(plan, listener, workers)
    before = signal.signal(signal.SIGTERM, lambda *_: crew.stopping.set())
    try:
        answering = 0
        while answering < workers and not crew.stopping.is_set():
            answering += crew.up.acquire(timeout=0.1)
            crew.tend()
        if not crew.stopping.is_set():
            announce()
        while not crew.stopping.is_set():
            crew.tend()
    except KeyboardInterrupt:
        pass
    finally:
        signal.signal(signal.SIGTERM, before)
        crew.end()
