"""Run the web app on this machine and open it in a browser."""

from __future__ import annotations

import socket
import sys
import threading
import webbrowser
from typing import TYPE_CHECKING, Final

from crashworthy.errors import Problem, StoreError
from crashworthy.web.security import LOCAL_HOSTS
from crashworthy.web.workers import Plan, config_of, serve_many

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from fastapi import FastAPI

    from crashworthy.web.authority import Authority
    from crashworthy.web.lan import TrustServer
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.hall import Hall

__all__ = ["DEFAULT_PORT", "LOOPBACK", "bind", "serve"]

DEFAULT_PORT: Final = 8765
"""The port tried first."""

LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")


def bind(host: str, port: int, *, exact: bool = False) -> socket.socket:
    """A listening socket on ``port``, or on a free one when that is taken.

    Args:
        host: address of this machine.
        port: wanted; 0 means any free one.
        exact: refuse instead of taking another port.

    Raises:
        StoreError: no port can be had there.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    why = ""
    for wanted in (port,) if exact or port == 0 else (port, 0):
        listener = socket.socket(family, socket.SOCK_STREAM)
        try:
            if sys.platform != "win32":  # there the option would let two programs share a port
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((host, wanted))
            listener.listen(128)
        except OSError as problem:
            listener.close()
            why = problem.strerror or str(problem)
        else:
            return listener
    raise StoreError(Problem(f"cannot listen on {host} port {port}: {why}", "choose another with --port"))


def _must_be_safe(hall: Hall | None, *, secure: bool) -> None:
    """Refuse to open a fleet to the network to everybody, or passwords to whoever listens in."""
    if hall is None or hall.accounts.empty():
        raise StoreError(
            Problem(
                "without accounts this fleet is served to this machine only",
                "make the first account: crashworthy people add NAME --crew CREW --lead",
                field="--host",
            )
        )
    if not secure:
        raise StoreError(
            Problem(
                "passwords would travel in the clear",
                "use --lan, give --certificate and --key, or put a proxy with TLS in front (--behind)",
                field="--host",
            )
        )


def serve(
    workshop: Workshop | Hall,
    host: str = "127.0.0.1",
    port: int = DEFAULT_PORT,
    open_browser: bool = True,
    *,
    allowed_hosts: Iterable[str] = (),
    exact_port: bool = False,
    ready: Callable[[str], None] | None = None,
    certificate: tuple[Path, Path] | None = None,
    proxy: str = "",
    authority: Authority | None = None,
    workers: int = 1,
) -> None:
    """Serve until stopped with Ctrl-C.

    Args:
        workshop: the use cases of one fleet, or the hall of several crews (every page then needs an account).
        host: address to listen on; only the machine's own loopback is served without further names.
        port: tried first; a free one is taken when it is in use.
        open_browser: open the address in the browser.
        allowed_hosts: further names in the address bar to answer to (a name in the local network).
        exact_port: refuse instead of taking another port.
        ready: called with the address once the server answers; prints it when None.
        certificate: files of the certificate chain and of its key; the server then speaks https.
        proxy: address of the reverse proxy whose word on scheme and sender is taken; "" is none.
        authority: whose certificate phones are told to trust, on a page beside the app (the next port).
        workers: processes that answer; each opens what is open here for itself.

    Raises:
        StoreError: no port can be had, or a fleet without accounts would be open to the network.
    """
    from crashworthy.web.app import create_app
    from crashworthy.workshop.ahead import Ahead
    from crashworthy.workshop.hall import Hall

    hall = workshop if isinstance(workshop, Hall) else None
    fleet = None if isinstance(workshop, Hall) else workshop
    if host not in LOOPBACK:
        _must_be_safe(hall, secure=bool(certificate or proxy))

    listener = bind(host, port, exact=exact_port)
    taken = listener.getsockname()[1]
    shown = "127.0.0.1" if host in LOOPBACK else host
    address = f"http{'s' if certificate else ''}://{f'[{shown}]' if ':' in shown else shown}:{taken}/"
    own = () if host in LOOPBACK else (f"[{host}]" if ":" in host else host,)
    hosts = (*LOCAL_HOSTS, *own, *allowed_hosts)

    def told() -> None:
        if ready is None:
            sys.stdout.write(f"Crashworthy is at {address} (stop with Ctrl-C)\n")
            sys.stdout.flush()
        else:
            ready(address)
        if open_browser:
            webbrowser.open(address)

    trust = None if authority is None else _trust(authority, address, host, taken + 1)
    ahead: Ahead | None = None
    try:
        if workers > 1:
            plan = _plan(workshop, hosts, certificate, proxy)
            serve_many(plan, listener, workers, told)
        else:
            ahead = Ahead()
            if fleet is not None:
                ahead.changed(fleet)
            app = create_app(fleet, hosts, hall=hall, ahead=ahead)
            _serve_here(app, listener, certificate, proxy, fleet, told)
    except KeyboardInterrupt:
        pass
    finally:
        listener.close()
        if ahead is not None:
            ahead.close()
        if trust is not None:
            trust.close()


def _plan(
    opened: Workshop | Hall, hosts: tuple[str, ...], certificate: tuple[Path, Path] | None, proxy: str
) -> Plan:
    """What is open here, for others to open."""
    from crashworthy.workshop.hall import Hall

    if isinstance(opened, Hall):
        return Plan(opened.root, opened.address, opened.cluster, True, hosts, certificate, proxy)
    opened.store.count()  # the tables are made or migrated once, before the workers begin
    return Plan(opened.folder.root, opened.address, opened.cluster, False, hosts, certificate, proxy)


def _serve_here(
    app: FastAPI,
    listener: socket.socket,
    certificate: tuple[Path, Path] | None,
    proxy: str,
    fleet: Workshop | None,
    told: Callable[[], None],
) -> None:
    """Serve in this process until stopped."""
    import uvicorn

    server = uvicorn.Server(config_of(app, certificate, proxy))
    if fleet is not None:
        fleet.resume()

    def announce() -> None:
        while not server.started and not server.should_exit:
            threading.Event().wait(0.02)
        if not server.should_exit:
            told()

    threading.Thread(target=announce, name="announce", daemon=True).start()
    server.run(sockets=[listener])


def _trust(authority: Authority, address: str, host: str, port: int) -> TrustServer:
    """Serve the page for phones beside the app, and say on the terminal where it is."""
    import uvicorn

    from crashworthy.web.lan import TrustServer, qr_text, trust_app

    listener = bind(host, port)
    here = f"http://{host}:{listener.getsockname()[1]}/"

    def config() -> uvicorn.Config:
        app = trust_app(authority, address)
        return uvicorn.Config(app, log_level="warning", access_log=False, lifespan="off", ws="none")

    told = (
        f"Phones: open {here} once (scan this) and follow the five steps; then use {address}",
        qr_text(here),
        f"Fingerprint of this laptop's authority: {authority.fingerprint()}",
    )
    sys.stderr.write("\n".join(told) + "\n")
    return TrustServer(config, listener)
