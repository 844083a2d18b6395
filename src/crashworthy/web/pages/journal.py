"""Journal: everything that was entered about a quad, and the forms for what takes more than two taps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from uuid import UUID

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from crashworthy.errors import CrashworthyError
from crashworthy.upkeep.doubles import doubles
from crashworthy.upkeep.history import REASONS, SEVERITIES
from crashworthy.upkeep.payloads import GRADES, TIGHTENED, WHY
from crashworthy.web.views import page, workshop
from crashworthy.web.words import plural, upfirst

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from crashworthy.upkeep.events import Event
    from crashworthy.workshop import Workshop

router = APIRouter(include_in_schema=False)

SHOWN = 40
"""Events on one page."""


def labels_of(shop: Workshop, slug: str) -> dict[str, str]:
    """Parts of a quad in words, by name; empty while its sheet cannot be read."""
    try:
        return {part.name: part.label for part in shop.quad(slug).parts}
    except CrashworthyError:
        return {}


def event_words(event: Event, labels: Mapping[str, str]) -> str:
    """What an event says, in words."""
    said: Any = event.payload

    def called(part: str) -> str:
        return labels.get(part, part.replace("_", " "))

    match event.kind:
        case "pack":
            bits = ["Pack"]
            bits += [f"{said.minutes:g} min"] if said.minutes is not None else []
            bits += [f"battery {said.battery}"] if said.battery else []
            bits += ["bent prop"] if said.bent_prop else []
            bits += [plural(said.crashes, "crash", "crashes")] if said.crashes is not None else []
            return ", ".join(bits)
        case "crash":
            bits = [f"Crash, {said.severity}"]
            bits += [f"into {said.obstacle}"] if said.obstacle else []
            bits += [f"{called(said.hit)} took it"] if said.hit else []
            bits += [f"broke {', '.join(called(b) for b in said.broke)}"] if said.broke else []
            return ", ".join(bits)
        case "check":
            gone = f", {said.missing} missing" if said.missing else ""
            found = (
                f"{said.loose} of {said.looked} loose{gone}"
                if said.loose or gone
                else f"all {said.looked} tight"
            )
            return f"Check of {said.group} screws: {found}"
        case "tighten":
            return f"Tightened all {said.group} screws"
        case "swap":
            return f"Swapped {called(said.part)}, {said.why}"
        case "repair":
            return f"Mended {called(said.part)}, {said.why}{': ' + said.text if said.text else ''}"
        case "tap":
            low, high = min(said.hz), max(said.hz)
            tones = f"{low:g} Hz" if low == high else f"{low:g}–{high:g} Hz"
            return f"Tapped {called(said.part)}: {tones}, {plural(len(said.hz), 'tap')}"
        case "finding":
            return f"{upfirst(called(said.part))} looked {said.state}{': ' + said.text if said.text else ''}"
        case "photo":
            of = f" of {called(said.part)}" if said.part else ""
            return f"Picture{of}{': ' + said.text if said.text else ''}"
        case "build":
            return f"Build changed{': ' + said.text if said.text else ''}"
        case "note":
            return f"Note: {said.text}"
        case "retraction":
            return f"Took an entry back{': ' + said.why if said.why else ''}"
        case other:
            return str(other)


def rows_of(events: Iterable[Event], labels: Mapping[str, str]) -> list[dict[str, Any]]:
    """What a page shows of each event; one that was taken back is marked as gone.

    Args:
        events: newest first.
        labels: of parts, by name; a part the build has no more keeps its name.
    """
    listed = list(events)
    twins = {pair.second: pair.summary() for pair in doubles(listed)}
    gone = {e.payload.target for e in listed if e.kind == "retraction"}  # type: ignore[attr-defined] # by its kind
    rows: list[dict[str, UUID | datetime | str | bool]] = [
        {
            "id": e.id,
            "when": e.occurred,
            "words": event_words(e, labels),
            "kind": e.kind,
            "gone": e.id in gone,
            "twin": twins.get(e.id, ""),
            "file": e.payload.file if e.kind == "photo" else "",  # type: ignore[attr-defined] # by its kind
            "can_go": e.kind not in ("retraction", "build") and e.id not in gone,
        }
        for e in listed
    ]
    return rows


@router.get("/quads/{slug}/journal")
def journal(request: Request, slug: str, page_number: int = 1) -> Response:
    """The journal of one quad, newest first."""
    shop = workshop(request)
    history = shop.history(slug)
    number = min(max(1, page_number), 1000)
    events = shop.events(slug, limit=number * SHOWN + 1)
    rows = rows_of(events, labels_of(shop, slug))
    # The sheet from before is on this machine: taking its change back is no entry that a phone can keep.
    builds = (e for e in events if e.kind == "build")
    restorable = {e.id for e in builds if shop.can_restore(slug, e.payload.digest)}  # type: ignore[attr-defined] # by its kind
    sizes = {r["file"]: shop.photo_size(r["file"]) for r in rows if r["file"] and not r["gone"]}
    swaps, breaks = sum(history.swaps.values()), sum(history.breaks.values())
    empty = not (history.packs or history.crashes or rows)
    sentence = (
        "Nothing entered yet: a pack or a crash is two taps on the Field page, all else is entered here."
        if empty
        else f"{plural(history.packs, 'pack')} and {plural(len(history.crashes), 'crash', 'crashes')}:"
        f" {plural(breaks, 'part')} broken, {swaps} swapped."
    )
    return page(
        request,
        "journal.html",
        slug=slug,
        sentence=sentence,
        rows=rows[(number - 1) * SHOWN : number * SHOWN],
        sizes=sizes,
        restorable=restorable,
        number=number,
        older=len(rows) > number * SHOWN,
        joints=shop.quad(slug).joints,
        parts=shop.quad(slug).pieces,
        severities=SEVERITIES,
        grades=GRADES,
        reasons=REASONS,
        tightened=TIGHTENED,
        why=WHY,
    )


@router.post("/quads/{slug}/journal/{event}/back")
def back(request: Request, slug: str, event: UUID) -> Response:
    """Take the last change of the build back: the sheet from before comes back."""
    shop = workshop(request)
    shop.require(slug)
    shop.undo(event, "taken back in the journal")
    return RedirectResponse(f"/quads/{slug}/journal#e-{event}", 303)
