"""Bench: what to fix and how tight; torque card, what is due, what weight costs, a sheet to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from crashworthy.errors import CrashworthyError
from crashworthy.pictures import plots
from crashworthy.pictures.dues import due_bars, due_words
from crashworthy.quantities import DEG
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from crashworthy.strength.torque import TorqueCard

router = APIRouter(include_in_schema=False)


def _limits(card: TorqueCard) -> str:
    """Preload of each group, from the low end to the limit that decides, N."""
    rows = [r for r in card.rows if r.torque is not None]
    if not rows:
        return ""
    return plots.interval_bars(
        [
            plots.Bar(
                f"{r.title} {r.thread}",
                sum(r.preload) / 2.0,
                *r.preload,
                "{:.2f}-{:.2f} N m".format(*(r.torque or (0.0, 0.0))),
                "dense" if r.limit.startswith("strip") else "sparse",
            )
            for r in rows
        ],
        title="Clamp of one screw at the torque given",
        x_label="preload, N",
    )


@router.get("/quads/{slug}/bench")
def bench(request: Request, slug: str) -> Response:
    """The torque card with what is due."""
    shop = workshop(request)
    card = shop.torque_card(slug)
    try:
        budget = shop.flight_budget(slug)
    except CrashworthyError:
        budget = None  # a sheet without props has no flight to speak of
    dues = shop.due(slug)
    return page(
        request,
        "bench.html",
        slug=slug,
        card=card,
        dues=dues,
        due_words=due_words,
        bars=svg(due_bars(dues)),
        limits=svg(_limits(card)),
        slips=shop.slip_shares(slug, card),
        budget=budget,
        degree=DEG,
    )


@router.get("/quads/{slug}/bench/sheet")
def inspection(request: Request, slug: str) -> Response:
    """The sheet for paper: torque, what is due, boxes to fill in."""
    shop = workshop(request)
    card = shop.torque_card(slug)
    dues = {d.group: d for d in shop.due(slug)}
    wear = [p for p in shop.wear(slug).parts if p.verdict != "keep" or p.kind in ("arm", "motor")]
    return page(
        request,
        "inspection.html",
        slug=slug,
        card=card,
        dues=dues,
        due_words=due_words,
        wear=wear,
        degree=DEG,
        now=shop.store.now(),
    )
