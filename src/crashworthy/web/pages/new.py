"""New: a dozen questions, the model growing beside them, drawings by drop, then into the fleet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Request, Response, UploadFile
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from crashworthy.build import step
from crashworthy.build.dropped import PART_UNITS, Drawing
from crashworthy.build.questions import FIELDS, QUESTIONS, all_checked
from crashworthy.errors import CrashworthyError
from crashworthy.pictures import drawing, glb
from crashworthy.pictures.measuring import SKETCHES, sketch
from crashworthy.web.problems import status_of
from crashworthy.web.views import page, svg, workshop

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.build.questions import Answer
    from crashworthy.errors import Problem
    from crashworthy.workshop.building import NewQuad

router = APIRouter(include_in_schema=False)

ROLES = {
    "bottom": "outline of the bottom plate",
    "top": "outline of the top plate",
    "part": "a part, file in mm",
    "part_cm": "a part, file in cm",
    "part_inch": "a part, file in inch",
    "part_m": "a part, file in metres",
}
"""What a dropped file may stand in for."""


def _roles(file: str) -> dict[str, str]:
    """What a file of this kind may stand in for; STEP says its unit itself."""
    suffix = file.lower().rpartition(".")[2]
    if suffix == "dxf":
        return {r: words for r, words in ROLES.items() if r not in PART_UNITS}
    if suffix in ("step", "stp"):
        return {"part": "parts, one for each of its bodies"}
    return {r: words for r, words in ROLES.items() if r in PART_UNITS}


def _typed(given: Mapping[str, str]) -> dict[str, str]:
    return {f.key: given.get(f.key, "")[:200] for f in FIELDS if given.get(f.key, "").strip()}


def _drawings(names: Sequence[str]) -> tuple[Drawing, ...]:
    """Dropped files as the form names them: "role/file"."""
    found = []
    for text in names[:40]:
        role, _, file = text.partition("/")
        if role in ROLES and file:
            found.append(Drawing(role, file))
    return tuple(found)


def _look(request: Request) -> tuple[NewQuad | None, Sequence[Problem]]:
    """The quad as far as the address describes it, and what is wrong with the answers."""
    query = request.query_params
    problems: list[Problem] = []
    answers: dict[str, Answer] = {}
    for key, text in _typed(query).items():
        try:
            answers |= all_checked({key: text})
        except CrashworthyError as error:
            problems += error.problems
    try:
        return workshop(request).describe(answers, _drawings(query.getlist("file"))), problems
    except CrashworthyError as error:
        return None, (*problems, *error.problems)


def _show(
    request: Request, template: str = "new.html", *, status: int = 200, refused: Sequence[Problem] = ()
) -> Response:
    new, problems = _look(request)
    typed = _typed(request.query_params)
    picture = "" if new is None else drawing.plan(new.quad)[0]
    return page(
        request,
        template,
        status=status,
        questions=QUESTIONS,
        sketches={name: svg(sketch(name)) for name in SKETCHES},
        typed=typed,
        drawings=_drawings(request.query_params.getlist("file")),
        roles=_roles,
        new=new,
        step=step.installed(),
        step_install=step.INSTALL,
        picture=svg(picture),
        problems=[*refused, *problems],
        wrong={p.field: p for p in problems},
        query=request.url.query,
    )


@router.get("/new")
async def questions(request: Request) -> Response:
    """The questions, what was answered, and what that gives."""
    return await run_in_threadpool(_show, request)


@router.get("/new/look")
async def look(request: Request) -> Response:
    """What the answers give, as a piece of the page."""
    return await run_in_threadpool(_show, request, "new_look.html")


@router.get("/new/model.glb")
async def model(request: Request) -> Response:
    """The model as far as it is described."""
    new, _ = await run_in_threadpool(_look, request)
    if new is None:
        return Response(status_code=422)
    return Response(glb.glb(new.quad), media_type="model/gltf-binary")


@router.post("/new")
async def create(request: Request) -> Response:
    """Take the described quad into the fleet."""
    form = await request.form()
    typed = {k: str(v) for k, v in form.items() if isinstance(v, str)}
    files = [str(v) for v in form.getlist("file") if isinstance(v, str)]

    def work() -> Response:
        try:
            slug = workshop(request).add_described(all_checked(_typed(typed)), _drawings(files))
        except CrashworthyError as error:
            pairs = [*_typed(typed).items(), *(("file", f) for f in files)]
            request.scope["query_string"] = urlencode(pairs).encode()
            fresh = Request(request.scope)
            return _show(fresh, status=status_of(error), refused=error.problems)
        return RedirectResponse(f"/quads/{slug}/build", 303)

    return await run_in_threadpool(work)


@router.post("/new/drop")
def drop(request: Request, file: Annotated[UploadFile, File()], back: str = "") -> Response:
    """A drawing, a body, a build sheet or a shared page."""
    shop, name, data = workshop(request), file.filename or "", file.file.read()
    suffix = name.lower().rpartition(".")[2]
    try:
        if suffix in ("html", "htm"):
            return RedirectResponse(f"/quads/{shop.add_shared(data)}/build", 303)
        if suffix == "toml":
            return RedirectResponse(f"/quads/{shop.add_dropped(name, data)}/build", 303)
        kept = shop.drop(name, data)
    except CrashworthyError as error:
        request.scope["query_string"] = back.encode()
        return _show(Request(request.scope), status=status_of(error), refused=error.problems)
    more = urlencode({"file": f"{kept.role}/{kept.file}"})
    return RedirectResponse(f"/new?{back}{'&' if back else ''}{more}", 303)
