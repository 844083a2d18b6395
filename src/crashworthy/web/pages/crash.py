"""Crash test: ask for a campaign, watch it, read what is hit and what breaks and what it rests on."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import tomli_w
from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.errors import CrashworthyError, NotFoundError, Problem, ScenarioError
from crashworthy.impact.scenario import Scenario
from crashworthy.pictures import loads, ramp
from crashworthy.pictures.breaks import break_bars, hit_bars, reach_picture
from crashworthy.pictures.matrix import first_touch_matrix, moment_histograms
from crashworthy.upkeep.mix import JOURNAL
from crashworthy.upkeep.strengths import IDENTIFIABLE
from crashworthy.web.pages.arrows import mix_arrows, strength_arrows
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop
from crashworthy.web.words import few, percent, upfirst
from crashworthy.workshop.learning import MINE, STRENGTHS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.jobs.runner import JobStatus
    from crashworthy.workshop import PartLoads

router = APIRouter(include_in_schema=False)

DEFAULT_N: Final = 2000
DEFAULT_SEED: Final = 1


def _float(form: Mapping[str, str], name: str, fallback: float, problems: list[Problem]) -> float:
    text = form.get(name, "").strip().replace(",", ".")
    if not text:
        return fallback
    try:
        return float(text)
    except ValueError:
        problems.append(Problem(f"{text!r} is not a number", "write a number such as 11 or 0.5", field=name))
        return fallback


def _whole(form: Mapping[str, str], name: str, fallback: int, problems: list[Problem]) -> int:
    text = form.get(name, "").strip()
    if not text:
        return fallback
    if text.lstrip("+-").isdigit():
        return int(text)
    problems.append(Problem(f"{text!r} is not a whole number", f"write one such as {fallback}", field=name))
    return fallback


def precision(form: Mapping[str, str], problems: list[Problem]) -> float:
    """Share to which the answers are to be known, given in %; 0 for no early stop."""
    return _float({"until": form.get("until", "").rstrip("% ")}, "until", 0.0, problems) / 100.0


def watched(form: Mapping[str, str]) -> tuple[str, ...]:
    """What is to be watched: the choice "rare", or parts with commas between them."""
    return tuple(text.strip() for text in form.get("watch", "").split(",") if text.strip())


def asked(form: Mapping[str, str]) -> tuple[int, int, str]:
    """Number of crashes, seed and scenario (TOML, "" for the everyday mix) from the form.

    Raises:
        ScenarioError: with every field that is no number.
    """
    problems: list[Problem] = []
    n = _whole(form, "n", DEFAULT_N, problems)
    seed = _whole(form, "seed", DEFAULT_SEED, problems)
    prior = fields_of(None)
    given = {key: _float(form, key, float(text), problems) for key, text in prior.items()}
    if not 0 <= seed < 2**64:
        problems.append(Problem(f"seed {seed} is out of range", "use 0 to 2**64 - 1", field="seed"))
    if problems:
        raise ScenarioError(*problems)
    changed = {key for key, text in prior.items() if given[key] != float(text)}
    if not changed:
        return n, seed, ""
    journal = form.get("mix") == MINE
    told = "filled in from the journal, or changed by hand" if journal else "filled in by hand"

    def source(*fields: str) -> dict[str, str]:
        return {"source": told} if changed.intersection(fields) else {}

    mix = {
        row["name"]: {k: v for k, v in row.items() if k != "name"}
        | {"weight": given[f"obstacles.{row['name']}"] / 100}
        | source(f"obstacles.{row['name']}")
        for row in Scenario.default().to_json()["obstacles"]
    }
    sections = {
        name: {k: given[f"{name}.{k}"] / scale for k in fields} | source(*(f"{name}.{k}" for k in fields))
        for name, fields, scale in (
            ("speed", ("median", "sd_ln", "low", "high"), 1),
            ("attitude", ("nose", "tumble", "flat"), 100),
        )
    }
    name = JOURNAL if journal else "edited mix"
    return n, seed, tomli_w.dumps({"name": name, **sections, "obstacles": mix})


def fields_of(scenario: Mapping[str, Any] | None) -> dict[str, str]:
    """The form's fields filled from a scenario, or from the priors."""
    data = Scenario.default().to_json() if scenario is None else scenario
    filled = {f"speed.{k}": f"{data['speed'][k]:g}" for k in ("median", "sd_ln", "low", "high")}
    filled |= {f"attitude.{k}": f"{100 * data['attitude'][k]:g}" for k in ("nose", "tumble", "flat")}
    # A campaign of an older mix may lack an obstacle of the form.
    filled |= {f"obstacles.{o.name}": "0" for o in Scenario.default().obstacles}
    filled |= {f"obstacles.{o['name']}": f"{100 * o['weight']:g}" for o in data["obstacles"]}
    return filled


def _sentence(summary: Mapping[str, Any] | None) -> str:
    if summary is None:
        return "Not crashed yet: run a campaign and see what gets hit first and what breaks."
    return str(summary["summary"])


@router.get("/quads/{slug}/crash")
def crash(request: Request, slug: str, job: str = "", strengths: str = "", mix: str = "") -> Response:
    """The latest campaign, the form for the next, and the one that runs now.

    ``strengths`` chooses mine or tabled, ``mix`` fills the form with the assumed mix or with mine.
    """
    return _show(request, slug, job=job, strengths=strengths, mix=mix)


@router.get("/quads/{slug}/crash/mine.toml")
def mine_file(request: Request, slug: str) -> Response:
    """The mix that the journal tells, as a scenario file to edit."""
    return Response(
        workshop(request).mine(slug).toml(),
        media_type="application/toml",
        headers={"Content-Disposition": f'attachment; filename="{slug}-mine.toml"'},
    )


def _watchable(request: Request, slug: str) -> tuple[str, ...]:
    """Kinds of parts that can be watched, in the order of the build."""
    try:
        return tuple(dict.fromkeys(p.kind for p in workshop(request).quad(slug).parts))
    except CrashworthyError:  # a broken sheet is told of elsewhere
        return ()


def _job(request: Request, key: str) -> JobStatus | None:
    if not key:
        return None
    try:
        return workshop(request).job(key)
    except NotFoundError:
        return None


def _show(
    request: Request,
    slug: str,
    *,
    job: str = "",
    strengths: str = "",
    mix: str = "",
    typed: Mapping[str, str] | None = None,
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    shop = workshop(request)
    shop.require(slug)
    campaign = shop.latest_campaign(slug)
    strengths = strengths if strengths in STRENGTHS else MINE
    summary = shop.corrected_summary(campaign, strengths, wait=False) if campaign else None
    learned = mine = None
    with suppress(CrashworthyError):  # a sheet that cannot be read now teaches nothing; its page says why
        if campaign and not campaign.stale:
            learned, mine = shop.learned(slug), shop.mine(slug) if shop.reference_campaign(slug) else None
    fracture = summary.get("fracture") if summary else None
    touch = summary.get("first_touch") if summary else None  # campaigns of older versions lack both
    fields = fields_of(campaign.scenario if campaign else None)
    if mix:
        fields = fields_of(mine.scenario.to_json() if mix == MINE and mine else None)
    fields |= {
        "n": str((summary or {}).get("asked") or (campaign.n if campaign else DEFAULT_N)),
        "watch": ", ".join(w["name"] for w in (summary or {}).get("watched", ())),
        "until": f"{100 * u:g}" if (u := (summary or {}).get("until", 0.0)) else "",
        "seed": str(campaign.seed if campaign else DEFAULT_SEED),
    }
    return page(
        request,
        "crash.html",
        slug=slug,
        status=status,
        sentence=_sentence(summary),
        campaign=campaign,
        summary=summary,
        job=_job(request, job),
        fields=fields | dict(typed or {}),
        filled=mix or (MINE if campaign and campaign.scenario.get("name") == JOURNAL else ""),
        learned=learned,
        mine=mine,
        identifiable=IDENTIFIABLE,
        moved=svg(strength_arrows(learned)) if learned and learned.kinds else "",
        shares=svg(mix_arrows(mine)) if mine and mine.fitted else "",
        obstacles=Scenario.default().obstacles,
        watchable=_watchable(request, slug),
        problems=problems,
        hits=svg(hit_bars(summary["parts"])) if summary else "",
        breaks=svg(break_bars(summary["groups"])) if summary else "",
        fracture=fracture,
        both={b["name"]: b for b in fracture["parts"]} if fracture else {},
        named={p["name"]: p for p in summary["parts"]} if summary else {},
        touch=touch,
        matrix=svg(first_touch_matrix(touch)) if touch and sum(touch["crashes"]) else "",
        scale=svg(ramp.scale("1 %", "50 %", "of the crashes into an obstacle", [(0.59, "10 %")])),
        moments=svg(moment_histograms(summary["moments"])) if summary and summary.get("moments") else "",
        reach=svg(reach_picture(summary["parts"])) if summary else "",
    )


@router.post("/quads/{slug}/crash")
async def start(request: Request, slug: str) -> Response:
    """Start a campaign in the background; a form that will not do comes back as it was filled."""
    form = {k: v for k, v in (await request.form()).items() if isinstance(v, str)}
    return await run_in_threadpool(_start, request, slug, form)


@router.get("/quads/{slug}/crash/{part}")
def part(request: Request, slug: str, part: str) -> Response:
    """One part in the latest campaign: how often it is touched, and its loads against its strengths."""
    shop = workshop(request)
    modes = shop.part_loads(slug, part)
    campaign = shop.latest_campaign(slug)
    known = {p["name"]: p for p in shop.corrected_summary(campaign, wait=False)["parts"]} if campaign else {}
    if part not in known:
        label = shop.quad(slug).part(part).label
        raise NotFoundError(
            Problem(f"no crash of the latest campaign touched the {label}", "run more crashes")
        )
    told = known[part]
    return page(
        request,
        "crash_part.html",
        slug=slug,
        part=told,
        sentence=_part_sentence(told),
        campaign=campaign,
        modes=[(m, svg(_mode_picture(told["label"], m))) for m in modes],
    )


def _part_sentence(part: Mapping[str, Any]) -> str:
    head = f"{upfirst(part['label'])}: touched in {percent(part['hit'])} of the crashes"
    if not part["modes"]:
        return f"{head}; nothing is known of what breaks it."
    often = f"{few(100 * part['breaks'])} ({few(100 * part['breaks_low'])}–{few(100 * part['breaks_high'])})"
    return f"{head}, breaks in {often} of 100, mostly by {part['modes'][0]['mode']}."


def _mode_picture(label: str, mode: PartLoads) -> str:
    """Histogram of the loads against the strength, or "" when no crash loaded the part in this mode."""
    if not (mode.loads > 0).any():
        return ""
    title = f"{upfirst(label)}, {mode.mode}"
    return loads.load_strength(
        mode.loads, mode.median, mode.beta, title=title, unit=mode.unit or "× capacity", weight=mode.weight
    )


def _start(request: Request, slug: str, form: dict[str, str]) -> Response:
    try:
        n, seed, scenario = asked(form)
        problems: list[Problem] = []
        until = precision(form, problems)
        if problems:
            raise ScenarioError(*problems)
        job = workshop(request).start_crash_test(slug, n, seed, scenario, watch=watched(form), until=until)
    except CrashworthyError as error:
        # File and line are those of the text made from the form; the person filled in fields.
        told = [replace(p, file="", line=0) for p in error.problems]
        return _show(request, slug, typed=form, problems=told, status=status_of(error))
    return RedirectResponse(f"/quads/{slug}/crash?job={job.id}", 303)
