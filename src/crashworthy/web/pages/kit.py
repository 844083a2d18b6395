"""Kit: what to carry for a trip within grams and coins, and what runs out first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.pictures import plots
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.upkeep.kit import KitPlan

router = APIRouter(include_in_schema=False)

DEFAULTS = {"packs": "40", "grams": "450", "coins": "90"}


def enough_bars(plan: KitPlan) -> str:
    """Chance that each item is enough, the one that runs out first on top."""
    rows = sorted((*plan.lines, *plan.left), key=lambda r: r.p_enough)[:12]
    if not rows:
        return ""
    return plots.interval_bars(
        [
            plots.Bar(
                f"{r.count} × {r.label}",
                100 * (1 - r.p_enough),
                100 * (1 - r.p_enough),
                100 * (1 - r.p_enough),
                f"{100 * (1 - r.p_enough):.0f} in 100",
                "dense" if r.grounding else "sparse",
            )
            for r in rows
        ],
        title="Runs out in this many trips of 100",
        x_label="trips of 100 on which it runs out",
    )


def _limits(form: dict[str, str]) -> tuple[int, float, float]:
    problems: list[Problem] = []
    values: dict[str, Any] = {}
    for name, kind in (("packs", int), ("grams", float), ("coins", float)):
        text = form[name].strip().replace(",", ".")
        try:
            values[name] = kind(text)
        except ValueError:
            problems.append(
                Problem(f"{text!r} is no number", f"write one such as {DEFAULTS[name]}", field=name)
            )
    if problems:
        raise CrashworthyError(*problems)
    return values["packs"], values["grams"], values["coins"]


@router.get("/quads/{slug}/kit")
def kit(request: Request, slug: str) -> Response:
    """The list for the trip named in the address, or for a usual day."""
    form = {k: request.query_params.get(k, v) for k, v in DEFAULTS.items()}
    shop = workshop(request)
    shop.require(slug)
    campaign = shop.latest_campaign(slug)
    if campaign is None or campaign.stale:  # packing would then crash the build first, too long for a page
        return page(request, "kit.html", slug=slug, plan=None, form=form, problems=(), bars="", stock={})
    try:
        packs, grams, coins = _limits(form)
        plan = shop.kit(slug, packs=packs, grams=grams, coins=coins)
    except CrashworthyError as error:
        return page(
            request,
            "kit.html",
            slug=slug,
            plan=None,
            form=form,
            problems=error.problems,
            bars="",
            stock={},
            status=status_of(error),
        )
    return page(
        request,
        "kit.html",
        slug=slug,
        plan=plan,
        form=form,
        problems=(),
        bars=svg(enough_bars(plan)),
        stock=shop.stock(),
        rests=shop.hazards_words(slug),
    )


@router.post("/quads/{slug}/stock")
async def stock(request: Request, slug: str) -> Response:
    """Write down what is at hand."""
    form = [(k, v) for k, v in (await request.form()).multi_items() if isinstance(v, str)]
    return await run_in_threadpool(_stock, request, slug, form)


def _stock(request: Request, slug: str, form: Sequence[tuple[str, str]]) -> Response:
    shop = workshop(request)
    shop.require(slug)
    query = "&".join(f"{k}={v}" for k, v in form if k in DEFAULTS and v.replace(".", "").isdigit())
    problems = []
    for name, text in form:
        if not name.startswith("item:"):
            continue
        if not text.strip().isdigit():
            problems.append(Problem(f"{text!r} is no count", "write 0 or more", field=name[5:]))
            continue
        shop.set_stock(name[5:], int(text))
    if problems:
        raise CrashworthyError(*problems)
    return RedirectResponse(f"/quads/{slug}/kit?{query}#stock", 303)
