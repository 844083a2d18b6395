"""What one quad gives to its crew, and the file it travels in: counts alone.

No time, place, note or event: counts, and two numbers a class of screws. Pilots are told apart, not named.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.due import JointGroup, group_history, learned_interval
from crashworthy.upkeep.history import SEVERITIES
from crashworthy.upkeep.loosening import prior_posterior
from crashworthy.upkeep.priors import CLASSES

if TYPE_CHECKING:
    from crashworthy.upkeep.breakage import BreakRate
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.priors import Priors

__all__ = ["PilotCounts", "QuadCounts", "counts_of", "read_counts"]

FORMAT: Final = "crashworthy-counts-1"


@dataclass(frozen=True, slots=True)
class PilotCounts:
    """What one pilot did with one quad.

    Attributes:
        crashes: (scuffs, hits, slams) as this pilot named them.
        items: (breaks in them, breaks the simulation expected) by item.
    """

    crashes: tuple[int, int, int]
    items: dict[str, tuple[int, float]]


@dataclass(frozen=True, slots=True)
class QuadCounts:
    """What one quad gives to its crew.

    Attributes:
        label: how it is called there.
        packs: flown.
        crashes: (scuffs, hits, slams).
        items: (breaks, breaks the simulation expected) by item.
        screws: (ln eta less the prior's, its error, checks) by upkeep class, prior taken out.
        pilots: what each pilot gives, by a name that says no more than that.
    """

    label: str
    packs: int
    crashes: tuple[int, int, int]
    items: dict[str, tuple[int, float]]
    screws: dict[str, tuple[float, float, int]]
    pilots: dict[str, PilotCounts] = field(default_factory=dict)

    def told_by(self, who: str) -> QuadCounts:
        """The same with ``who`` before each pilot: pilots of another fleet are other people."""
        return replace(self, pilots={f"{who}: {name}": p for name, p in self.pilots.items()})

    def to_json(self) -> dict[str, Any]:
        """Plain dict: counts only."""
        return {
            "format": FORMAT,
            "label": self.label,
            "packs": self.packs,
            "crashes": list(self.crashes),
            "items": {k: list(v) for k, v in self.items.items()},
            "screws": {k: list(v) for k, v in self.screws.items()},
            "pilots": {
                name: {"crashes": list(p.crashes), "items": {k: list(v) for k, v in p.items.items()}}
                for name, p in self.pilots.items()
            },
        }


def counts_of(
    label: str,
    history: QuadHistory,
    rates: Sequence[BreakRate],
    joints: Sequence[JointGroup],
    priors: Priors,
    called: Mapping[str, str] | None = None,
) -> QuadCounts:
    """Take the counts out of a journal.

    Args:
        label: how the quad shall be called.
        history: what its journal says.
        rates: its break rates.
        joints: its joint groups.
        priors: what was believed beforehand.
        called: what each device that entered a crash shall be called; as it calls itself when None.
    """
    scuffs, hits, slams = history.clock.crashes
    devices = dict.fromkeys(c.device for c in history.crashes if c.device)
    screws: dict[str, tuple[float, float, int]] = {}
    for upkeep in CLASSES:
        prior = priors.group(upkeep)
        start = prior_posterior(prior)
        mean0, var0 = _moments(start.ln_eta, start.weights.sum(axis=1))
        precision, total, checks = 0.0, 0.0, 0
        for joint in joints:
            if joint.upkeep != upkeep or joint.count == 0:
                continue
            posterior, _ = learned_interval(
                prior, group_history(history, joint, priors), joint.count, priors.due
            )
            mean, var = _moments(posterior.ln_eta, posterior.weights.sum(axis=1))
            told = 1.0 / var - 1.0 / var0
            if posterior.checks and told > 1e-3 / var0:
                precision += told
                total += (mean / var - mean0 / var0) - mean0 * told
                checks += posterior.checks
        if checks:
            screws[upkeep] = (total / precision, 1.0 / math.sqrt(precision), checks)
    return QuadCounts(
        label,
        history.packs,
        (scuffs, hits, slams),
        {r.item: (r.breaks, round(r.expected, 6)) for r in rates if r.expected > 0.0},
        screws,
        {d if called is None else called[d]: _of_pilot(d, history, rates) for d in devices},
    )


def _of_pilot(device: str, history: QuadHistory, rates: Sequence[BreakRate]) -> PilotCounts:
    own = [c for c in history.crashes if c.device == device]
    scuffs, hits, slams = (sum(c.severity == s for c in own) for s in SEVERITIES)
    units = np.array([scuffs, hits, slams], dtype=np.float64)
    items = {
        r.item: (
            sum(len(set(c.broke) & set(r.parts)) for c in own),
            round(float((-np.expm1(-r.hazards) @ units).sum()), 6),
        )
        for r in rates
        if r.expected > 0.0
    }
    return PilotCounts((scuffs, hits, slams), items)


def _moments(x: Any, w: Any) -> tuple[float, float]:
    mean = float(w @ x)
    return mean, float(w @ (x - mean) ** 2)


def read_counts(text: str, file: str = "") -> tuple[QuadCounts, ...]:
    """Read what another crew member exported: one quad's counts, or a list of them.

    Raises:
        JournalError: the text is not such counts, or a number cannot be.
    """
    try:
        value = json.loads(text)
        rows = value if isinstance(value, list) else [value]
        return tuple(_one(row) for row in rows)
    except (ValueError, KeyError, TypeError, RecursionError) as problem:
        raise JournalError(
            Problem(f"is no file of counts ({problem})", "make one with `crew --export`", file)
        ) from None


def _one(row: Any) -> QuadCounts:
    if row["format"] != FORMAT:
        raise ValueError(f"format {row['format']!r:.30}")
    label, packs = str(row["label"])[:64], _whole(row["packs"])
    scuffs, hits, slams = (_whole(n) for n in row["crashes"])
    items = {str(k)[:80]: (_whole(n), _real(e, 0.0)) for k, (n, e) in row["items"].items()}
    screws = {
        k: (_real(m, -20.0), _real(s, 1e-6), _whole(n))
        for k, (m, s, n) in row["screws"].items()
        if k in CLASSES
    }
    pilots = {str(name)[:40]: _pilot(p) for name, p in row.get("pilots", {}).items()}
    return QuadCounts(label, packs, (scuffs, hits, slams), items, screws, pilots)


def _pilot(row: Any) -> PilotCounts:
    scuffs, hits, slams = (_whole(n) for n in row["crashes"])
    items = {str(k)[:80]: (_whole(n), _real(e, 0.0)) for k, (n, e) in row["items"].items()}
    return PilotCounts((scuffs, hits, slams), items)


def _whole(x: Any) -> int:
    if isinstance(x, bool) or not isinstance(x, int) or not 0 <= x < 10**9:
        raise ValueError(f"{x!r:.20} is no count")
    return x


def _real(x: Any, low: float) -> float:
    if isinstance(x, bool) or not isinstance(x, int | float) or not low <= x < 1e9:
        raise ValueError(f"{x!r:.20} is out of range")
    return float(x)
