"""Seeing a crash test: worst crashes replayed, where the skin is struck, and the report to share."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Annotated, Any, Final

import numpy as np
from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import JSONResponse

from crashworthy.impact.damage import wilson
from crashworthy.impact.limbs import limbs_of
from crashworthy.pictures import paper, scene, strikes, timeline
from crashworthy.pictures.film import film_glb
from crashworthy.web.views import page, svg, workshop
from crashworthy.web.words import percent

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.impact.replays import Replay

router = APIRouter(include_in_schema=False)

MODEL: Final = "model/gltf-binary"

PAPER_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"
"""What a sheet for paper may do: show its own styles and pictures; no script, nothing from elsewhere."""

By = Annotated[strikes.By, Query()]
Number = Annotated[int | None, Query(ge=0, le=10_000_000)]
Seed = Annotated[int | None, Query(ge=0, lt=2**64)]


def sheet_answer(html: str, name: str, ending: str) -> Response:
    """A sheet for paper as HTML, shown, or as PDF, saved."""
    if ending == "pdf":
        head = {"Content-Disposition": f'attachment; filename="{name}.pdf"'}
        return Response(paper.pdf(html), media_type="application/pdf", headers=head)
    head = {
        "Content-Security-Policy": PAPER_POLICY,
        "Content-Disposition": f'inline; filename="{name}.html"',
    }
    return Response(html, media_type="text/html; charset=utf-8", headers=head)


def _labels(quad: Quad) -> dict[str, str]:
    return {p.name: p.label for p in quad.parts}


def _for_viewer(quad: Quad, found: Replay) -> dict[str, Any]:
    """The replay with what the viewer needs of the build to bend and twist it.

    ``follow``: limb and share of each vertex; ``turns``: of arms, how each vertex moves as they twist, m/rad;
    ``pivots``: of each arm, the axis and the place about which what rides at its tip turns.
    """
    follow = {
        name: [limb, 1 if (share == 1.0).all() else [round(float(x), 4) for x in share]]
        for name, (limb, share) in scene.followers(quad).items()
        if len(share)
    }
    turns = {
        name: [[round(float(x), 5) for x in way] for way in ways]
        for name, (_, ways) in scene.twisters(quad).items()
        if name in follow and follow[name][1] != 1
    }
    limbs = limbs_of(quad)[: len(quad.arms)]
    pivots = [[m.axis.tolist(), m.place.tolist()] for m in limbs]
    return {**found.to_json(), "labels": _labels(quad), "follow": follow, "turns": turns, "pivots": pivots}


def _from(found: Replay) -> str:
    """Direction of the eye in the axes of glTF."""
    a, e = (math.radians(x) for x in scene.eye(found))
    x, y, z = math.cos(a) * math.cos(e), math.sin(a) * math.cos(e), math.sin(e)
    return json.dumps([round(y, 4), round(z + 0.12, 4), round(x, 4)])


@router.get("/quads/{slug}/crash/replay")
def replay(request: Request, slug: str, part: str = "", crash: Number = None, seed: Seed = None) -> Response:
    """The worst crashes for a part, and one of them again; a link with seed and number brings it back."""
    shop = workshop(request)
    shop.require(slug)
    quad = shop.quad(slug)
    batch = shop.batch(slug)
    worst = shop.worst_crashes(slug, part)
    number = crash if crash is not None else worst[0].crash if worst else 0
    found = shop.replay(slug, number, seed)
    labels = _labels(quad)
    hit = batch.part_peak.max(axis=1)
    peaks = {name: (force, impulse) for name, force, impulse in found.peaks}
    return page(
        request,
        "replay.html",
        slug=slug,
        sentence=_replay_sentence(found, labels),
        found=found,
        worst=worst,
        part=part,
        parts=[
            (name, label)
            for i, (name, label, kind) in enumerate(batch.parts)
            if hit[i] > 0 and kind != "screw"
        ],
        labels=labels,
        peaks=peaks,
        seed=batch.seed if seed is None else seed,
        campaign_seed=batch.seed,
        chart=svg(timeline.timeline(found, labels)),
        loads=timeline.arm_loads(found).max(axis=0).tolist() if len(found.arms) else [],
        twisted=np.degrees(np.abs(found.twists).max(axis=0)).tolist() if len(found.arms) else [],
        direction=_from(found),
    )


@router.get("/quads/{slug}/crash/replay/moments")
def moments(request: Request, slug: str, crash: int, seed: Seed = None) -> Response:
    """Pictures of the moments of one crash, a piece of its page that comes once the page stands."""
    shop = workshop(request)
    shop.require(slug)
    quad, batch = shop.quad(slug), shop.batch(slug)
    strip = shop.memo.get(
        ("strip", slug, crash, seed),
        batch.digest,
        lambda: scene.strip_svg(quad, shop.replay(slug, crash, seed)),
    )
    return Response(strip, media_type="text/html; charset=utf-8")


def _replay_sentence(found: Replay, labels: dict[str, str]) -> str:
    head = f"Crash {found.crash}: {found.speed:.1f} m/s into {found.obstacle}"
    if not found.touched:
        return f"{head}; nothing is touched."
    first = labels[found.touched[0][0]]
    name, force, _ = found.peaks[0]
    return f"{head}; the {first} touches first, the {labels[name]} is hit hardest, {force:.0f} N."


@router.get("/quads/{slug}/crash/replay.json")
@router.get("/api/quads/{slug}/crash/replay")
def replay_data(request: Request, slug: str, crash: Number = None, seed: Seed = None) -> JSONResponse:
    """Frames of one crash; the worst one without a number."""
    shop = workshop(request)
    if crash is None:
        crash = shop.worst_crashes(slug, count=1)[0].crash
    return JSONResponse(_for_viewer(shop.quad(slug), shop.replay(slug, crash, seed)))


@router.get("/quads/{slug}/crash/film.glb")
def film(request: Request, slug: str, crash: Number = None, seed: Seed = None) -> Response:
    """The same as a film that any 3D viewer plays."""
    shop = workshop(request)
    number = crash if crash is not None else shop.worst_crashes(slug, count=1)[0].crash
    data = film_glb(shop.quad(slug), shop.replay(slug, number, seed))
    head = {"Content-Disposition": f'inline; filename="{slug}-crash-{number}.glb"'}
    return Response(data, media_type=MODEL, headers=head)


@router.get("/api/quads/{slug}/crash/worst")
def worst_data(request: Request, slug: str, part: str = "") -> JSONResponse:
    """The worst crashes for a part, for "*boards", or for the whole quad."""
    return JSONResponse([w.to_json() for w in workshop(request).worst_crashes(slug, part)])


def _share(name: str, count: int, n: int) -> dict[str, float]:
    """A share with its 95 % score interval, by name."""
    low, high = wilson(count, n)
    return {name: count / n, f"{name}_low": low, f"{name}_high": high}


@router.get("/quads/{slug}/crash/strikes")
def strike_page(request: Request, slug: str, by: By = "impulse") -> Response:
    """Where the skin is struck: the map on the 3D model, and the points and parts that take most."""
    shop = workshop(request)
    shop.require(slug)
    found = shop.strikes(slug)
    campaign = shop.latest_campaign(slug)
    value = found.per_hundred if by == "impulse" else found.hits / found.n
    order = sorted(range(len(value)), key=lambda i: -float(value[i]))
    rows = [
        {
            "label": found.parts[found.part[i]][1],
            "place": " / ".join(f"{round(1000 * x) + 0:d}".replace("-", "−") for x in found.place[i]),
            **_share("hit", int(found.hits[i]), found.n),
            **_share("first", int(found.first[i]), found.n),
            "impulse": float(found.per_hundred[i]),
        }
        for i in order[:16]
    ]
    total = float(found.impulse.sum()) or 1.0
    parts: dict[str, float] = {}
    for i, p in enumerate(found.part):
        label = found.parts[p][1]
        parts[label] = parts.get(label, 0.0) + float(found.impulse[i])
    return page(
        request,
        "strikes.html",
        slug=slug,
        sentence=found.summary(),
        found=found,
        campaign=campaign,
        by=by,
        rows=rows,
        parts=[
            (k, v * 100.0 / found.n, v / total) for k, v in sorted(parts.items(), key=lambda x: -x[1])[:14]
        ],
        scale=svg(strikes.strike_scale(by)),
        picture=shop.memo.get(
            ("strike picture", slug, by),
            campaign.key if campaign else "",
            lambda: paper.data_url(strikes.strike_png(shop.quad(slug), found, by, width=700)),
        ),
        percent=percent,
    )


@router.get("/quads/{slug}/crash/strikes.glb")
def strike_model(request: Request, slug: str, by: By = "impulse") -> Response:
    """The 3D model with a dot at each point that is struck."""
    shop = workshop(request)
    return Response(strikes.strike_glb(shop.quad(slug), shop.strikes(slug), by), media_type=MODEL)


@router.get("/api/quads/{slug}/crash/strikes")
def strike_data(request: Request, slug: str) -> JSONResponse:
    """The map as data."""
    return JSONResponse(workshop(request).strikes(slug).to_json())


@router.get("/quads/{slug}/crash/report.{ending}")
def report(request: Request, slug: str, ending: str) -> Response:
    """The one-page report, as HTML to look at or PDF to save."""
    return _paper(request, slug, ending, "crash-test", workshop(request).crash_report)


@router.get("/quads/{slug}/bench/torque.{ending}")
def torque(request: Request, slug: str, ending: str) -> Response:
    """The torque card for paper."""
    return _paper(request, slug, ending, "torque-card", workshop(request).torque_sheet)


@router.get("/quads/{slug}/bench/inspection.{ending}")
def inspection(request: Request, slug: str, ending: str) -> Response:
    """The inspection sheet for paper."""
    return _paper(request, slug, ending, "inspection", workshop(request).inspection_sheet)


def _paper(request: Request, slug: str, ending: str, name: str, make: Any) -> Response:
    from crashworthy.errors import NotFoundError, Problem

    if ending not in ("html", "pdf"):
        raise NotFoundError(Problem(f"there is no sheet as {ending}", "ask for html or pdf"))
    workshop(request).require(slug)
    return sheet_answer(make(slug), f"{slug}-{name}", ending)
