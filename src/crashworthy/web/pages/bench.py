"""Bench: what to fix and how tight; torque card, what is due, what weight costs, a sheet to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from crashworthy.errors import CrashworthyError
from crashworthy.pictures import plots
from crashworthy.pictures.dues import HATCH, due_bars, due_words
from crashworthy.quantities import DEG
from crashworthy.web.pages.field import found_buttons
from crashworthy.web.pages.lives import HATCH as VERDICTS
from crashworthy.web.pages.lives import seen
from crashworthy.web.views import page, svg, workshop
from crashworthy.web.words import plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.strength.torque import TorqueCard
    from crashworthy.upkeep.due import Due

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
                "{:.2f}–{:.2f} N m".format(*(r.torque or (0.0, 0.0))),
                "dense" if r.limit.startswith("strip") else "sparse",
            )
            for r in rows
        ],
        title="Clamp of one screw at the torque given",
        x_label="preload, N",
    )


def _sentence(card: TorqueCard, dues: Sequence[Due]) -> str:
    """What to tighten now, and how; the card's own sentence when nothing is due."""
    now = [d for d in dues if d.state in ("due", "now")]
    row = next((r for r in card.rows if now and r.group == now[0].group), None)
    if row is None:
        return card.summary()
    more = f"{len(now) - 1} more due, " if len(now) > 1 else ""
    rated = sum(r.torque is not None for r in card.rows)
    rest = f"{more}{rated} of {len(card.rows)} groups have a torque."
    if row.torque is None:
        return f"{row.title} are due now: {row.limit}; {rest}"
    low, high = row.torque
    turn = f"{row.turn / DEG / 2.0:.0f}° of back-turn"
    name = row.title.lower()
    return f"Tighten the {name} now, to {low:.2f}–{high:.2f} N m: half their clamp is gone in {turn}; {rest}"


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
        sentence=_sentence(card, dues),
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
    now = sum(d.state in ("due", "now") for d in dues.values())
    screws = sum(r.count for r in card.rows)
    wear = [p for p in shop.wear(slug).parts if p.verdict != "keep" or p.kind in ("arm", "motor")]
    return page(
        request,
        "inspection.html",
        slug=slug,
        card=card,
        sentence=f"{plural(screws, 'screw')} in {plural(len(card.rows), 'group')}, {now} due now; "
        f"{plural(len(wear), 'part')} to look at.",
        dues=dues,
        due_words=due_words,
        hatch=HATCH,
        found_buttons=found_buttons,
        wear=wear,
        verdicts=VERDICTS,
        seen=seen(shop.history(slug)),
        degree=DEG,
        now=shop.store.now(),
    )
