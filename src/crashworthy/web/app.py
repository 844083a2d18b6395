"""The web app, put together: guard, pages, static files, and words for every failure."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import FastAPI
from fastapi.responses import Response
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from crashworthy.pictures import svg
from crashworthy.release import release
from crashworthy.web import problems
from crashworthy.web.door import Door
from crashworthy.web.pages import (
    api,
    bench,
    build,
    crash,
    crew,
    evidence,
    field,
    fleet,
    flights,
    handbook,
    handing,
    improve,
    jobs,
    journal,
    kit,
    lives,
    new,
    offline,
    people,
    photos,
    placement,
    see,
    seeing,
    tap,
    tour,
    trials,
)
from crashworthy.web.patience import Patience
from crashworthy.web.security import LOCAL_HOSTS, UPLOAD_LIMIT, Guard

if TYPE_CHECKING:
    from collections.abc import Iterable

    from crashworthy.workshop import Workshop
    from crashworthy.workshop.ahead import Ahead
    from crashworthy.workshop.hall import Hall

__all__ = ["create_app"]


class _Static(StaticFiles):
    """Static files that a browser asks about again each time, so that an update is seen at once."""

    def file_response(self, *args: object, **more: object) -> Response:
        answer: Response = super().file_response(*args, **more)  # type: ignore[arg-type] # handed on as it came
        answer.headers["Cache-Control"] = "no-cache"
        return answer


def create_app(
    workshop: Workshop | None,
    hosts: Iterable[str] = LOCAL_HOSTS,
    upload_limit: int = UPLOAD_LIMIT,
    hall: Hall | None = None,
    ahead: Ahead | None = None,
) -> FastAPI:
    """The app over one workshop, or over those of every crew of a hall.

    Args:
        workshop: the use cases; stays open for as long as the app runs, and is closed by whoever opened it.
            None with a ``hall``.
        hosts: names the server answers to, without ports; everything else is refused (DNS rebinding).
        upload_limit: largest request body, bytes.
        hall: people and crews: every page then needs an account, and shows the fleet of its crew.
        ahead: works out beforehand what pages ask for; None for not.
    """
    app = FastAPI(title="Crashworthy", version=release(), docs_url=None, redoc_url=None)
    app.state.workshop, app.state.hall = workshop, hall
    problems.install(app)
    app.add_middleware(Patience, ahead=ahead)
    app.add_middleware(GZipMiddleware, minimum_size=2000)
    if hall is not None:
        app.add_middleware(Door, hall=hall)
    app.add_middleware(Guard, refuse=problems.refuse, hosts=tuple(hosts), limit=upload_limit)
    for sheet in (
        fleet,
        field,
        new,
        build,
        handing,
        see,
        crash,
        placement,
        seeing,
        trials,
        improve,
        bench,
        lives,
        tap,  # before the flights: "tap" is no key of one
        flights,
        kit,
        journal,
        photos,
        crew,
        people,
        offline,
        evidence,
        handbook,
        tour,
        jobs,
        api,
    ):
        app.include_router(sheet.router)

    @app.get("/static/plot.css", include_in_schema=False)
    def plot_css() -> Response:
        """The look of the pictures, kept beside the code that draws them."""
        return Response(svg.css(), media_type="text/css", headers={"Cache-Control": "no-cache"})

    app.mount("/static", _Static(directory=Path(str(files("crashworthy.web") / "static"))), name="static")
    return app
