"""`crashworthy demo` and `serve`: the app on this machine."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.options import Cluster, Data, Json, Store
from crashworthy.cli.output import caution, print_json, progress_bar, say

if TYPE_CHECKING:
    from crashworthy.workshop import Workshop

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
    as_json: Json = False,
) -> None:
    """Open the app on your own fleet, on this machine only.

    Example: crashworthy serve --port 8765
    """
    from crashworthy.workshop import Workshop

    with Workshop(data, store) as workshop:
        workshop.cluster = cluster
        told = {"data": str(workshop.folder.root)}
        _open(workshop, port, no_browser, told if as_json else None)


def _open(workshop: Workshop, port: int | None, no_browser: bool, told: dict[str, Any] | None) -> None:
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
    )
