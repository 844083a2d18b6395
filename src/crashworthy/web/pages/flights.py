"""Flights: drop a log, read what shakes and what could not be told; mend the guess at its columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import JSONResponse, RedirectResponse

from crashworthy.errors import CrashworthyError, JournalError, Problem
from crashworthy.pictures.flights import (
    arm_marks,
    average_plot,
    evidence_marks,
    spectrum_plot,
    speed_marks,
    sum_plot,
    waterfall,
)
from crashworthy.pictures.motors import STATES, motor_card
from crashworthy.vibration.packs import CAUTIONS
from crashworthy.vibration.readers.mapping import AXES, MOTORS, UNITS
from crashworthy.vibration.trend import EWMA_FALSE_PER_100, FALSE_PER_100
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop
from crashworthy.web.words import number, plural

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


router = APIRouter(include_in_schema=False)

QUANTITIES: Final = (
    "ignore",
    "time",
    *(f"gyro_{a}" for a in "xyz"),
    *(f"acc_{a}" for a in "xyz"),
    *(f"speed_{i}" for i in range(1, MOTORS + 1)),
    *(f"command_{i}" for i in range(1, MOTORS + 1)),
    "volts",
    "amps",
)
ALL_UNITS: Final = tuple(dict.fromkeys(u for units in UNITS.values() for u in units if u))


def _sentence(logs: Sequence[Any]) -> str:
    if not logs:
        return "0 flight logs so far: drop one here and it says what shakes, and what it cannot say."
    return f"{plural(len(logs), 'flight log')} read. The latest, {logs[0].file}: {logs[0].report['summary']}"


def _list(request: Request, slug: str, problems: Sequence[Problem] = (), status: int = 200) -> Response:
    shop = workshop(request)
    logs = shop.logs(slug)
    trends = shop.trends(slug)
    called = [t for t in trends if t.called is not None or t.average_called is not None]
    return page(
        request,
        "flights.html",
        slug=slug,
        status=status,
        sentence=_sentence(logs),
        logs=logs,
        trends=[(t, svg(sum_plot(t)), svg(average_plot(t))) for t in called or trends[:2]],
        all_trends=trends,
        false_sum=100 * FALSE_PER_100,
        false_average=100 * EWMA_FALSE_PER_100,
        packs=shop.pack_healths(slug),
        pack_cautions=CAUTIONS,
        problems=problems,
    )


@router.get("/quads/{slug}/flights")
def flights(request: Request, slug: str) -> Response:
    """Every log of one quad and a place to drop the next."""
    return _list(request, slug)


@router.post("/quads/{slug}/flights")
def upload(request: Request, slug: str, file: Annotated[UploadFile, File()]) -> Response:
    """Read a dropped log; one that cannot be read comes back as words."""
    try:
        found = workshop(request).add_flights(slug, file.filename or "log", file.file)
    except CrashworthyError as error:
        return _list(request, slug, error.problems, status_of(error))
    kept = max(found, key=lambda k: k.report["duration_s"])
    return RedirectResponse(f"/quads/{slug}/flights/{kept.key}", 303)


@router.get("/quads/{slug}/flights/{key}")
def flight(request: Request, slug: str, key: str, read_again: bool = False) -> Response:
    """What one log said."""
    return _flight(request, slug, key, said="Read again with your columns." if read_again else "")


def _flight(
    request: Request,
    slug: str,
    key: str,
    *,
    said: str = "",
    problems: Sequence[Problem] = (),
    typed: Mapping[str, str] | None = None,
    status: int = 200,
) -> Response:
    shop = workshop(request)
    log = shop.log(slug, key)
    report = log.report
    return page(
        request,
        "flight.html",
        slug=slug,
        status=status,
        log=log,
        arms=[words for _, words in arm_marks(report)],
        evidence=[words for _, words in evidence_marks(report)],
        entered=shop.pack_of(slug, key),
        beside=shop.flights_beside(log),
        report=report,
        said=said,
        problems=problems,
        typed=typed or {},
        card=svg(motor_card(report)),
        spectrum=svg(spectrum_plot(report)),
        waterfall=svg(waterfall(report)),
        told=[a for a in report["answers"] if a["verdict"] in ("computed", "caution")],
        untold=[a for a in report["answers"] if a["verdict"] not in ("computed", "caution")],
        states=STATES,
        guess=shop.log_columns(slug, key),
        quantities=QUANTITIES,
        units=ALL_UNITS,
        axes=tuple(AXES),
        number=number,
    )


@router.post("/quads/{slug}/flights/{key}/pack")
def pack(
    request: Request,
    slug: str,
    key: str,
    battery: Annotated[str, Form()] = "",
    minutes: Annotated[str, Form()] = "",
) -> Response:
    """Enter a flight as a pack flown, with its dose; entered twice it is still one."""
    try:
        flown = _minutes(minutes)
        event = workshop(request).enter_pack(slug, key, battery.strip(), flown)
    except CrashworthyError as error:
        return _flight(request, slug, key, problems=error.problems, status=status_of(error))
    told = event.payload.to_json()
    dose = f", vibration {told['rms']:.3g} mm/s" if told.get("rms") is not None else ""
    return _flight(
        request, slug, key, said=f"In the journal as a pack: {told.get('minutes', 0):.1f} min{dose}."
    )


def _minutes(text: str) -> float | None:
    """Minutes that were filled in, or None for the log's own length.

    Raises:
        JournalError: they are no number.
    """
    if not text.strip():
        return None
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        problem = Problem(f"{text[:40]!r} is no number of minutes", "write one such as 4.5", field="minutes")
        raise JournalError(problem) from None


@router.post("/quads/{slug}/flights/{key}/strikes/{index}")
def strike(request: Request, slug: str, key: str, index: int) -> Response:
    """Enter a crash that the log proposes; entered twice it is still one."""
    event = workshop(request).confirm_strike(slug, key, index)
    return _flight(request, slug, key, said=f"Entered: {event.payload.to_json()['severity']}.")


@router.post("/quads/{slug}/flights/{key}/columns")
async def columns(request: Request, slug: str, key: str) -> Response:
    """Read a log again with the columns that a person named."""
    form = {k: v for k, v in (await request.form()).items() if isinstance(v, str)}
    return await _in_thread(_read_again, request, slug, key, form)


async def _in_thread(work: Any, *args: Any) -> Response:
    from starlette.concurrency import run_in_threadpool

    answer: Response = await run_in_threadpool(work, *args)
    return answer


def _read_again(request: Request, slug: str, key: str, form: dict[str, str]) -> Response:
    rows: dict[str, dict[str, Any]] = {}
    index = 0
    while (name := form.get(f"name-{index}")) is not None:
        text = form.get(f"scale-{index}", "1").replace(",", ".")
        try:
            scale: object = float(text)
        except ValueError:
            scale = text  # the mapping's own check says what is wrong with it
        rows[name] = {
            "quantity": form.get(f"quantity-{index}", "ignore"),
            "unit": form.get(f"unit-{index}", ""),
            "scale": scale,
        }
        index += 1
    try:
        kept = workshop(request).read_again(slug, key, {"axes": form.get("axes", "flu"), "columns": rows})
    except CrashworthyError as error:
        return _flight(request, slug, key, problems=error.problems, typed=form, status=status_of(error))
    return RedirectResponse(f"/quads/{slug}/flights/{kept.key}?read_again=true", 303)


@router.get("/quads/{slug}/flights/{key}/spectrum.json")
def spectrum(request: Request, slug: str, key: str) -> Response:
    """The spectrum for the zoomable plot."""
    report = workshop(request).log(slug, key).report
    s = report["spectrum"]
    if s is None:
        return JSONResponse(None, 404)
    series = [{"label": a, "y": s[a]} for a in ("roll", "pitch", "yaw")]
    labels = {"x_label": "frequency, Hz", "y_label": s["unit"]}
    return JSONResponse({"x": s["f_hz"], "series": series, "marks": speed_marks(report), **labels})
