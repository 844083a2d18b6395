"""`crashworthy demo` and `serve`: the app, on this machine or for crews."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.options import Cluster, Data, Json, Store
from crashworthy.cli.output import caution, print_json, progress_bar, say

if TYPE_CHECKING:
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.hall import Hall

__all__ = ["demo", "serve"]

Port = Annotated[
    int | None, typer.Option("--port", min=0, max=65535, help="Port; a free one when it is taken.")
]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Only print the address.")]


def demo(
    port: Port = None,
    no_browser: NoBrowser = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Set up an invented fleet in a fresh data folder, run a real crash campaign, open the app.

    Example: crashworthy demo --no-browser
    """
    from crashworthy.cautions import CAUTIONS
    from crashworthy.demo.setup import STEPS, fresh_folder
    from crashworthy.demo.warm import begin
    from crashworthy.workshop import Workshop

    folder = fresh_folder(data)
    steps: list[str] = []
    compiling = begin()
    if not as_json:
        say("The Millrace crew and its two quads are invented; the computing is real.")
    with Workshop(folder, store) as workshop:
        for number, (title, step) in enumerate(STEPS, 1):
            with progress_bar(f"{number}/{len(STEPS)} {title}") as progress:
                if number == len(STEPS):
                    compiling.wait()  # the campaign comes last and finds its kernel compiled
                steps.append(step(workshop, progress))
            if not as_json:
                say(f"{number}/{len(STEPS)} {steps[-1]}")
        if not as_json:
            say(f"Data: {folder}")
        caution(CAUTIONS["flying"].text)
        told = {"invented": True, "steps": steps, "data": str(folder)}
        _open(workshop, port, no_browser, told if as_json else None)


def serve(
    port: Port = None,
    no_browser: NoBrowser = False,
    data: Data = None,
    store: Store = None,
    cluster: Cluster = None,
    accounts: Annotated[
        bool, typer.Option("--accounts", help="Ask for an account, as everywhere but on this machine.")
    ] = False,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; others than this machine's need accounts.")
    ] = "127.0.0.1",
    name: Annotated[
        list[str] | None, typer.Option("--name", help="A name the server answers to, like fleet.example.org.")
    ] = None,
    certificate: Annotated[
        Path | None, typer.Option("--certificate", help="PEM file of the certificate chain, for https.")
    ] = None,
    key: Annotated[Path | None, typer.Option("--key", help="PEM file of its key.")] = None,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Serve phones in the local network over https, made on this machine."),
    ] = False,
    behind: Annotated[
        str,
        typer.Option("--behind", help="Address of the TLS proxy in front; its word is taken, no other's."),
    ] = "",
    workers: Annotated[
        int, typer.Option("--workers", min=1, max=64, help="Processes that answer, for a crew of many.")
    ] = 1,
    as_json: Json = False,
) -> None:
    """Open the app on your own fleet: for you on this machine, or for crews with accounts.

    Example: crashworthy serve --port 8765
    """
    from crashworthy.web.serve import LOOPBACK
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.hall import Hall

    if (certificate is None) != (key is None):
        raise typer.BadParameter("--certificate and --key go together")
    options: dict[str, Any] = {
        "host": host,
        "allowed_hosts": tuple(name or ()),
        "certificate": None if certificate is None or key is None else (certificate, key),
        "proxy": behind,
        "workers": workers,
    }
    if accounts or lan or host not in LOOPBACK:
        with Hall(data, store, cluster) as hall:
            if lan:
                options |= _lan(hall, host, options["allowed_hosts"])
            told = {"data": str(hall.root)}
            _open(hall, port, no_browser, told if as_json else None, **options)
        return
    with Workshop(data, store) as workshop:
        workshop.cluster = cluster
        told = {"data": str(workshop.folder.root)}
        _open(workshop, port, no_browser, told if as_json else None, **options)


def _lan(hall: Hall, host: str, names: tuple[str, ...]) -> dict[str, Any]:
    """What serving the local network adds: an address, a certificate for it, and the authority behind it."""
    from crashworthy.errors import Problem, StoreError
    from crashworthy.web.authority import Authority, lan_addresses
    from crashworthy.web.serve import LOOPBACK

    found = lan_addresses() if host in LOOPBACK else (host,)
    if not found:
        raise StoreError(Problem("this machine is in no local network", "join one, or give --host"))
    authority = Authority(hall.root / "authority")
    certificate = authority.leaf([found[0], *names])
    return {"host": found[0], "certificate": certificate, "authority": authority}


def _open(
    workshop: Workshop | Hall, port: int | None, no_browser: bool, told: dict[str, Any] | None, **options: Any
) -> None:
    """Serve until stopped; print the address in words, or with ``told`` as JSON."""
    from crashworthy.web import serve as web

    def ready(address: str) -> None:
        print_json({"address": address, **(told or {})})
        sys.stdout.flush()

    web.serve(
        workshop,
        port=web.DEFAULT_PORT if port is None else port,
        open_browser=not no_browser,
        ready=None if told is None else ready,
        **options,
    )
