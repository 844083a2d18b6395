"""How often parts really break, against what the simulation says, item by item.

An item is a set of interchangeable parts (all props, all arms), replaced from the same bag; one theta says
how many times as often as simulated the item breaks. See ``theta`` for the model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.errors import JournalError, Problem
from crashworthy.upkeep.history import SEVERITIES
from crashworthy.upkeep.theta import Theta, gamma_theta, grid_theta

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.priors import BreakPrior, Priors

    Floats = NDArray[np.float64]

__all__ = ["BreakRate", "break_rates", "crash_rate", "severity_counts", "severity_mix"]


@dataclass(frozen=True, slots=True, eq=False)
class BreakRate:
    """How often one item breaks.

    Attributes:
        item: its name.
        parts: names of the parts it stands for.
        crashes: crashes in the journal.
        breaks: breaks in the journal.
        expected: breaks the simulation expected in those crashes.
        ratio: theta, posterior mean: 1 breaks as simulated, 2 twice as often.
        low, high: central 90 % interval of theta.
        per_crash: breaks expected in the next crash.
        per_crash_low, per_crash_high: the same at ``low`` and ``high``.
        theta: the posterior.
        hazards: (parts, 3) simulated hazards used, floor included.
    """

    item: str
    parts: tuple[str, ...]
    crashes: int
    breaks: int
    expected: float
    ratio: float
    low: float
    high: float
    per_crash: float
    per_crash_low: float
    per_crash_high: float
    theta: Theta
    hazards: Floats

    def summary(self) -> str:
        """One sentence with numbers."""
        name = self.item.replace("_", " ")
        if not self.crashes:
            return f"{name}: no crash logged; the simulation says {self.per_crash:.2g} breaks a crash."
        return (
            f"{name}: {self.breaks} broken in {self.crashes} crashes where the simulation expected "
            f"{self.expected:.1f}; {self.per_crash:.2g} breaks a crash "
            f"({self.per_crash_low:.2g}-{self.per_crash_high:.2g})."
        )

    def to_json(self) -> dict[str, object]:
        """Plain dict without the posterior's arrays."""
        plain: dict[str, object] = {
            name: getattr(self, name) for name in self.__slots__ if name not in ("theta", "hazards")
        }
        plain["parts"] = list(self.parts)
        plain["summary"] = self.summary()
        return plain


def severity_counts(history: QuadHistory) -> Floats:
    """Crashes logged by severity, (3,) in the order of ``SEVERITIES``."""
    return np.array([sum(c.severity == s for c in history.crashes) for s in SEVERITIES], dtype=np.float64)


def severity_mix(history: QuadHistory, prior: BreakPrior) -> Floats:
    """Shares of severities to expect, (3,): the assumed mix, overruled by the journal crash by crash."""
    assumed = np.array([prior.mix_scuff, prior.mix_hit, prior.mix_slam])
    counts = prior.mix_worth * assumed / assumed.sum() + severity_counts(history)
    return np.asarray(counts / counts.sum(), dtype=np.float64)


def crash_rate(history: QuadHistory, prior: BreakPrior) -> tuple[float, float]:
    """Shape and rate of the Gamma posterior of crashes a pack: mean is shape/rate."""
    worth = prior.crash_rate_worth
    return prior.crashes_per_pack * worth + len(history.crashes), worth + history.packs


def _hazards(name: str, hazards: Mapping[str, Sequence[float]], floor: float) -> Floats:
    row = np.asarray(hazards[name], dtype=np.float64)
    if row.shape != (3,) or not np.all(np.isfinite(row)) or np.any(row < 0):
        raise JournalError(
            Problem(
                f"the break hazard of {name} is {hazards[name]!r}",
                "give three numbers of 0 or more: scuff, hit, slam",
                field=name,
            )
        )
    return np.maximum(row, floor)


def _counts(history: QuadHistory, item: str, parts: Sequence[str]) -> tuple[Floats, int]:
    """Breaks in named crashes by part and severity (parts, 3), and breaks that only the totals know."""
    seen = np.zeros((len(parts), 3))
    place = {name: i for i, name in enumerate(parts)}
    for crash in history.crashes:
        for name in set(crash.broke):
            if name in place:
                seen[place[name], SEVERITIES.index(crash.severity)] += 1
    total = sum(n for name, n in history.breaks.items() if name in place or name == item)
    return seen, max(total - int(seen.sum()), 0)


def break_rates(
    history: QuadHistory,
    hazards: Mapping[str, Sequence[float]],
    priors: Priors,
    items: Mapping[str, Sequence[str]] | None = None,
) -> tuple[BreakRate, ...]:
    """How often each item breaks, most frequent first.

    Args:
        history: crashes and breaks of one quad.
        hazards: simulated break hazard in one crash by part name: (scuff, hit, slam), each -log(1 - p).
        priors: how far the simulation is trusted.
        items: part names by item; each part of ``hazards`` its own item when None. Parts without a hazard
            are left out, and an item without any.

    Raises:
        JournalError: a hazard is not three finite numbers of 0 or more.
    """
    prior = priors.breakage
    chosen = {name: (name,) for name in hazards} if items is None else items
    units = severity_counts(history)
    mix = severity_mix(history, prior)
    rates = []
    for item, names in chosen.items():
        parts = tuple(n for n in names if n in hazards)
        if not parts:
            continue
        e = np.array([_hazards(n, hazards, prior.hazard_floor) for n in parts])
        seen, loose = _counts(history, item, parts)
        breaks = int(seen.sum()) + loose
        if e.max() > -math.log1p(-prior.frequent):
            theta = grid_theta(prior.prior_breaks, seen, units, e, loose)
        else:
            theta = gamma_theta(prior.prior_breaks, breaks, float((e @ units).sum()))
        low, high = theta.interval()
        at = [float((-np.expm1(-t * e) @ mix).sum()) for t in (low, high)]
        rates.append(
            BreakRate(
                item=item,
                parts=parts,
                crashes=len(history.crashes),
                breaks=breaks,
                expected=float((-np.expm1(-e) @ units).sum()),
                ratio=theta.mean,
                low=low,
                high=high,
                per_crash=theta.mean_breaks(e, mix),
                per_crash_low=at[0],
                per_crash_high=at[1],
                theta=theta,
                hazards=e,
            )
        )
    return tuple(sorted(rates, key=lambda r: (-r.per_crash, r.item)))
