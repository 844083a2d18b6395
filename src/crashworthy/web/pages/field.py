"""Field: what is due now, and two taps to log a pack, a crash or a check."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Request, Response

from crashworthy.pictures.dues import due_bars
from crashworthy.upkeep.history import SEVERITIES
from crashworthy.web.pages.journal import labels_of, rows_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.upkeep.due import Due

router = APIRouter(include_in_schema=False)

RECENT = 120
"""Entries looked through for those of the last day."""

DAY = 36
"""Hours of entries given to the page, which knows where midnight was where it is read."""

SHOWN: Final = 6
"""Entries of today that stand on the page; the script has the same number."""

PACKS: Final = 12
"""Packs of a day before anybody says (assumption)."""

MOST_PACKS: Final = 200
"""Packs of the longest day that is planned."""

SEVERITY_WORDS = {"scuff": "flew on", "hit": "stopped it", "slam": "full speed"}


def _payload(**values: Any) -> str:
    return json.dumps(values, separators=(",", ":"))


def found_buttons(due: Due) -> list[dict[str, Any]]:
    """The entries one tap can make about a joint group: tight, one or two loose.

    Returns:
        Words on the button, label of the entry, its fields, and the same as JSON ("payload").
    """
    reason = "after-crash" if due.forced else "scheduled"
    rows = []
    for loose, words in ((0, "tight"), (1, "1 loose"), (2, "2 loose")):
        if loose <= due.screws:
            fields = {"group": due.group, "looked": due.screws, "loose": loose, "reason": reason}
            label = f"{due.title}: {words}"
            rows.append({"words": words, "label": label, "fields": fields, "payload": _payload(**fields)})
    return rows


def _now(request: Request, slug: str) -> dict[str, Any]:
    shop = workshop(request)
    dues: Sequence[Due] = shop.due(slug)
    day = shop.store.now() - timedelta(hours=DAY)
    rows = rows_of(shop.events(slug, limit=RECENT), labels_of(shop, slug))
    recent = [r for r in rows if r["when"] >= day and not r["gone"]]
    # As the page itself will do by the clock where it is read: so that nothing moves when it does.
    midnight = shop.store.now().astimezone().replace(hour=0, minute=0, second=0, microsecond=0)
    today = [r for r in recent if r["when"] >= midnight and r["kind"] != "retraction"]
    stands = {r["id"] for r in today[:SHOWN]}
    return {
        "dues": dues,
        "bars": svg(due_bars(dues)),
        "sentence": _sentence(dues),
        "recent": recent,
        "stands": stands,
        "asked": shop.store.now(),
    }


def _sentence(dues: Sequence[Due]) -> str:
    if not dues:
        return "The sheet names no screws, so nothing can be due."
    now = [d for d in dues if d.state in ("due", "now")]
    if not now:
        return dues[0].summary()
    if len(now) == 1:
        return now[0].summary()
    rest = " and ".join(
        [", ".join(d.title.lower() for d in now[1:-1])] * (len(now) > 2) + [now[-1].title.lower()]
    )
    return f"{now[0].summary()} Also {rest}."


@router.get("/quads/{slug}/field")
def field(request: Request, slug: str, packs: str = "") -> Response:
    """The field sheet; ``packs`` is how many will be flown today; left out, the last number said."""
    said = packs or request.cookies.get("packs", "")
    many = min(int(said), MOST_PACKS) if said.isascii() and said.isdigit() and len(said) < 6 else PACKS
    answer = _field(request, slug, many, asked=bool(packs))
    if packs:
        answer.set_cookie("packs", str(many), max_age=31_536_000, httponly=True, samesite="lax")
    return answer


def _field(request: Request, slug: str, many: int, *, asked: bool) -> Response:
    shop = workshop(request)
    titles = {d.group: d.title.replace(" screws", "") for d in shop.due(slug)}
    plan = shop.plan_day(slug, many)
    return page(
        request,
        "field.html",
        slug=slug,
        severities=[(s, SEVERITY_WORDS[s], _payload(severity=s), f"Crash, {s}") for s in SEVERITIES],
        packs=[
            ("No crash", "", _payload(crashes=0), "Pack without a crash"),
            ("With crashes", "logged one by one", _payload(), "Pack"),
            ("Bent prop", "flown bent", _payload(bent_prop=True), "Pack with a bent prop"),
        ],
        found_buttons=found_buttons,
        plan=plan,
        plan_asked=asked,
        most_packs=MOST_PACKS,
        stops=[(s, [titles[g] for g in s.groups]) for s in plan.stops],
        **_now(request, slug),
    )


@router.get("/quads/{slug}/field/now")
def now(request: Request, slug: str) -> Response:
    """The parts of the field sheet that an entry changes."""
    return page(request, "field_parts.html", slug=slug, **_now(request, slug))
