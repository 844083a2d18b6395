"""A build as one self-contained page to hand on: seen in 3D, with what breaks, how tight, and its sheet.

Private data stays out by construction: the page is made from a ``Quad``, the text of its sheet, its drawings
and the summary of a campaign, and from nothing else. Of the summary only parts, hits and breaks are shown;
the scenario, which can hold a pilot's own mix, is not. Comments of the sheet go along only when asked for;
drawings come as ``build.cleared`` writes them, from their shapes alone.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from crashworthy.build.reading import parse
from crashworthy.build.writing import to_toml
from crashworthy.errors import Problem, SheetError
from crashworthy.pictures import drawing, paper, ramp
from crashworthy.pictures.glb import glb
from crashworthy.pictures.render import quad_png
from crashworthy.quantities import DEG
from crashworthy.strength.beam import arm_beam
from crashworthy.strength.torque import torque_card

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad

__all__ = ["HIT_TOP", "share_page", "shared_build"]

HIT_TOP: Final = 0.5
"""Hit share that gets the full shade, as on the Build page."""

WEAK: Final = 10
"""Parts listed as weaknesses: those that break most."""

LIMIT: Final = 200_000_000
"""A larger page, in bytes, is not read."""

_DATA = re.compile(rb'<script type="application/json" id="crashworthy-build">(.*?)</script>', re.DOTALL)


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _data(quad: Quad, text: str, drawings: Mapping[str, bytes]) -> str:
    held = {
        "format": 1,
        "name": quad.name,
        "sheet": text,
        "drawings": {name: base64.b64encode(raw).decode() for name, raw in sorted(drawings.items())},
    }
    # Inside a script element only these letters could end it.
    plain = json.dumps(held, ensure_ascii=True)
    return plain.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _short(x: float) -> str:
    return f"{x:.0f}" if x >= 100 else f"{x:.3g}"


def _weak(summary: Mapping[str, Any], sources: list[str]) -> list[dict[str, Any]]:
    rows = [p for p in summary["parts"] if p["modes"] and p["breaks"] > 0.0]
    found = []
    for part in sorted(rows, key=lambda p: -p["breaks"])[:WEAK]:
        mode = part["modes"][0]
        told = f"{mode['source']} ({mode['access']})"
        if told not in sources:
            sources.append(told)
        half = f"half of them break at {_short(mode['median'])} {mode['unit']}; " if mode["unit"] else ""
        hard = f"the hardest tenth of its hits reach {part['utilisation']['p90']:.1f} times its strength"
        found.append({**part, "because": f"{half}{hard}.", "source": sources.index(told) + 1})
    return found


def share_page(
    quad: Quad,
    text: str,
    summary: Mapping[str, Any] | None = None,
    drawings: Mapping[str, bytes] | None = None,
    *,
    viewer: str = "",
    comments: bool = False,
) -> str:
    """The page as HTML; ``paper.pdf`` makes PDF of it.

    Args:
        quad: the build.
        text: of its sheet.
        summary: ``CrashSummary.to_json()`` of a campaign of this very build, or None.
        drawings: every file that the sheet names, by that name; None leaves sheet and drawings out of the
            page's data, as for paper.
        viewer: script of the 3D view, a module without imports; "" for paper.
        comments: keep the sheet as it was typed; else only its values.
    """
    from markupsafe import Markup

    kept = text if comments else to_toml(parse(text))
    shares = {} if summary is None else {str(p["name"]): float(p["hit"]) for p in summary["parts"]}
    shades = {name: ramp.on_log(share, HIT_TOP) for name, share in shares.items()} or None
    steps = None if shades is None else {name: ramp.step(x) for name, x in shades.items()}
    picture, items = drawing.plan(quad, steps)
    card = torque_card(quad)
    sources: list[str] = []
    weak = [] if summary is None else _weak(summary, sources)
    sources += [
        f"{d.material.replace('_', ' ')}, {d.name.replace('_', ' ')}: {d.value:g} {d.unit}; "
        f"{d.source} ({d.access})"
        for d in card.origin
    ]
    own = files("crashworthy.pictures").joinpath("templates")
    style = own.joinpath("share.css").read_text(encoding="utf-8")
    base = own.joinpath("paper.css").read_text(encoding="utf-8")
    scripts = _hash(viewer) if viewer else "'none'"
    policy = (
        f"default-src 'none'; img-src data:; style-src {_hash(base)} {_hash(style)}; script-src {scripts}; "
        "base-uri 'none'; form-action 'none'"
    )
    parts = len(quad.pieces)
    known = None if summary is None else {k: summary[k] for k in ("summary", "n", "seed", "interval")}
    # Our own scripts and styles, and JSON whose letters < > & are written as escapes.
    safe = {"viewer": viewer, "own_style": style, "policy": policy}
    safe["data"] = "" if drawings is None else _data(quad, kept, drawings)
    safe["model"] = base64.b64encode(glb(quad, shades)).decode() if viewer else ""
    return paper.sheet(
        "share.html",
        quad=quad,
        sentence=f"{quad.name}: {1000 * quad.mass:.0f} g in {parts} parts."
        + ("" if not weak else f" The {weak[0]['label']} breaks first."),
        s=known,
        weak=weak,
        shares=shares,
        share_words=json.dumps({n: f"hit in {100 * x:.2g} % of crashes" for n, x in shares.items()}),
        scale=ramp.scale("0.1 %", "50 %", "hit in this share of crashes", [(0.37, "1 %"), (0.74, "10 %")]),
        still=quad_png(quad, shades, width=620),
        plan=picture,
        items=items,
        card=card,
        degree=DEG,
        arms=arm_beam(quad.arms[0]).belief.summary(),
        sources=sources,
        text=kept,
        files=len(drawings or {}),
        comments=comments,
        **{k: Markup(v) for k, v in safe.items()},  # noqa: S704 - see above
    )


def shared_build(page: bytes) -> tuple[str, dict[str, bytes]]:
    """The sheet and the drawings that a shared page holds, byte for byte.

    Raises:
        SheetError: it is no such page, or damaged.
    """
    found = _DATA.search(page[:LIMIT])
    remedy = "export it again with `crashworthy share QUAD -o FILE.html`"
    if found is None:
        raise SheetError(Problem("this page holds no build", remedy, field="page"))
    try:
        held = json.loads(found[1])
        text = str(held["sheet"])
        drawings = {str(k): base64.b64decode(v, validate=True) for k, v in held["drawings"].items()}
        known = held["format"] == 1
    except (ValueError, KeyError, TypeError, AttributeError, binascii.Error):
        raise SheetError(Problem("the build in this page is damaged", remedy, field="page")) from None
    if not known:
        raise SheetError(
            Problem("this page was made by a newer version", "update this program", field="page")
        )
    return text, drawings
