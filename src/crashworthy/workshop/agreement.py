"""Where a scenario's obstacles come from, and whether geometry and crashes name the same first touches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.scenario import Obstacle as Met
    from crashworthy.impact.scenario import Scenario
    from crashworthy.placement.hits import Approaches, Obstacle
    from crashworthy.placement.strap import StrapDemand

__all__ = ["Agreement", "agree", "approaches_of", "scenario_of"]

SHAPE: Final = {
    "ground": "flat", "wall": "flat", "net": "flat", "pole": "pole", "branch": "pole", "edge": "pole",
    "rail": "pole", "gap": "pole", "spike": "spike", "rubble": "ball",
}  # fmt: skip
"""What each kind of obstacle is to the geometry."""

NOTABLE: Final = 0.01
"""Shares that differ by more than this are listed as a disagreement, if they also lie ``SURE`` errors "
"apart."""

SURE: Final = 2.0


@dataclass(frozen=True, slots=True)
class Disagreement:
    """One part.

    Attributes:
        label: of the part.
        geometry: share of first touches by geometry.
        crashes: share of crashes that touch it first.
        error: standard error of the latter.
    """

    label: str
    geometry: float
    crashes: float
    error: float

    @property
    def notable(self) -> bool:
        """Whether the two differ by more than chance and by enough to matter."""
        gap = abs(self.geometry - self.crashes)
        return gap > NOTABLE and gap > SURE * self.error


@dataclass(frozen=True, slots=True)
class Agreement:
    """First touches by geometry against first touches of the crash engine.

    Attributes:
        n: crashes.
        scenario: its name.
        rank: Spearman's rank correlation over the parts that either of them touches.
        rows: every such part, the largest difference first.
        strap: what those crashes ask of the strap, or None without one.
    """

    n: int
    scenario: str
    rank: float
    rows: tuple[Disagreement, ...]
    strap: StrapDemand | None

    @property
    def disagreements(self) -> tuple[Disagreement, ...]:
        """Parts over which the two differ notably."""
        return tuple(r for r in self.rows if r.notable)

    def summary(self) -> str:
        """One sentence."""
        first = self.rows[0]
        count = len(self.disagreements)
        return (
            f"Rank correlation with the first touches of {self.n} simulated crashes: {self.rank:.2f} over "
            f"{len(self.rows)} parts; {count or 'none'} of them differ{'s' if count == 1 else ''} by "
            "more than "
            f"{100 * NOTABLE:.0f} in 100 crashes, most the {first.label} ({100 * first.geometry:.1f} % "
            "by geometry, "
            f"{100 * first.crashes:.1f} % of crashes)."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "n": self.n,
            "scenario": self.scenario,
            "rank_correlation": round(self.rank, 4),
            "rows": [
                {
                    "part": r.label,
                    "geometry": round(r.geometry, 5),
                    "crashes": round(r.crashes, 5),
                    "error": round(r.error, 5),
                    "notable": r.notable,
                }
                for r in self.rows
            ],
            "strap": None if self.strap is None else self.strap.to_json(),
            "summary": self.summary(),
        }


def scenario_of(data: dict[str, Any]) -> Scenario:
    """A scenario from the plain data that a kept campaign carries (``Scenario.to_json``)."""
    from crashworthy.impact.scenario import Approach, Attitude, Obstacle, Scenario, Speed, Spin

    rows: list[dict[str, Any]] = data["obstacles"]
    obstacles = tuple(Obstacle(**_tuples(row)) for row in rows)
    return Scenario(
        str(data["name"]),
        obstacles,
        Speed(**data["speed"]),
        Attitude(**data["attitude"]),
        Spin(**data["spin"]),
        Approach(**data["approach"]),
    )


def _tuples(row: dict[str, Any]) -> dict[str, Any]:
    """A row with its lists as tuples."""
    return {k: tuple(v) if isinstance(v, list) else v for k, v in row.items()}


class _Starts:
    """Directions in the frame of the quad at first touch, drawn from a scenario."""

    def __init__(self, quad: Quad, mix: Scenario, n: int, seed: int) -> None:
        from crashworthy.impact.cases import case_of
        from crashworthy.impact.start import sample

        model = case_of(quad, mix).model
        starts = sample(mix, model.craft, seed, np.arange(n, dtype=np.int64))
        w, x, y, z = starts.state[6:10]
        turn = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y)],
                [2 * (x * y - w * z), 1 - 2 * (x * x + z * z), 2 * (y * z + w * x)],
                [2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)],
            ]
        )
        way = starts.state[3:6] / np.linalg.norm(starts.state[3:6], axis=0)
        self.path = np.einsum("ijn,jn->ni", turn, way)
        self.axis = np.einsum("ijn,jn->ni", turn, starts.rows[3:6])
        self.obstacle = starts.obstacle

    def towards(self, which: NDArray[np.bool_], shape: str, most: int) -> Approaches | None:
        """Directions of some crashes for one shape; None when there are none."""
        from crashworthy.placement.hits import Approaches

        some = np.flatnonzero(which)[:most]
        if not len(some):
            return None
        ones = np.ones(len(some))
        if shape == "flat":
            return Approaches(-self.axis[some], ones)
        return Approaches(self.path[some], ones, self.axis[some] if shape == "pole" else None)


def approaches_of(quad: Quad, mix: Scenario, n: int = 240, seed: int = 1) -> dict[str, Approaches]:
    """Directions from which a scenario's obstacles come, in the frame of the quad, by kind of obstacle.

    Args:
        quad: the build.
        mix: what is hit, how fast and in which attitude.
        n: directions for balls and for poles; twenty times as many for flats.
        seed: of the draws.
    """
    starts = _Starts(quad, mix, 60 * n, seed)
    shapes = np.array([SHAPE[o.kind] for o in mix.obstacles])[starts.obstacle]
    everything = np.ones(len(shapes), dtype=bool)
    found = {
        "ball": starts.towards(everything, "ball", n),
        "pole": starts.towards(shapes == "pole", "pole", n),
        "flat": starts.towards(shapes == "flat", "flat", 20 * n),
    }
    return {kind: ways for kind, ways in found.items() if ways is not None}


def _shape_of(met: Met) -> Obstacle:
    """An obstacle of a scenario as geometry knows it, in the middle of its range of sizes."""
    from crashworthy.placement.hits import Obstacle

    shape, radius = SHAPE[met.kind], sum(met.radius) / 2
    if met.kind in ("edge", "rail"):
        radius += sum(met.size) / 2
    if shape == "pole":
        return Obstacle(met.name, "pole", radius, 1e-3)
    if shape == "ball":
        return Obstacle(met.name, "ball", radius, 4e-3, 2)
    return Obstacle(met.name, shape)


def agree(
    quad: Quad,
    mix: Scenario,
    first: NDArray[np.int32],
    strap: StrapDemand | None,
    n: int = 240,
    seed: int = 1,
) -> Agreement:
    """Hold the first touches of crashes against those of geometry, obstacle by obstacle.

    Args:
        quad: the build.
        mix: the scenario of the crashes.
        first: (crashes,) index of the part that each touched first.
        strap: what they ask of the strap.
        n: directions for each obstacle; twenty times as many for flats.
        seed: of the directions.
    """
    from scipy.stats import spearmanr

    from crashworthy.placement.hits import hit_shares
    from crashworthy.placement.skin import skin_of

    skin, starts = skin_of(quad, "blades"), _Starts(quad, mix, 12_000, seed)
    share, total = np.zeros(len(quad.parts)), 0.0
    for index, (met, weight) in enumerate(zip(mix.obstacles, mix.shares, strict=True)):
        shape = _shape_of(met)
        ways = starts.towards(starts.obstacle == index, shape.kind, 20 * n if shape.kind == "flat" else n)
        if weight <= 0 or ways is None:
            continue
        hits = hit_shares(skin, shape, ways)
        share += weight * np.array([hits[p.name] for p in quad.parts])
        total += weight
    share /= total
    crashes = np.bincount(first, minlength=len(quad.parts)) / len(first)
    touched = (share > 0) | (crashes > 0)
    rank = float(spearmanr(share[touched], crashes[touched]).statistic)
    order = np.argsort(-np.abs(share - crashes), kind="stable")[: int(touched.sum())]
    error = np.sqrt(np.maximum(crashes * (1 - crashes), 1 / len(first)) / len(first))
    rows = tuple(
        Disagreement(quad.parts[i].label, float(share[i]), float(crashes[i]), float(error[i])) for i in order
    )
    return Agreement(len(first), mix.name, rank, rows, strap)
