"""What a crash test says of one severity and obstacle: who is hit, how near to breaking, and what it uses up.

Severities are thirds of the simulated crashes by the shock of the boards, as everywhere in the crash test.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.errors import NotFoundError, Problem
from crashworthy.upkeep.history import SEVERITIES
from crashworthy.upkeep.wear import crash_damage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.strength.capacity import Capacity

    Floats = NDArray[np.float64]

__all__ = ["CrashLoads", "Look", "ScrewLook", "damage_by_part", "look_first", "screw_words"]


@dataclass(frozen=True, slots=True, eq=False)
class CrashLoads:
    """The crashes of a campaign, as upkeep needs them.

    Attributes:
        names, labels: of the parts, in the order of the build.
        arm_parts: part index of each arm.
        limb_parts: part index of each other limb, in the order of "limb_load" (limbs, 2, n).
        capacities: failure modes.
        arrays: "part_peak" (parts, n) N, "arm_moment" (arms, 3, n), "pseudo_velocity", "shock" (n,),
            "obstacle" (n,) index, "part_tfirst" (parts, n) s.
        obstacles: (name, kind) of the scenario.
        edges: the two accelerations that part scuff, hit and slam, m/s²; thirds of the crashes when None.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    arm_parts: tuple[int, ...]
    capacities: tuple[Capacity, ...]
    arrays: Mapping[str, NDArray[np.floating]]
    obstacles: tuple[tuple[str, str], ...]
    limb_parts: tuple[int, ...] = ()
    edges: tuple[float, float] | None = None

    def such(self, severity: str = "", obstacle: str = "") -> NDArray[np.bool_]:
        """(n,) whether a crash is of that kind.

        Args:
            severity: scuff, hit or slam; any when "".
            obstacle: name or kind of an obstacle of the campaign; any when "".

        Raises:
            NotFoundError: the campaign has no such severity, obstacle or crash.
        """
        grade = self.severity
        chosen = np.ones(len(grade), dtype=bool)
        if severity:
            if severity not in SEVERITIES:
                raise NotFoundError(
                    Problem(
                        f"no severity is called {severity!r}",
                        f"use {', '.join(SEVERITIES)}",
                        field="severity",
                    )
                )
            chosen &= grade == SEVERITIES.index(severity)
        if obstacle:
            wanted = obstacle.lower()
            same = [wanted in (name.lower(), kind.lower()) for name, kind in self.obstacles]
            if not any(same):
                known = ", ".join(dict.fromkeys(x for pair in self.obstacles for x in pair))
                raise NotFoundError(
                    Problem(
                        f"the crash test has no obstacle {obstacle!r}",
                        f"use one of {known}",
                        field="obstacle",
                    )
                )
            chosen &= np.array(same)[np.asarray(self.arrays["obstacle"], dtype=np.int64)]
        if not chosen.any():
            raise NotFoundError(Problem("the crash test has no such crash", "run a larger one"))
        return chosen

    def _limb(self, part: int) -> Floats:
        """(n,) utilisation of a limb; 0 in campaigns that did not keep it."""
        kept = self.arrays.get("limb_load")
        if kept is None or len(kept) == 0 or part not in self.limb_parts:
            return np.zeros(self.arrays["shock"].shape)
        return np.asarray(kept[self.limb_parts.index(part), 0], dtype=np.float64)

    @property
    def severity(self) -> NDArray[np.int64]:
        """(n,) 0 scuff, 1 hit, 2 slam: by ``edges``, else thirds of the crashes at hand."""
        shock = np.asarray(self.arrays["shock"], dtype=np.float64)
        edges = np.quantile(shock, [1 / 3, 2 / 3]) if self.edges is None else np.asarray(self.edges)
        grades: NDArray[np.int64] = np.searchsorted(edges, shock)
        return grades

    def load(self, mode: Capacity) -> Floats:
        """(n,) load that a mode compares with its strength, in its unit; 0 where there was none.

        As ``impact.damage.mode_load``; campaigns too old to hold a load have the nearest in its place.
        """
        if mode.load == "bending":
            load = np.asarray(self.arrays["arm_moment"][self.arm_parts.index(mode.part), 2])
        elif mode.load == "limb":
            load = self._limb(mode.part)
        elif mode.load == "pseudo_velocity":
            load = np.asarray(self.arrays["pseudo_velocity"])
            if "board_velocity" in self.arrays:
                boards = np.asarray(self.arrays["board_velocity"]).max(axis=0)
                load = np.where(boards > 0.0, boards, load)
        elif mode.load == "strap" and "strap" in self.arrays:
            load = np.asarray(self.arrays["strap"])
        else:
            load = np.asarray(self.arrays["part_peak"][mode.part])
        wide: Floats = np.nan_to_num(load.astype(np.float64))
        if mode.obstacle:
            from crashworthy.impact.obstacle import ROUND

            is_round = np.array([kind in ROUND for _, kind in self.obstacles])
            hit_round = is_round[np.asarray(self.arrays["obstacle"], dtype=np.int64)]
            wide = np.where(hit_round == (mode.obstacle == "round"), wide, 0.0)
        return wide

    def ratio(self, part: int) -> Floats:
        """(n,) load over median strength of a part, the worst of its modes; 0 where it has none."""
        worst = np.zeros(self.arrays["shock"].shape)
        for mode in self.capacities:
            if mode.part == part:
                worst = np.maximum(worst, self.load(mode) / mode.median)
        return worst


def damage_by_part(loads: CrashLoads, slope: float) -> dict[str, tuple[float, float, float]]:
    """Mean damage of a scuff, a hit and a slam that each part with a strength survived.

    Args:
        loads: the campaign.
        slope: b of the S-N line.
    """
    grade = loads.severity
    found = {}
    for part in dict.fromkeys(c.part for c in loads.capacities):
        ratio = loads.ratio(part)
        # A part that is still there survived its crashes: those that broke it are not in its life.
        survived = ratio < 1.0
        found[loads.names[part]] = crash_damage(ratio[survived], grade[survived], slope)
    return found


@dataclass(frozen=True, slots=True)
class Look:
    """A part to look at after a crash.

    Attributes:
        part, label: of the part.
        hit: share of such crashes that touch it; the shock alone loads a pack or a board in every crash.
        broken: share of such crashes whose load passes its median strength.
        near: share whose load passes half of it.
        why: in words with numbers.
    """

    part: str
    label: str
    hit: float
    broken: float
    near: float
    why: str


@dataclass(frozen=True, slots=True)
class ScrewLook:
    """A screw group to check after a crash.

    Attributes:
        group, title: of the joint.
        slips: share of such crashes in which it slips sideways somewhere.
    """

    group: str
    title: str
    slips: float


def screw_words(rows: Sequence[ScrewLook], top: int = 3) -> str:
    """Which screws to check first, as one sentence; "" when none slips."""
    if not rows:
        return ""
    told = ", ".join(f"{r.title[:1].lower()}{r.title[1:]} slip in {_in_100(r.slips)}" for r in rows[:top])
    return f"Screws to check first: {told} of 100 such crashes, tight as the torque card says."


def look_first(loads: CrashLoads, severity: str = "", obstacle: str = "", top: int = 8) -> tuple[Look, ...]:
    """Where to look after a crash of that kind: what is most likely broken, then near it, then hit.

    Args:
        loads: the campaign.
        severity: scuff, hit or slam; any when "".
        obstacle: name or kind of an obstacle of the campaign; any when "".
        top: how many at most.

    Raises:
        NotFoundError: the campaign has no such severity, obstacle or crash.
    """
    chosen = loads.such(severity, obstacle)
    rows = []
    for part in dict.fromkeys(c.part for c in loads.capacities):
        ratio = loads.ratio(part)[chosen]
        touched = np.asarray(loads.arrays["part_peak"][part])[chosen] > 0.0
        hit, broken, near = (
            float(touched.mean()),
            float((ratio >= 1.0).mean()),
            float((ratio >= 0.5).mean()),
        )
        if hit > 0.0 or float(ratio.max()) > 0.0:
            touch = f"hit in {_in_100(hit)}" if hit > 0.0 else "not touched, loaded through the frame"
            why = f"{touch}, past its strength in {_in_100(broken)} of 100 such crashes"
            rows.append(Look(loads.names[part], loads.labels[part], hit, broken, near, why))
    rows.sort(key=lambda r: (-r.broken, -r.near, -r.hit, r.part))
    return tuple(rows[:top])


def _in_100(share: float) -> str:
    return "under 1" if 0.0 < share < 0.005 else f"{100 * share:.0f}"


def pairs(rows: Sequence[Mapping[str, str]]) -> tuple[tuple[str, str], ...]:
    """(name, kind) of each obstacle of a scenario as plain data."""
    return tuple((row["name"], row["kind"]) for row in rows)
