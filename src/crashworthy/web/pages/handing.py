"""Calibrate the arms of a build, and hand the build on as one page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.build.measured import TESTS
from crashworthy.errors import CrashworthyError, Problem, SheetError
from crashworthy.pictures import paper
from crashworthy.pictures.measuring import sketch
from crashworthy.web.pages.arrows import stiffness_arrows
from crashworthy.web.pages.trials import job_of
from crashworthy.web.problems import status_of
from crashworthy.web.viewer import viewer
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.workshop.building import Calibration

router = APIRouter(include_in_schema=False)

CRASHES: Final = 300
"""Crashes before and after that one click asks for."""


def _tests(form: Mapping[str, str]) -> dict[str, dict[str, Any]]:
    """The tests that a form holds; fields left empty are none.

    Raises:
        SheetError: a number is none, or half of a pull is missing.
    """
    found: dict[str, dict[str, Any]] = {}
    for key in TESTS:
        names = ("n", "mm") if key.startswith("pull") else ("hz",)
        texts = {n: form.get(f"{key}_{n}", "").strip().replace(",", ".") for n in names}
        if not any(texts.values()):
            continue
        try:
            row: dict[str, Any] = {n: float(t) for n, t in texts.items()}
        except ValueError:
            raise SheetError(
                Problem("a number is missing or is none", "a pull needs N and mm, a tap Hz", field=key)
            ) from None
        if "hz" in row:
            row["prop"] = form.get("prop") == "on"
        found[key] = row
    return found


def _grams(text: str) -> float:
    """Grams as typed.

    Raises:
        SheetError: it is no number of grams.
    """
    from crashworthy.build.questions import checked

    found = checked("weighed", text)
    if found is None:
        raise SheetError(Problem("the weight is missing", "give what the scales say, g", field="weighed"))
    return float(found)


@router.get("/quads/{slug}/build/calibrate")
def calibrate(request: Request, slug: str, job: str = "") -> Response:
    """The arms as believed without any test and with those of the sheet."""
    return _calibrate(request, slug, job)


def _unmeasured(found: Calibration) -> str:
    """What is believed as long as nothing is measured, and what would narrow it."""
    beam = found.after
    low, high = (x * beam.ideal[1] / 1e3 for x in beam.belief.range90(1))
    return (
        f"Nothing is measured yet: a motor of {found.name} may take {low:.0f} to {high:.0f} N to move up by "
        "1 mm. One pull on one arm narrows that."
    )


def _calibrate(
    request: Request, slug: str, job: str = "", *, problems: Sequence[Problem] = (), status: int = 200,
    typed: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    shop = workshop(request)
    tests = shop.tests_of(slug)
    found = shop.latest_calibration(slug) or shop.calibration(slug, tests)
    values = {f"{key}_{n}": f"{x:g}" for key, row in tests.items() for n, x in row.items() if n != "prop"}
    return page(
        request,
        "calibrate.html",
        slug=slug,
        status=status,
        found=found,
        sentence=found.summary() if tests else _unmeasured(found),
        picture=svg(stiffness_arrows(found)),
        sketches={key: svg(sketch(f"pull_{key}")) for key in ("up", "side")},
        tests=tests,
        values=values if typed is None else typed,
        prop=any(row.get("prop") for row in tests.values()),
        quad=shop.quad(slug),
        job=job_of(request, job),
        n=CRASHES,
        problems=problems,
    )


@router.post("/quads/{slug}/build/calibrate")
async def measured(request: Request, slug: str) -> Response:
    """Write the tests into the sheet; then, when asked, crash before and after."""
    form = {k: str(v) for k, v in (await request.form()).items()}

    def work() -> Response:
        from crashworthy.build.measured import with_tests

        shop = workshop(request)
        here = f"/quads/{slug}/build/calibrate"
        try:
            if form.get("do") == "crash":
                job = shop.start_calibration(slug, shop.tests_of(slug), CRASHES)
                return RedirectResponse(f"{here}?job={job.id}", 303)
            if form.get("do") == "weigh":
                shop.weigh(slug, _grams(form.get("weighed", "")))
                return RedirectResponse(f"/quads/{slug}/build", 303)
            shop.require(slug)
            text = with_tests(shop.folder.sheet(slug).read_text(encoding="utf-8"), _tests(form))
            shop.save_sheet(slug, text)
        except CrashworthyError as error:
            return _calibrate(request, slug, problems=error.problems, status=status_of(error), typed=form)
        return RedirectResponse(here, 303)

    return await run_in_threadpool(work)


@router.get("/quads/{slug}/build/share.html")
def share(request: Request, slug: str, comments: str = "") -> Response:
    """The build as one page, to keep or send."""
    text = workshop(request).share(slug, viewer=viewer(), comments=comments == "on")
    headers = {"Content-Disposition": f'attachment; filename="{slug}.html"'}
    return Response(text, media_type="text/html", headers=headers)


@router.get("/quads/{slug}/build/share.pdf")
def share_pdf(request: Request, slug: str, comments: str = "") -> Response:
    """The same on paper; it cannot be taken back."""
    text = workshop(request).share(slug, paper=True, comments=comments == "on")
    headers = {"Content-Disposition": f'attachment; filename="{slug}.pdf"'}
    return Response(paper.pdf(text), media_type="application/pdf", headers=headers)
