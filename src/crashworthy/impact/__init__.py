"""Crashing the quad in simulation: ``simulate(quad, n, seed).summarise()`` answers what breaks."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from crashworthy.impact.assumptions import Assumed, assumed
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.campaign import CampaignCancelled, Chunk, simulate
    from crashworthy.impact.fracture import Fracture, beside
    from crashworthy.impact.hardest import WorstCrash, worst_crashes
    from crashworthy.impact.replays import Replay, bring_back, replay, worst
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.strikes import StrikeMap, strike_map
    from crashworthy.impact.summary import CrashSummary
    from crashworthy.impact.touches import FirstTouch, MomentHistogram
    from crashworthy.impact.width import engine

__all__ = [
    "Assumed",
    "CampaignCancelled",
    "Chunk",
    "CrashBatch",
    "CrashSummary",
    "FirstTouch",
    "Fracture",
    "MomentHistogram",
    "Replay",
    "Scenario",
    "StrikeMap",
    "WorstCrash",
    "assumed",
    "beside",
    "bring_back",
    "engine",
    "replay",
    "simulate",
    "strike_map",
    "worst",
    "worst_crashes",
]

_HOMES = {
    "Assumed": "assumptions",
    "CampaignCancelled": "campaign",
    "Chunk": "campaign",
    "CrashBatch": "batch",
    "CrashSummary": "summary",
    "FirstTouch": "touches",
    "Fracture": "fracture",
    "MomentHistogram": "touches",
    "Replay": "replays",
    "Scenario": "scenario",
    "StrikeMap": "strikes",
    "WorstCrash": "hardest",
    "assumed": "assumptions",
    "beside": "fracture",
    "bring_back": "replays",
    "engine": "width",
    "replay": "replays",
    "simulate": "campaign",
    "strike_map": "strikes",
    "worst": "replays",
    "worst_crashes": "hardest",
}


def __getattr__(name: str) -> object:
    """Import on first use: numba is heavy."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
