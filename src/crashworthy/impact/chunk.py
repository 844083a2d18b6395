"""The unit of work of a campaign: some crashes by number, from the draw to plain arrays."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.impact.batch import REFINED
from crashworthy.impact.blocks import crash
from crashworthy.impact.contact import BED
from crashworthy.impact.craft import FLAG_ENERGY, FLAG_INVALID, FLAG_STEP, RESULT
from crashworthy.impact.forecast import Forecast, look_at, way_of
from crashworthy.impact.sampler import Draws
from crashworthy.impact.start import Starts, sample
from crashworthy.impact.watch import POOL, Watched, keep_chances, pick

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.model import Model
    from crashworthy.impact.scenario import Scenario
    from crashworthy.strength.capacity import Capacity

__all__ = ["SETTLE", "WINDOW", "Breaking", "Chunk", "Screen", "breaking_of", "run_chunk"]

WINDOW: Final = 0.03
"""Longest time simulated after first touch, s; most crashes end sooner, when nothing can touch again."""

SETTLE: Final = 4e-3
"""Time after the last contact for which arms and boards are still watched, s: over half a swing of both."""

SLICE: Final = 8192
"""Crashes drawn at a time when many are drawn and few kept."""

Arrays = dict[str, Any]
Strengths = tuple[tuple[float, ...], tuple[float, ...]]
Breaking = tuple[Strengths, Strengths]
"""Medians and spreads of what breaks each arm, and each prop."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some crashes of a campaign, by global number; of a screened one by place, see ``Screen``."""

    first: int
    count: int


@dataclass(frozen=True, slots=True)
class Screen:
    """Which of the drawn crashes are simulated: for each place of a chunk ``POOL`` are drawn, one is kept.

    Attributes:
        watched: what is watched.
        forecasts: of each; none yet in the first chunks, which keep each crash with the same chance.
    """

    watched: tuple[Watched, ...] = ()
    forecasts: tuple[Forecast, ...] = ()

    def to_list(self) -> list[Any]:
        """Plain data, for a digest."""
        return [POOL, [[list(w.parts), list(w.obstacles)] for w in self.watched],
                [f.to_list() for f in self.forecasts]]  # fmt: skip


def _drawn(
    model: Model, scenario: Scenario, seed: int, chunk: Chunk, screen: Screen | None
) -> tuple[NDArray[np.int64], NDArray[np.float64], Starts]:
    """Numbers, weights and starts of the crashes to simulate."""
    if screen is None:
        crashes = np.arange(chunk.first, chunk.first + chunk.count, dtype=np.int64)
        return crashes, np.ones(chunk.count), sample(scenario, model.craft, seed, crashes)
    first, n = chunk.first * POOL, chunk.count * POOL
    forecasts: list[list[NDArray[np.float64]]] = [[] for _ in screen.forecasts]
    stratum, pieces = [], []
    rows = {int(part): row for row, part in enumerate(model.parts)}
    if screen.forecasts:
        needed = np.array(sorted({rows[p] for w in screen.watched for p in w.parts}), dtype=np.int32)
        place = {int(row): i for i, row in enumerate(needed)}
        for start in range(first, first + n, SLICE):
            starts = sample(
                scenario, model.craft, seed, np.arange(start, min(start + SLICE, first + n), dtype=np.int64)
            )
            look, ways = look_at(starts), way_of(model.craft, needed, starts)
            for told, watched, forecast in zip(forecasts, screen.watched, screen.forecasts, strict=True):
                way = ways[[place[rows[p]] for p in watched.parts]].min(axis=0)
                told.append(np.where(watched.possible(look.obstacle), forecast.chance(look, way), 0.0))
            stratum.append(starts.obstacle)
            pieces.append(starts)
        chances = keep_chances([np.concatenate(f) for f in forecasts], n, chunk.count)
        kept = pick(chances, np.concatenate(stratum), chunk.count, seed, first)
        every = Starts(*(np.concatenate(x, axis=-1) for x in zip(*pieces, strict=True)))
        return first + kept, chunk.count / n / chances[kept], _take(every, kept)
    kept = np.arange(chunk.count, dtype=np.int64) * POOL
    return first + kept, np.ones(chunk.count), sample(scenario, model.craft, seed, first + kept)


def _strengths(breaking: Breaking, seed: int, crashes: NDArray[np.int64]) -> NDArray[np.float64]:
    """(2 arms, n) lognormal strengths of arms (interaction) and props (N), drawn by crash and corner."""
    draws = Draws(seed, crashes)
    rows = []
    for what, medians, betas in (("arm", *breaking[0]), ("prop", *breaking[1])):
        for corner, (median, beta) in enumerate(zip(medians, betas, strict=True)):
            rows.append(median * np.exp(beta * draws.normal(f"strength.{what}{corner}")))
    return np.array(rows)


def breaking_of(quad: Quad, modes: tuple[Capacity, ...]) -> Breaking:
    """Median and spread of what breaks each arm (interaction) and each prop (N); infinite where unknown."""
    found: list[tuple[tuple[float, ...], tuple[float, ...]]] = []
    for load, parts in (("bending", [a.part for a in quad.arms]), ("force", [a.prop for a in quad.arms])):
        own = [next((m for m in modes if m.part == p and m.load == load), None) for p in parts]
        found.append(
            (tuple(m.median if m else math.inf for m in own), tuple(m.beta if m else 0.0 for m in own))
        )
    return found[0], found[1]


def run_chunk(
    model: Model,
    scenario: Scenario,
    seed: int,
    dt: float,
    n_parts: int,
    chunk: Chunk,
    breaking: Breaking | None = None,
    screen: Screen | None = None,
) -> Arrays:
    """Run one chunk; the campaign's unit of work (plain arrays in and out).

    Args:
        model: the build.
        scenario: what it meets.
        seed: of the draws.
        dt: time step, s.
        n_parts: parts of the build.
        chunk: which crashes.
        breaking: strengths at which arms and props break in the run; nothing breaks without.
        screen: simulate only some of the crashes that are drawn; every crash of the chunk without.
    """
    crashes, weight, starts = _drawn(model, scenario, seed, chunk, screen)
    strength = None if breaking is None else _strengths(breaking, seed, crashes)
    result = _run(model, starts, dt, strength)
    poor = FLAG_STEP | FLAG_ENERGY | FLAG_INVALID
    for finer_step in (dt / 4.0, dt / 16.0):
        again = np.flatnonzero(result["flags"] & poor)
        if not len(again):
            break
        finer = _run(
            model, _take(starts, again), finer_step, None if strength is None else strength[:, again]
        )
        finer["flags"] |= REFINED
        for name, array in result.items():
            array[..., again] = finer[name]
    peak, impulse = (np.zeros((n_parts, chunk.count), dtype=np.float32) for _ in range(2))
    tfirst = np.full((n_parts, chunk.count), np.nan, dtype=np.float32)
    peak[model.parts], impulse[model.parts] = result["peak"], result["impulse"]
    tfirst[model.parts] = result["touched"]
    first = _first_part(result["touched"], starts.first)
    velocity = starts.state[3:6]
    single = {
        "shock": result["shock"],
        "pseudo_velocity": result["pseudo_velocity"],
        "core_peak": result["core_peak"],
        "speed": np.linalg.norm(velocity, axis=0),
        "closing": starts.closing,
        "normal_speed": -np.sum(velocity * starts.normal, axis=0),
        "audit": result["audit"],
        "strap": result["strap"],
        "board_velocity": result["board_velocity"],
        "arm_shear": result["shear"],
        "arm_twist": result["twist"],
        "limb_load": result["limb"][len(model.craft.rotor) :],
        "broken": result["broken"],
    }
    seen: Arrays = {}
    if screen is not None:
        look = look_at(starts)
        every_part = np.arange(len(model.parts), dtype=np.int32)
        seen = {"look_speed": look.speed, "look_side": look.side,
                "way": way_of(model.craft, every_part, starts)}  # fmt: skip
    return {
        **seen,
        "crash": crashes,
        "weight": weight,
        "part_peak": peak,
        "part_impulse": impulse,
        "part_tfirst": tfirst,
        "arm_moment": result["moment"].astype(np.float32),
        "obstacle": starts.obstacle,
        "first_part": model.parts[first],
        "flags": result["flags"],
        **{name: x.astype(np.float32) for name, x in single.items()},
    }


def _first_part(touched: NDArray[np.float64], placed: NDArray[np.int32]) -> NDArray[np.int32]:
    """Part that touches first: the one the placing found, unless another was there a step earlier."""
    time = np.where(np.isnan(touched), np.inf, touched)
    earliest = time.min(axis=0)
    same = time[placed, np.arange(time.shape[1])] <= earliest
    first: NDArray[np.int32] = np.where(same, placed, time.argmin(axis=0)).astype(np.int32)
    return first


def _take(starts: Starts, index: NDArray[np.int64]) -> Starts:
    picked: list[Any] = [np.ascontiguousarray(x[..., index]) for x in starts]
    return Starts(*picked)


def _run(
    model: Model,
    starts: Starts,
    dt: float,
    strength: NDArray[np.float64] | None = None,
    width: int | None = None,
) -> Arrays:
    """The kernel over some starts; anything not finite is zeroed and flagged."""
    n = len(starts.kinds)
    got = crash(
        model.craft, model.beds, BED, starts.kinds, starts.surfaces, starts.rows, starts.state,
        np.maximum(starts.closing, 1.0), dt=dt, steps=round(WINDOW / dt), settle=SETTLE, rank=starts.rank,
        strength=strength, width=width,
    )  # fmt: skip
    touched, scalars, flags = got.touched, got.scalars, got.flags
    loads = {name: getattr(got, name) for name in ("peak", "impulse", "moment", "shear", "twist", "limb")}
    table = dict(zip(RESULT, scalars, strict=True))
    wrong = ~np.isfinite(scalars).all(axis=0)
    for array in loads.values():
        wrong |= ~np.isfinite(array).reshape(-1, n).all(axis=0)
    if wrong.any():
        for array in (*loads.values(), scalars):
            array[..., wrong] = 0.0
        touched[:, wrong] = np.nan
        flags[wrong] |= FLAG_INVALID
    boards = scalars[RESULT.index("board_0") : RESULT.index("board_0") + 3]
    return {
        **loads,
        "touched": touched,
        "flags": flags,
        "broken": got.broken,
        "board_velocity": boards,
        **table,
    }
