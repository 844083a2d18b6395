"""Crashing the quad in simulation: ``simulate(quad, n, seed).summarise()`` answers what breaks."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.campaign import CampaignCancelled, Chunk, simulate
    from crashworthy.impact.replays import Replay, replay, worst
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.summary import CrashSummary
    from crashworthy.impact.width import engine

__all__ = [
    "CampaignCancelled",
    "Chunk",
    "CrashBatch",
    "CrashSummary",
    "Replay",
    "Scenario",
    "engine",
    "replay",
    "simulate",
    "worst",
]

_HOMES = {
    "CampaignCancelled": "campaign",
    "Chunk": "campaign",
    "CrashBatch": "batch",
    "CrashSummary": "summary",
    "Replay": "replays",
    "Scenario": "scenario",
    "engine": "width",
    "replay": "replays",
    "worst": "replays",
    "simulate": "campaign",
}


def __getattr__(name: str) -> object:
    """Import on first use: numba is heavy."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
