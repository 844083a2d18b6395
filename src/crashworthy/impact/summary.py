"""What a campaign says: who is hit, how hard, what breaks, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.impact.batch import REFINED
from crashworthy.impact.craft import FLAG_ENERGY, FLAG_INVALID, FLAG_PENETRATION, FLAG_STEP
from crashworthy.impact.damage import Z90, interval, mode_load, part_chances, wilson
from crashworthy.impact.fracture import Fracture, beside
from crashworthy.impact.limb_summary import (
    ArmSummary,
    LimbSummary,
    Quantiles,
    arm_summaries,
    limb_summaries,
    quantiles,
)
from crashworthy.impact.touches import FirstTouch, MomentHistogram, arm_moments, first_touch
from crashworthy.impact.words import plain_numbers, plural_of
from crashworthy.quantities import G_N

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

    Floats = NDArray[np.float64]

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
    "plain_numbers",
    "plural_of",
    "summarise",
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
        first: share of crashes that touch it first.
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
    """One obstacle of the scenario: crashes, speed towards it, part most often first, breaks per 100."""

    name: str
    kind: str
    surface: str
    crashes: int
    normal_speed: Quantiles
    first_part: str
    breaks: dict[str, float]


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
        audit: largest energy error of the crashes counted, as a share.
        scenario: as plain data.
        first_touch: obstacle by part.
        moments: histograms of the arms' root moments.
        fracture: chance to break if nothing breaks, beside the same with fracture; None when it was not run.
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
    audit: float
    scenario: dict[str, Any]
    first_touch: FirstTouch
    moments: tuple[MomentHistogram, ...]
    fracture: Fracture | None

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


def summarise(
    batch: CrashBatch, edges: tuple[float, float] | None = None, broken: CrashBatch | None = None
) -> CrashSummary:
    """Turn a batch into its answers; crashes that left the real numbers are left out and counted.

    Args:
        batch: run without fracture.
        edges: the two accelerations, in g, that part scuff, hit and slam; its own thirds when None.
        broken: its first crashes run with fracture, when both columns are wanted.

    Raises:
        ScenarioError: ``broken`` is not of the same crashes.
    """
    good = (batch.flags & FLAG_INVALID) == 0
    shock = batch.shock[good].astype(np.float64) / G_N
    edges = edges or (float(np.quantile(shock, 1 / 3)), float(np.quantile(shock, 2 / 3)))
    grade = np.searchsorted(edges, shock)
    middle, weaker, stronger = (
        {p: x[good] for p, x in part_chances(batch, batch.capacities, z).items()} for z in (0.0, -Z90, Z90)
    )
    first = np.bincount(batch.first_part[good], minlength=len(batch.parts)) / good.sum()
    parts = []
    for index, (name, label, kind) in enumerate(batch.parts):
        hits = batch.part_peak[index, good] > 0.0
        modes = [c for c in batch.capacities if c.part == index]
        if not hits.any() and not modes:
            continue
        none = np.zeros(int(good.sum()))
        chance = interval(*(d.get(index, none) for d in (middle, weaker, stronger)))
        low, high = wilson(int(hits.sum()), int(good.sum()))
        use = none
        rows = []
        for c in modes:
            load = mode_load(batch, c)[good]
            use = np.maximum(use, load / c.median)
            only = part_chances(batch, (c,))[index][good]
            rows.append(ModeSummary(c.mode, float(only.mean()), c.median, c.unit, c.source, c.access))
        parts.append(
            PartSummary(
                name=name,
                label=label,
                kind=kind,
                hit=float(hits.mean()),
                hit_low=low,
                hit_high=high,
                first=float(first[index]),
                force=quantiles(batch.part_peak[index, good][hits]),
                impulse=quantiles(batch.part_impulse[index, good][hits]),
                utilisation=quantiles(use[use > 0.0]),
                breaks=chance[0],
                breaks_low=chance[1],
                breaks_high=min(1.0, chance[2]),
                modes=tuple(sorted(rows, key=lambda m: -m.chance)),
                hazard=_hazard(middle.get(index, none), grade),
            )
        )
    bits = batch.flags[good]
    poor = (batch.flags & (FLAG_INVALID | FLAG_ENERGY | FLAG_STEP)) != 0
    return CrashSummary(
        quad=batch.quad,
        digest=batch.digest,
        n=batch.n,
        seed=batch.seed,
        parts=tuple(parts),
        groups=_groups(batch, middle, weaker, stronger),
        arms=arm_summaries(batch, good),
        limbs=limb_summaries(batch, good),
        shock=quantiles(shock),
        pseudo_velocity=quantiles(batch.pseudo_velocity[good]),
        obstacles=_obstacles(batch, good, middle),
        severity_edges=edges,
        refined=float(((batch.flags & REFINED) != 0).mean()),
        unreliable=float(poor.mean()),
        deep=float(((bits & FLAG_PENETRATION) != 0).mean()),
        audit=float(np.abs(batch.audit[good]).max()),
        scenario=batch.scenario,
        first_touch=first_touch(batch),
        moments=arm_moments(batch),
        fracture=None if broken is None else beside(batch, broken),
    )


def _hazard(chance: Floats, grade: NDArray[np.int64]) -> tuple[float, float, float]:
    """-ln(1 - p) by severity; p is cut at 1 - 1e-6 to stay finite. A severity without crashes takes all."""
    hazards = []
    for severity in range(3):
        of = chance[grade == severity]
        p = float((of if len(of) else chance).mean())
        hazards.append(-math.log1p(-min(p, 1.0 - 1e-6)))
    return hazards[0], hazards[1], hazards[2]


def _groups(
    batch: CrashBatch, middle: dict[int, Floats], weaker: dict[int, Floats], stronger: dict[int, Floats]
) -> tuple[GroupSummary, ...]:
    kinds: dict[str, list[int]] = {}
    for part in middle:
        kinds.setdefault(batch.parts[part][2], []).append(part)
    groups = []
    for kind, members in kinds.items():
        total = [sum(d[p] for p in members) for d in (middle, weaker, stronger)]
        mean, low, high = interval(*(np.asarray(t) for t in total))
        most = float(len(members))
        groups.append(
            GroupSummary(
                kind,
                plural_of(kind),
                len(members),
                100 * mean,
                100 * low,
                100 * min(high, most),
            )
        )
    return tuple(sorted(groups, key=lambda g: (-g.breaks, g.kind)))


def _obstacles(
    batch: CrashBatch, good: NDArray[np.bool_], middle: dict[int, Floats]
) -> tuple[ObstacleSummary, ...]:
    found = []
    met = batch.obstacle[good]
    for index, (name, kind, surface) in enumerate(batch.obstacles):
        here = met == index
        if not here.any():
            found.append(ObstacleSummary(name, kind, surface, 0, quantiles(np.zeros(0)), "", {}))
            continue
        breaks: dict[str, float] = {}
        for part, chance in middle.items():
            of = batch.parts[part][2]
            breaks[of] = breaks.get(of, 0.0) + 100 * float(chance[here].mean())
        first = np.bincount(batch.first_part[good][here], minlength=len(batch.parts)).argmax()
        found.append(
            ObstacleSummary(
                name,
                kind,
                surface,
                int(here.sum()),
                quantiles(batch.normal_speed[good][here]),
                batch.parts[int(first)][0],
                breaks,
            )
        )
    return tuple(found)
