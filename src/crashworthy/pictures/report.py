"""The report of a crash test: one page with what breaks and where it is hit, one with what was assumed."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any, Final

from crashworthy.impact.campaign import ENGINE
from crashworthy.pictures import matrix, paper
from crashworthy.pictures.render import quad_png
from crashworthy.pictures.strikes import strike_png, strike_scale

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.impact.sensitivity import Tornado
    from crashworthy.impact.strikes import StrikeMap

__all__ = ["crash_report"]

ROWS: Final = 9
"""Parts in the table: those that break most."""


def crash_report(
    quad: Quad,
    summary: Mapping[str, Any],
    strikes: StrikeMap | None = None,
    tornado: Tornado | None = None,
    *,
    sheet: str = "",
    scenario_file: str = "",
    invented: bool = False,
) -> str:
    """A self-contained HTML page; ``paper.pdf`` turns it into PDF.

    Args:
        quad: the build that was crashed.
        summary: ``CrashSummary.to_json()``, with ``Assumed.to_json()`` under "assumed" for the second page.
        strikes: drawn on the picture of the build when given.
        tornado: names the assumptions that move the answer.
        sheet: how the command line finds the build, for the line that runs it again.
        scenario_file: of that line.
        invented: say that the data is invented.
    """
    parts = sorted((p for p in summary["parts"] if p["modes"]), key=lambda p: -p["breaks"])[:ROWS]
    fracture = summary.get("fracture")
    touch = summary.get("first_touch")
    told = summary.get("assumed")
    command = ["crashworthy", "crash", sheet or f"{quad.slug}.toml", "--n", str(summary["n"])]
    command += ["--seed", str(summary["seed"])]
    if scenario_file:
        command += ["--scenario", scenario_file]
    known = {**dict.fromkeys(("fracture", "first_touch", "moments")), **summary}
    return paper.sheet(
        "report.html",
        name=quad.name,
        mass=quad.mass,
        count=len(quad.pieces),
        invented=invented,
        s=known,
        parts=parts,
        both={b["name"]: b for b in fracture["parts"]} if fracture else {},
        build=quad_png(quad, width=620) if strikes is None else strike_png(quad, strikes, width=620),
        strikes=strikes,
        scale="" if strikes is None else strike_scale("impulse"),
        matrix=matrix.first_touch_matrix(touch) if touch and sum(touch["crashes"]) else "",
        moments=matrix.moment_histograms(summary["moments"]) if summary.get("moments") else "",
        tornado=tornado,
        told=told,
        digest=quad.digest,
        engine=ENGINE,
        scenario=summary["scenario"].get("name", "everyday mix"),
        command=shlex.join(command),
    )
