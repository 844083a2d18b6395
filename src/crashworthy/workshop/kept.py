"""What is kept of crash tests: a campaign, and the loads it put on a part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from datetime import datetime

__all__ = ["Campaign", "PartLoads"]


@dataclass(frozen=True, slots=True)
class Campaign:
    """A crash campaign that was kept.

    Attributes:
        key: to ask for it again.
        slug: quad.
        digest: of the build it crashed.
        n, seed: crashes and seed.
        scenario: as plain data.
        summary: ``CrashSummary.to_json()``.
        created: when, UTC.
        stale: whether the build has changed since.
    """

    key: str
    slug: str
    digest: str
    n: int
    seed: int
    scenario: dict[str, Any]
    summary: dict[str, Any]
    created: datetime
    stale: bool

    @property
    def sentence(self) -> str:
        """The answer in one sentence with numbers."""
        return str(self.summary["summary"])


@dataclass(frozen=True, slots=True, eq=False)
class PartLoads:
    """The loads that a campaign put on one part in one mode, against its strength in that mode.

    Attributes:
        mode: in words ("root bending").
        unit: of loads and median; "" when it is a ratio to the capacity.
        loads: (n,) one a crash; 0 where the part was not loaded.
        weight: (n,) how much each crash counts.
        median: load that breaks half of such parts.
        beta: lognormal standard deviation of one part's strength.
        source, access: origin of the median.
    """

    mode: str
    unit: str
    loads: Any
    weight: Any
    median: float
    beta: float
    source: str
    access: str
