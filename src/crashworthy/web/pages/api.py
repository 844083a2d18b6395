"""The same for machines: events in, due list out. The client makes the ids, so a retry adds nothing."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Annotated, Any
from uuid import UUID

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from crashworthy.errors import JournalError, NotFoundError, Problem
from crashworthy.store.journal import AppendResult
from crashworthy.upkeep.events import Event
from crashworthy.upkeep.payloads import payload_from
from crashworthy.web.views import workshop

if TYPE_CHECKING:
    from crashworthy.accounts.sessions import Guest

router = APIRouter(prefix="/api")


class EventIn(BaseModel):
    """One event as a client sends it; what its payload may hold is checked by the journal itself."""

    model_config = ConfigDict(extra="forbid")

    id: str = Field(max_length=36, description="UUID made by the client, lower case with hyphens")
    device: str = Field(max_length=64, description="who entered it; one name for each device")
    device_seq: int = Field(ge=1, lt=2**53, description="rises with each event of a device")
    kind: str = Field(max_length=20)
    occurred: str = Field(max_length=40, description="ISO 8601 with a time zone")
    payload: dict[str, Any] = Field(default_factory=dict)


def _event(slug: str, event: EventIn) -> Event:
    values: Any = event.model_dump(exclude={"kind", "payload"})  # Event cleans each field by its rule
    return Event(quad=slug, payload=payload_from(event.kind, event.payload), **values)


def _saw(request: Request, result: AppendResult, devices: dict[str, str]) -> None:
    """Note whose devices these are, where there are accounts; a duplicate may be the retry of an entry."""
    found: Guest | None = request.scope.get("state", {}).get("guest")
    if found is not None:
        kept = {str(event) for event in (*result.accepted, *result.duplicate)}
        used = {device for event, device in devices.items() if event.lower() in kept}
        request.app.state.hall.accounts.saw_devices(found, used)


@router.post("/quads/{slug}/events", status_code=201)
def add_event(request: Request, slug: str, event: EventIn) -> JSONResponse:
    """Append one event: 201 when it is new, 200 when this very event was here already."""
    result = workshop(request).append([_event(slug, event)])
    _saw(request, result, {event.id: event.device})
    if result.rejected:
        raise JournalError(*(Problem(r.reason, "", field="id") for r in result.rejected))
    return JSONResponse(result.to_json(), 201 if result.accepted else 200)


class LooseEvent(BaseModel):
    """One event of a batch: read leniently, so that one bad entry is refused by itself."""

    model_config = ConfigDict(extra="allow")

    id: UUID = Field(description="UUID made by the client")
    quad: str = Field(max_length=80)


class Batch(BaseModel):
    """Entries of one device, in the order in which they were made."""

    model_config = ConfigDict(extra="forbid")

    events: list[LooseEvent] = Field(max_length=200)


def _reason(problem: Problem) -> str:
    remedy = f"({problem.remedy})" if problem.remedy else ""
    return " ".join(x for x in (problem.field, problem.what, remedy) if x)


@router.post("/events")
def add_events(request: Request, batch: Batch) -> JSONResponse:
    """Append a batch: every entry is acknowledged or refused by its id, and a bad one stops no other.

    ``now`` is the server's clock, by which a phone with a wrong one corrects itself.
    """
    shop = workshop(request)
    good: list[Event] = []
    refused: list[dict[str, str]] = []

    def refuse(event: UUID, *reasons: str) -> None:
        refused.append({"id": str(event), "reason": "; ".join(reasons)})

    for row in batch.events:
        try:
            one = EventIn.model_validate({**(row.model_extra or {}), "id": str(row.id)})
            good.append(_event(row.quad, one))
        except ValidationError as error:
            refuse(row.id, *(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors()))
        except JournalError as error:
            refuse(row.id, *map(_reason, error.problems))
    try:
        results = shop.append(good)  # one transaction, as a phone that comes home sends a day at once
    except (JournalError, NotFoundError):
        results = AppendResult()
        for event in good:
            try:
                results += shop.append([event])
            except (JournalError, NotFoundError) as error:
                refuse(event.id, *map(_reason, error.problems))
    _saw(request, results, {str(event.id): event.device for event in good})
    body = results.to_json()
    body["rejected"] += refused
    return JSONResponse({**body, "now": shop.store.now().isoformat()})


class PhotoIn(BaseModel):
    """The entry of a picture that a phone took, perhaps without a network."""

    model_config = ConfigDict(extra="forbid")

    id: UUID = Field(description="UUID made by the client: sent again, it is the same entry")
    quad: str = Field(max_length=80)
    device: str = Field(max_length=64)
    device_seq: int = Field(ge=1, lt=2**53)
    occurred: str = Field(max_length=40, description="ISO 8601 with a time zone")
    part: str = Field("", max_length=80)
    text: str = Field("", max_length=4000)


@router.post("/photos")
def add_photo(
    request: Request, entry: Annotated[str, Form(max_length=8000)], file: Annotated[UploadFile, File()]
) -> JSONResponse:
    """Keep one picture and its entry; the answer names the SHA-256 of the bytes that came, as a receipt.

    201 when the entry is new, 200 when it was here already. ``entry`` is JSON, see ``PhotoIn``.
    """
    try:
        said = PhotoIn.model_validate_json(entry)
    except ValidationError as error:
        raise JournalError(
            *(Problem(e["msg"], "", field=".".join(map(str, e["loc"]))) for e in error.errors())
        ) from None
    size, received = 0, hashlib.sha256()
    while block := file.file.read(1 << 20):
        size += len(block)
        received.update(block)
    file.file.seek(0)
    values = said.model_dump(exclude={"id", "quad"})
    result = workshop(request).take_photo(said.quad, file.file, event=said.id, **values)
    _saw(request, result, {str(said.id): said.device})
    if result.rejected:
        raise JournalError(*(Problem(r.reason, "", field="id") for r in result.rejected))
    body = {"id": str(said.id), "received": received.hexdigest(), "bytes": size}
    return JSONResponse(body, 201 if result.accepted else 200)


@router.get("/quads/{slug}/due")
def due(request: Request, slug: str) -> JSONResponse:
    """The due list of one quad."""
    return JSONResponse([d.to_json() for d in workshop(request).due(slug)])


@router.get("/fleet")
def fleet(request: Request) -> JSONResponse:
    """Every quad at a glance."""
    return JSONResponse(
        [
            {
                "slug": c.slug,
                "name": c.name,
                "packs": c.packs,
                "crashes": c.crashes,
                "mass_g": None if c.mass is None else round(1000 * c.mass, 1),
                "due": [d.to_json() for d in c.due],
                "problem": c.problem,
                "invented": c.invented,
            }
            for c in workshop(request).fleet()
        ]
    )


@router.get("/jobs/{job}")
def job(request: Request, job: str) -> JSONResponse:
    """How far a campaign or another long job is."""
    now = workshop(request).job(job)
    return JSONResponse(
        {
            "id": now.id,
            "title": now.title,
            "state": now.state,
            "done": now.done,
            "total": now.total,
            "message": now.message,
            "seconds": round(now.seconds, 2),
        }
    )


@router.get("/quads/{slug}/crash")
def campaign(request: Request, slug: str) -> JSONResponse:
    """The latest campaign of a quad, or null."""
    workshop(request).require(slug)
    found = workshop(request).latest_campaign(slug)
    if found is None:
        return JSONResponse(None)
    summary = workshop(request).corrected_summary(found, wait=False)
    body = {"n": found.n, "seed": found.seed, "stale": found.stale, "created": found.created.isoformat()}
    return JSONResponse({**body, "summary": summary, "sentence": summary["summary"]})


@router.get("/quads/{slug}/learned")
def learned(request: Request, slug: str) -> JSONResponse:
    """What the journal's crashes teach: strengths and the mix of crashes; the mix needs a crash test."""
    shop = workshop(request)
    mine = shop.mine(slug).to_json() if shop.reference_campaign(slug) else None
    return JSONResponse({"strengths": shop.learned(slug).to_json(), "scenario": mine})


@router.get("/quads/{slug}/lives")
def lives(request: Request, slug: str) -> JSONResponse:
    """What is worn, and what is left of it."""
    return JSONResponse(workshop(request).wear(slug).to_json())


@router.get("/quads/{slug}/placement")
def placement(request: Request, slug: str, towards: str = "even") -> JSONResponse:
    """Where everything sits: exposure, moves, camera, antennas, leads, pack."""
    return JSONResponse(workshop(request).placement(slug, towards=towards).to_json())


@router.get("/quads/{slug}/placement/camera")
def camera(request: Request, slug: str) -> JSONResponse:
    """Recess against tilt, and the deepest recess at each tilt."""
    return JSONResponse(workshop(request).trade_off(slug).to_json())


@router.get("/quads/{slug}/placement/link/{antenna}")
def link(request: Request, slug: str, antenna: str) -> JSONResponse:
    """One antenna: link, margin by direction, candidate places, two receivers."""
    return JSONResponse(workshop(request).antenna(slug, antenna).to_json())


@router.get("/quads/{slug}/placement/agreement")
def agreement(request: Request, slug: str) -> JSONResponse:
    """First touches by geometry beside those of the newest crash test of this build, or null."""
    found = workshop(request).known_agreement(slug)
    return JSONResponse(None if found is None else found.to_json())


@router.get("/quads/{slug}/placement/trial/{other}")
def trial(request: Request, slug: str, other: str) -> JSONResponse:
    """Two quads before and after; with their crashes when both were crashed since the start."""
    shop = workshop(request)
    return JSONResponse((shop.latest_trial(slug, other) or shop.trial(slug, other)).to_json())
