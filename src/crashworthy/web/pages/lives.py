"""Lives: what is worn, where to look first, and whether the build has grown tougher."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Final

from fastapi import APIRouter, Request, Response

from crashworthy.errors import CrashworthyError
from crashworthy.pictures import plots
from crashworthy.pictures.drawing import Item, plan
from crashworthy.upkeep.crash_loads import screw_words
from crashworthy.upkeep.history import SEVERITIES
from crashworthy.web.pages.arrows import left_arrows
from crashworthy.web.pages.photos import shown
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.build.quad import Quad
    from crashworthy.upkeep.crash_loads import Look
    from crashworthy.upkeep.growth import Growth
    from crashworthy.upkeep.history import FindingRow, QuadHistory
    from crashworthy.upkeep.retire import WearReport
    from crashworthy.upkeep.tougher import Tougher
    from crashworthy.workshop import Workshop

router = APIRouter(include_in_schema=False)

HATCH: Final = {"retire": "solid", "watch": "dense", "keep": "open"}
"""The hatch of each verdict."""


def life_bars(report: WearReport) -> str:
    """Crashes each arm and motor, and whatever is not to keep, has lived through."""
    rows = [p for p in report.parts if p.life and (p.verdict != "keep" or p.kind in ("arm", "motor"))][:14]
    if not rows or not any(p.life.crashes for p in rows if p.life):
        return ""
    return plots.interval_bars(
        [
            plots.Bar(
                p.label[:1].upper() + p.label[1:],
                p.life.crashes,
                p.life.crashes,
                p.life.crashes,
                f"{p.life.crashes}, {p.verdict}",
                HATCH[p.verdict],
            )
            for p in rows
            if p.life
        ],
        title="Crashes lived through",
        x_label="crashes",
    )


def growth_plot(trend: Growth) -> str:
    """Breaks added up over crashes, changes of build marked."""
    if not trend.breaks or trend.end <= 0:
        return ""
    xs, ys = [0.0], [0.0]
    for number, at in enumerate(trend.breaks, start=1):
        xs += [at, at]
        ys += [number - 1.0, float(number)]
    series = [plots.Series("breaks", [*xs, trend.end], [*ys, float(len(trend.breaks))], mark=True)]
    if trend.fit is not None:
        steps = [trend.end * i / 60.0 for i in range(61)]
        series.append(plots.Series("trend", steps, [trend.fit.expected(t) for t in steps]))
    return plots.line_plot(
        series,
        title="Breaks, added up",
        x_label="crashes",
        y_label="parts broken",
        marks=[(b, "build changed") for b in trend.builds if b > 0],
        describe=trend.summary(),
    )


def look_drawing(quad: Quad, look: Sequence[Look]) -> str:
    """The quad from above, each part to look at with its place in the order in a balloon."""
    order, parts = [], {p.name: p for p in quad.parts}
    for number, row in enumerate(look, start=1):
        part = parts.get(row.part)
        if part is None:  # the crash test was of a build that still had it
            continue
        order.append(Item(number, row.label, part.kind, (row.part,), part.mass))
    return plan(quad, only=tuple(order))[0]


def seen(history: QuadHistory) -> dict[str, FindingRow]:
    """The last look at each part, by its name."""
    return {f.part: f for f in history.findings}


def _compared(shop: Workshop, slug: str) -> list[tuple[str, tuple[Tougher, ...]]]:
    """Against itself before the last change of build, and against every other quad."""
    found = []
    # Without a change of build, or a crash on either side of it, there is nothing to compare.
    with suppress(CrashworthyError):
        found.append(("before the last change of its build", shop.tougher(slug)))
    for other, name in shop.names().items():
        if other != slug:
            with suppress(CrashworthyError):
                found.append((name, shop.tougher(slug, other)))
    return found


@router.get("/quads/{slug}/lives")
def lives(request: Request, slug: str, severity: str = "", obstacle: str = "") -> Response:
    """What is worn and why; ``severity`` and ``obstacle`` choose the crash to look after."""
    shop = workshop(request)
    report, trend = shop.wear(slug), shop.growth(slug)
    loads = shop.crash_loads(slug)
    obstacles = [name for name, _ in loads.obstacles] if loads else []
    severity = severity if severity in SEVERITIES else ""
    obstacle = obstacle if obstacle in obstacles else ""
    look = shop.look_first(slug, severity, obstacle) if loads else ()
    history = shop.history(slug)
    photos = shown(shop, history.photos[-60:])
    return page(
        request,
        "lives.html",
        slug=slug,
        report=report,
        shown=[p.name for p in report.parts if p.verdict != "keep" or p.kind in ("arm", "motor")],
        bars=svg(life_bars(report)),
        left=svg(left_arrows(report)),
        head=shop.learned(slug).head if loads else "",
        trend=trend,
        growth=svg(growth_plot(trend)),
        compared=_compared(shop, slug),
        look=look,
        screws=screw_words(shop.screws_first(slug, severity, obstacle)) if look else "",
        hatches=HATCH,
        seen=seen(history),
        pointed=svg(look_drawing(shop.quad(slug), look)) if look else "",
        severities=SEVERITIES,
        severity=severity,
        obstacle=obstacle,
        obstacles=obstacles,
        photos=photos,
        photos_of={name: [p for p in photos if p.part == name][:4] for name in {p.part for p in photos}},
    )
