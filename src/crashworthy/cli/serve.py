"""`crashworthy demo` and `serve`: the app on this machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Store
from crashworthy.cli.output import caution, progress_bar, say

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
) -> None:
    """Set up an invented fleet in a fresh data folder, run a real crash campaign, open the app.

    Example: crashworthy demo --no-browser
    """
    from crashworthy.cautions import CAUTIONS
    from crashworthy.demo.setup import STEPS, fresh_folder
    from crashworthy.workshop import Workshop

    folder = fresh_folder(data)
    say("The Millrace crew and its two quads are invented; the computing is real.")
    with Workshop(folder, store) as workshop:
        for number, (title, step) in enumerate(STEPS, 1):
            with progress_bar(f"{number}/{len(STEPS)} {title}") as progress:
                told = step(workshop, progress)
            say(f"{number}/{len(STEPS)} {told}")
        say(f"Data: {folder}")
        caution(CAUTIONS["flying"].text)
        _open(workshop, port, no_browser)


def serve(
    port: Port = None,
    no_browser: NoBrowser = False,
    data: Data = None,
    store: Store = None,
) -> None:
    """Open the app on your own fleet, on this machine only.

    Example: crashworthy serve --port 8765
    """
    from crashworthy.workshop import Workshop

    with Workshop(data, store) as workshop:
        _open(workshop, port, no_browser)


def _open(workshop: Workshop, port: int | None, no_browser: bool) -> None:
    from crashworthy.web import serve as web

    web.serve(workshop, port=web.DEFAULT_PORT if port is None else port, open_browser=not no_browser)
