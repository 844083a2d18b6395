"""What a campaign says, as plain records: shares, quantiles and chances with their intervals."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final

from crashworthy.impact.fracture import Fracture
from crashworthy.impact.limb_summary import ArmSummary, LimbSummary, Quantiles
from crashworthy.impact.touches import FirstTouch, MomentHistogram
from crashworthy.impact.words import plain_numbers

__all__ = [
    "INTERVAL",
    "SEVERITY",
    "ArmSummary",
    "CrashSummary",
    "GroupSummary",
    "LimbSummary",
    "ModeSummary",
    "ObstacleSummary",
    "PartSummary",
    "Quantiles",
    "WatchedSummary",
]

INTERVAL: Final = (
    "90 % interval; holds the sampling error of the simulated crashes and how well the median strengths "
    "and the "
    "arm roots' stiffness are known; holds neither the scenario's assumptions nor the contact model's"
)
"""What the intervals of break chances contain."""

SEVERITY: Final = (
    "scuff, hit and slam are the lower, middle and upper third of the simulated crashes by peak "
    "acceleration of "
    "the boards on their mount; under a mix fitted to the journal, the thirds of the everyday mix"
)
"""How severity is defined."""


@dataclass(frozen=True, slots=True)
class ModeSummary:
    """One way in which a part breaks.

    Attributes:
        mode: in words.
        chance: per crash.
        median: load that breaks half of such parts, in ``unit``.
        unit: N, m/s, or "" for the arm's interaction.
        source, access: origin of the median.
    """

    mode: str
    chance: float
    median: float
    unit: str
    source: str
    access: str


@dataclass(frozen=True, slots=True)
class PartSummary:
    """One part over the campaign.

    Attributes:
        name, label, kind: of the part.
        hit, hit_low, hit_high: share of crashes that touch it, with 95 % score interval.
        first, first_low, first_high: share of crashes that touch it first, with 95 % score interval.
        force: peak contact force given a hit, N.
        impulse: given a hit, N s.
        utilisation: highest load over median strength among its modes, given any load.
        breaks, breaks_low, breaks_high: chance to break per crash, with interval (``INTERVAL``).
        modes: how.
        hazard: (scuff, hit, slam): -ln(1 - chance) in crashes of that severity.
    """

    name: str
    label: str
    kind: str
    hit: float
    hit_low: float
    hit_high: float
    first: float
    first_low: float
    first_high: float
    force: Quantiles
    impulse: Quantiles
    utilisation: Quantiles
    breaks: float
    breaks_low: float
    breaks_high: float
    modes: tuple[ModeSummary, ...]
    hazard: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class GroupSummary:
    """All parts of a kind: expected breaks per 100 crashes, with interval (``INTERVAL``)."""

    kind: str
    plural: str
    parts: int
    breaks: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ObstacleSummary:
    """One obstacle of the scenario.

    Attributes:
        name, kind, surface: of the obstacle.
        crashes: simulated crashes into it.
        share: of all crashes.
        normal_speed: towards it, m/s.
        first_part: part most often touched first.
        missed: share of the crashes into it that touch nothing.
        breaks, breaks_low, breaks_high: per 100 crashes into it by kind of part, 90 % interval
            (``INTERVAL``).
    """

    name: str
    kind: str
    surface: str
    crashes: int
    share: float
    normal_speed: Quantiles
    first_part: str
    missed: float
    breaks: dict[str, float]
    breaks_low: dict[str, float]
    breaks_high: dict[str, float]


@dataclass(frozen=True, slots=True)
class WatchedSummary:
    """A rare hit that was watched.

    Attributes:
        name: in words.
        share, low, high: of the crashes, with 95 % score interval.
        error: standard error over the share; 0 when it was never hit.
        counted: simulated crashes that hit it.
        effective: plain crashes that would tell the share as well.
    """

    name: str
    share: float
    low: float
    high: float
    error: float
    counted: int
    effective: float


@dataclass(frozen=True, slots=True)
class CrashSummary:
    """The answers of a campaign.

    Attributes:
        quad, digest, n, seed: which campaign.
        parts: in the order of the build; only parts that can be touched or broken.
        groups: kinds, most breaks first.
        arms: in the order of the arms.
        limbs: antennas, leads and what sits on a soft mount, in the order of the build.
        shock: peak acceleration of the boards, in g.
        pseudo_velocity: of the boards, m/s.
        obstacles: in the order of the scenario.
        severity_edges: the two accelerations that part scuff, hit and slam, in g.
        refined: share of crashes run again at a finer step.
        unreliable: share of crashes whose audit or step still fails, or that were left out (not finite).
        deep: share of crashes in which a part was pressed in deeper than the model is good for.
        missed: share of crashes that touch nothing: the quad turns out of the way of what it would graze,
            or a slender obstacle slips through.
        audit: largest energy error of the crashes counted, as a share.
        scenario: as plain data.
        first_touch: obstacle by part.
        moments: histograms of the arms' root moments.
        fracture: chance to break if nothing breaks, beside the same with fracture; None when it was not run.
        watched: rare hits that were watched.
        drawn: crashes drawn, of which ``n`` were simulated.
        effective: equally weighted crashes that say as much on the whole; n when nothing was watched.
        asked: crashes asked for; more than n when the campaign stopped early.
        until: relative half width at which it was to stop; 0 for never.
        until_words: which answers had to be that narrow; "" for none.
    """

    quad: str
    digest: str
    n: int
    seed: int
    parts: tuple[PartSummary, ...]
    groups: tuple[GroupSummary, ...]
    arms: tuple[ArmSummary, ...]
    limbs: tuple[LimbSummary, ...]
    shock: Quantiles
    pseudo_velocity: Quantiles
    obstacles: tuple[ObstacleSummary, ...]
    severity_edges: tuple[float, float]
    refined: float
    unreliable: float
    deep: float
    missed: float
    audit: float
    scenario: dict[str, Any]
    first_touch: FirstTouch
    moments: tuple[MomentHistogram, ...]
    fracture: Fracture | None
    watched: tuple[WatchedSummary, ...] = ()
    drawn: int = 0
    effective: float = 0.0
    asked: int = 0
    until: float = 0.0
    until_words: str = ""

    @property
    def hazards(self) -> dict[str, tuple[float, float, float]]:
        """Break hazard of each part in a scuff, a hit and a slam, by part name."""
        return {p.name: p.hazard for p in self.parts}

    def part(self, name: str) -> PartSummary:
        """The part called ``name``.

        Raises:
            KeyError: it can be neither touched nor broken, or does not exist.
        """
        for part in self.parts:
            if part.name == name:
                return part
        raise KeyError(name)

    def summary(self) -> str:
        """One sentence with numbers first: what 100 such crashes break, and what is touched first."""
        shown = [g for g in self.groups if g.breaks >= 0.05][:5]
        listed = ", ".join(f"{_count(g.breaks)} {g.plural} ({_count(g.low)}-{_count(g.high)})" for g in shown)
        first = max(self.parts, key=lambda p: p.first)
        often = f"The {first.label} is touched first in {100 * first.first:.0f} of 100."
        return f"In 100 crashes like these: {listed or 'nothing breaks'}. {often}"

    def to_json(self) -> dict[str, Any]:
        """Plain data: fixed order of keys, numbers to nine significant digits."""
        data = {"summary": self.summary(), **asdict(self), "interval": INTERVAL, "severity": SEVERITY}
        data["first_touch"] = self.first_touch.to_json()
        data["moments"] = [m.to_json() for m in self.moments]
        data["fracture"] = None if self.fracture is None else self.fracture.to_json()
        data["hazards"] = {name: list(h) for name, h in self.hazards.items()}
        plain: dict[str, Any] = plain_numbers(data)
        return plain


def _count(x: float) -> str:
    return f"{x:.0f}" if x >= 9.95 else f"{x:.1f}"
