"""The pilot's own scenario: the assumed one with the journal's obstacles and the speed it tells."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.upkeep.breakage import severity_counts
from crashworthy.upkeep.mix import fitted_mix
from crashworthy.upkeep.speeds import fitted_speed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from crashworthy.impact.scenario import Scenario
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.mix import FittedMix
    from crashworthy.upkeep.speeds import FittedSpeed

__all__ = ["Mine", "Moved", "fitted_scenario"]


@dataclass(frozen=True, slots=True)
class Moved:
    """One obstacle: its assumed share, the crashes that name it, and the share that follows."""

    name: str
    assumed: float
    crashes: float
    share: float


@dataclass(frozen=True, slots=True)
class Mine:
    """A scenario that follows the journal.

    Attributes:
        scenario: ready to crash, called "journal" when anything was fitted.
        mix: how the obstacles moved.
        speed: how the speed moved.
        rows: obstacle by obstacle.
    """

    scenario: Scenario
    mix: FittedMix
    speed: FittedSpeed
    rows: tuple[Moved, ...]

    @property
    def fitted(self) -> bool:
        """Whether the journal moved anything."""
        return self.mix.fitted or self.speed.fitted

    def summary(self) -> str:
        """Two sentences, numbers first."""
        return f"{self.mix.summary()} {self.speed.summary()}"

    def toml(self) -> str:
        """As an editable file."""
        from crashworthy.impact.scenario_file import to_toml

        return to_toml(
            self.scenario, f"Fitted to the journal; every number may be changed.\n{self.summary()}"
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "fitted": self.fitted,
            "mix": {k: v for k, v in self.mix.to_json().items() if k != "scenario"},
            "speed": self.speed.to_json(),
            "obstacles": [{n: getattr(r, n) for n in r.__slots__} for r in self.rows],
            "scenario": self.scenario.to_json(),
        }


def fitted_scenario(history: QuadHistory, scenario: Scenario, arrays: Mapping[str, NDArray[Any]]) -> Mine:
    """Fit obstacles first, then the speed with the crashes weighted to them.

    Args:
        history: of the quad.
        scenario: the assumed one that ``arrays`` come from.
        arrays: "obstacle", "speed" and "shock" of a campaign under it.
    """
    mix = fitted_mix(history, scenario)
    old, new = np.array(scenario.shares), np.array(mix.scenario.shares)
    factor = np.divide(new, old, out=np.zeros_like(new), where=old > 0.0)
    scuffs, hits, slams = (int(n) for n in severity_counts(history))
    obstacle = np.asarray(arrays["obstacle"], dtype=np.int64)
    speed = fitted_speed((scuffs, hits, slams), arrays["speed"], arrays["shock"], scenario, factor[obstacle])
    found = mix.scenario
    if speed.fitted:
        from crashworthy.upkeep.mix import JOURNAL

        told = f"median from the journal: {scuffs} scuffs, {hits} hits, {slams} slams; the rest as assumed"
        fitted = replace(found.speed, median=speed.median, source=told)
        found = replace(found, name=JOURNAL, speed=fitted)
    rows = tuple(
        Moved(o.name, float(a), mix.counts[o.name], float(b))
        for o, a, b in zip(scenario.obstacles, old, new, strict=True)
    )
    return Mine(found, mix, speed, rows)
