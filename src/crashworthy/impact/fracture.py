"""Demand if nothing breaks, beside the same crashes with arms and props that break in the run.

Without fracture a part's load is what it would feel if everything held: the right question when a part is to
be made strong enough. With fracture an arm or prop that reaches the strength drawn for it in that crash lets
go: what is behind it is spared, or takes the hit itself. The same crashes are run both ways, so the
difference is paired. Arms (root bending) and props (contact force) break in the run and are counted; what
else can break a part, and all other parts, keep their chance under the loads that are left.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.craft import FLAG_INVALID
from crashworthy.impact.damage import Z90, part_chances
from crashworthy.impact.words import plain_numbers, plural_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.batch import CrashBatch

    Floats = NDArray[np.float64]

__all__ = ["MEANING", "PAIRED", "Both", "Fracture", "beside"]

PAIRED: Final = 2000
"""Crashes of a campaign that are run with fracture as well unless told otherwise."""

MEANING: Final = (
    "If nothing breaks: under the load the part would feel if all else held, for choosing its strength. With "
    "fracture: arms and props let go at the strength drawn for that crash. Lower with fracture: something "
    "broke "
    "first and spared it; higher: it takes over what broke. Both are of the same crashes"
)
"""What the two columns are."""


@dataclass(frozen=True, slots=True)
class Both:
    """Breaks per 100 crashes of one part, or of all parts of a kind, both ways.

    Attributes:
        name, label, kind: of the part; name is "" for a kind.
        demand: if nothing breaks.
        fracture: with fracture in the run.
        difference, low, high: fracture minus demand, with the 90 % sampling interval of the paired
            difference; the
            strengths' medians are the same on both sides and not in it.
    """

    name: str
    label: str
    kind: str
    demand: float
    fracture: float
    difference: float
    low: float
    high: float

    @property
    def sure(self) -> bool:
        """Whether the interval of the difference leaves out nothing."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True, slots=True)
class Fracture:
    """A campaign both ways.

    Attributes:
        n, seed: the crashes 0 ... n-1 of that seed, run both ways.
        parts: that can break, in the order of the build.
        kinds: the same by kind, most breaks first.
        crashes_with_break: share of crashes in which an arm or prop broke in the run.
    """

    n: int
    seed: int
    parts: tuple[Both, ...]
    kinds: tuple[Both, ...]
    crashes_with_break: float

    def part(self, name: str) -> Both | None:
        """The row of a part, or None when it cannot break."""
        return next((b for b in self.parts if b.name == name), None)

    def summary(self) -> str:
        """One sentence, numbers first: where the two ways differ for certain, largest first."""
        sure = sorted((k for k in self.kinds if k.sure), key=lambda k: -abs(k.difference))[:3]
        told = "; ".join(
            f"{k.label} {k.demand:.2g} if nothing else broke, {k.fracture:.2g} with fracture "
            f"({k.difference:+.2g}, {k.low:+.2g} to {k.high:+.2g})"
            for k in sure
        )
        head = f"An arm or prop breaks in {100 * self.crashes_with_break:.0f} of 100 crashes"
        if not told:
            return f"{head}; what else breaks does not differ for certain over {self.n} crashes."
        return f"{head}. Of 100 crashes: {told}."

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        data: dict[str, Any] = plain_numbers({"summary": self.summary(), **asdict(self), "meaning": MEANING})
        return data


def _in_run(batch: CrashBatch) -> dict[int, Floats]:
    """(n,) chance of each part in each crash, with what broke in the run counted as 1 or 0."""
    corner_props = _props(batch)
    # The run breaks an arm or prop by the first mode of its load; further modes keep their chance.
    in_run = [
        next((c for c in batch.capacities if c.part == part and c.load == load), None)
        for load, parts in (("bending", batch.arm_parts), ("force", corner_props))
        for part in parts
    ]
    modes = [c for c in batch.capacities if not any(c is done for done in in_run)]
    chances = part_chances(batch, modes)
    for row, owners in enumerate((batch.arm_parts, corner_props)):
        for a, part in enumerate(owners):
            if part < 0:
                continue
            broke = (batch.broken[row, a] >= 0.0).astype(np.float64)
            chances[part] = 1.0 - (1.0 - chances.get(part, 0.0)) * (1.0 - broke)
    return chances


def _props(batch: CrashBatch) -> tuple[int, ...]:
    """Part index of the prop at each arm: it carries the same corner at the end of its name; -1 without."""
    names = {name: i for i, (name, _, kind) in enumerate(batch.parts) if kind == "prop"}
    found = []
    for part in batch.arm_parts:
        corner = batch.parts[part][0].rpartition("_")[2]
        found.append(next((i for n, i in names.items() if n.rpartition("_")[2] == corner), -1))
    return tuple(found)


def beside(whole: CrashBatch, broken: CrashBatch) -> Fracture:
    """Put a campaign beside the same crashes with fracture.

    Args:
        whole: run without fracture.
        broken: run with it, over the first crashes of ``whole`` (at least two).

    Raises:
        ScenarioError: they are not the same crashes of the same build.
    """
    same = (
        whole.quad_digest == broken.quad_digest
        and whole.seed == broken.seed
        and whole.scenario == broken.scenario
        and 2 <= broken.n <= whole.n
    )
    if not same:
        raise ScenarioError(
            Problem(
                "the two campaigns are not of the same crashes",
                "run both with one build, scenario and seed, two crashes or more",
                field="fracture",
            )
        )
    n = broken.n
    good = ((whole.flags[:n] | broken.flags) & FLAG_INVALID) == 0
    demand = {p: c[:n][good] for p, c in part_chances(whole, whole.capacities).items()}
    after = {p: c[good] for p, c in _in_run(broken).items()}
    none = np.zeros(int(good.sum()))
    parts = []
    kinds: dict[str, list[int]] = {}
    for p in sorted(demand):
        name, label, kind = whole.parts[p]
        kinds.setdefault(kind, []).append(p)
        parts.append(_both(name, label, kind, demand[p], after.get(p, none)))
    rows = [
        _both("", plural_of(kind), kind, sum((demand[p] for p in of), none),
              sum((after.get(p, none) for p in of), none))
        for kind, of in kinds.items()
    ]  # fmt: skip
    any_break = np.asarray(broken.broken.max(axis=(0, 1)))[good] >= 0.0
    return Fracture(
        n=n,
        seed=whole.seed,
        parts=tuple(parts),
        kinds=tuple(sorted(rows, key=lambda b: (-b.demand, b.kind))),
        crashes_with_break=float(any_break.mean()),
    )


def _both(name: str, label: str, kind: str, demand: Floats, after: Floats) -> Both:
    apart = after - demand
    mean = float(apart.mean())
    error = Z90 * float(apart.std(ddof=1)) / math.sqrt(len(apart)) if len(apart) > 1 else math.inf
    return Both(
        name, label, kind, 100 * float(demand.mean()), 100 * float(after.mean()),
        100 * mean, 100 * (mean - error), 100 * (mean + error),
    )  # fmt: skip
