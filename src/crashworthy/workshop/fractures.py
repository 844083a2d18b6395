"""A kept campaign with fracture at strengths that a journal taught: the same crashes, run again.

Only what breaks in the run (arms and props) needs new crashes; the chances of all other parts follow from the
loads. The strengths at which arms and props let go are taken in steps of 2 %, so that a journal entry that
moves them by less finds the crashes that were kept.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable

    from crashworthy.strength.correction import Corrections
    from crashworthy.workshop.crashes import Campaign, CrashBench

__all__ = ["STEP", "fracture_at", "stepped"]

STEP: Final = 0.02
"""Step of the logarithm of the strengths at which arms and props break in the run."""

IN_RUN: Final = ("arm", "prop")
"""Kinds that break in the run."""


def stepped(corrections: Corrections) -> Corrections:
    """Corrections of what breaks in the run, each factor moved to the nearest step."""
    return {
        kind: replace(c, factor=math.exp(round(math.log(c.factor) / STEP) * STEP))
        for kind, c in corrections.items()
        if kind in IN_RUN
    }


def fracture_at(
    bench: CrashBench,
    campaign: Campaign,
    corrections: Corrections,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> dict[str, Any]:
    """Both ways at corrected strengths, as plain data.

    Args:
        bench: where crashes run and are kept.
        campaign: of the build as it is now, run with fracture too.
        corrections: of its strengths.
        progress: called with (done, total).
        cancelled: asked before each result is taken.

    Raises:
        NotFoundError, SheetError, ScenarioError: the build cannot be crashed any more.
        CampaignCancelled: ``cancelled`` said so.
    """
    from crashworthy.impact.fracture import beside
    from crashworthy.impact.scenario_file import from_plain
    from crashworthy.strength.correction import corrected_capacities

    quad = bench.quad(campaign.slug)
    paired = int(campaign.summary["fracture"]["n"])
    modes = corrected_capacities(quad, corrections)
    broken = bench.crash(
        quad, paired, campaign.seed, from_plain(campaign.scenario), fracture=True,
        strengths=stepped(corrections), progress=progress, cancelled=cancelled,
    )  # fmt: skip
    # Older campaigns kept a scenario without sources; it is the same scenario.
    broken = replace(broken, capacities=modes, scenario=campaign.scenario)
    return beside(replace(bench.kept_batch(campaign), capacities=modes), broken).to_json()
