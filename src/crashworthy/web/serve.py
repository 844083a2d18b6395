"""Run the web app on this machine and open it in a browser."""

from __future__ import annotations

import socket
import sys
import threading
import webbrowser
from typing import TYPE_CHECKING, Final

from crashworthy.errors import Problem, StoreError
from crashworthy.web.security import LOCAL_HOSTS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from crashworthy.workshop import Workshop

__all__ = ["DEFAULT_PORT", "bind", "serve"]

DEFAULT_PORT: Final = 8765
"""The port tried first."""

_LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")


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


def serve(
    workshop: Workshop,
    host: str = "127.0.0.1",
    port: int = DEFAULT_PORT,
    open_browser: bool = True,
    *,
    allowed_hosts: Iterable[str] = (),
    exact_port: bool = False,
    ready: Callable[[str], None] | None = None,
) -> None:
    """Serve until stopped with Ctrl-C.

    Args:
        workshop: the use cases.
        host: address to listen on; only the machine's own loopback is served without further names.
        port: tried first; a free one is taken when it is in use.
        open_browser: open the address in the browser.
        allowed_hosts: further names in the address bar to answer to (a name in the local network).
        exact_port: refuse instead of taking another port.
        ready: called with the address once the server answers; prints it when None.

    Raises:
        StoreError: no port can be had.
    """
    import uvicorn

    from crashworthy.web.app import create_app

    listener = bind(host, port, exact=exact_port)
    taken = listener.getsockname()[1]
    shown = "127.0.0.1" if host in _LOOPBACK else host
    address = f"http://{f'[{shown}]' if ':' in shown else shown}:{taken}/"
    own = () if host in _LOOPBACK else (f"[{host}]" if ":" in host else host,)
    app = create_app(workshop, (*LOCAL_HOSTS, *own, *allowed_hosts))
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=2,
        lifespan="off",
        server_header=False,
        ws="none",
    )
    server = uvicorn.Server(config)

    def announce() -> None:
        while not server.started and not server.should_exit:
            threading.Event().wait(0.02)
        if server.should_exit:
            return
        if ready is None:
            sys.stdout.write(f"Crashworthy is at {address} (stop with Ctrl-C)\n")
            sys.stdout.flush()
        else:
            ready(address)
        if open_browser:
            webbrowser.open(address)

    threading.Thread(target=announce, name="announce", daemon=True).start()
    try:
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        listener.close()
