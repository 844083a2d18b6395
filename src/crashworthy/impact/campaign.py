"""A campaign: many crashes of one build, in chunks that may run anywhere and in any number at once."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import CrashworthyError, Problem, ScenarioError
from crashworthy.impact.batch import ARRAYS, REFINED, CrashBatch
from crashworthy.impact.blocks import crash
from crashworthy.impact.contact import BED
from crashworthy.impact.craft import FLAG_ENERGY, FLAG_INVALID, FLAG_STEP, RESULT
from crashworthy.impact.sampler import Draws
from crashworthy.impact.scenario import Scenario
from crashworthy.impact.start import Starts, sample
from crashworthy.materials.table import rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.model import Model
    from crashworthy.strength.capacity import Capacity
    from crashworthy.strength.correction import Corrections

__all__ = ["ENGINE", "SETTLE", "WINDOW", "CampaignCancelled", "Chunk", "MapChunks", "simulate"]

ENGINE: Final = 4
"""Raised whenever results of the same inputs change."""

WINDOW: Final = 0.03
"""Longest time simulated after first touch, s; most crashes end sooner, when nothing can touch again."""

SETTLE: Final = 4e-3
"""Time after the last contact for which arms and boards are still watched, s: over half a swing of both."""

LIMIT: Final = 10_000_000
"""Most crashes in one campaign."""

Arrays = dict[str, Any]
Strengths = tuple[tuple[float, ...], tuple[float, ...]]
Breaking = tuple[Strengths, Strengths]
"""Medians and spreads of what breaks each arm, and each prop."""

MapChunks = Callable[[Callable[[Any], Arrays], Iterable[Any]], Iterator[Arrays]]
"""Runs a function over units of work (``cases.Work``) and yields the results in their order."""


class CampaignCancelled(CrashworthyError):  # noqa: N818 - it is what was asked for, not a fault
    """The campaign was asked to stop before it was done."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some crashes of a campaign, by global number."""

    first: int
    count: int


def simulate(
    quad: Quad,
    n: int,
    seed: int = 0,
    scenario: Scenario | None = None,
    *,
    dt: float = 1e-5,
    fracture: bool = False,
    strengths: Corrections | None = None,
    chunk: int = 1024,
    map_chunks: MapChunks | None = None,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> CrashBatch:
    """Crash a build ``n`` times.

    A crash depends on build, scenario, seed, ``dt`` and its own number only: chunks, threads and order
    change no
    bit of it, and two builds with one seed meet the same obstacles (common random numbers).

    Args:
        quad: the build.
        n: number of crashes.
        seed: 0 <= seed < 2**64.
        scenario: what is hit and how; the assumed everyday mix by default.
        dt: longest time step, s; a build whose limbs are too quick for it takes a finer one. Crashes that
            need a finer one still are run again at a quarter, and if need be at a sixteenth of it.
        fracture: let arms and props break in the run, at strengths drawn for each crash; loads after a break
            are those of the broken quad. Without it loads are what parts would feel if nothing broke.
        strengths: factors on the tabled strengths by kind of part, such as a journal teaches.
        chunk: crashes in a chunk.
        map_chunks: how chunks are run; one after the other by default. The kernel releases the interpreter's
            lock, so a thread pool's ordered map uses all cores.
        progress: called with (done, total) after each chunk.
        cancelled: asked before each chunk's result is taken.

    Raises:
        ScenarioError: a number is out of range, or the build cannot be crashed.
        CampaignCancelled: ``cancelled`` said so.
    """
    if not 1 <= n <= LIMIT:
        raise ScenarioError(Problem(f"cannot crash {n} times", f"ask for 1 to {LIMIT} crashes", field="n"))
    if not 0 <= seed < 2**64:
        raise ScenarioError(Problem(f"seed {seed} is out of range", "use 0 to 2**64 - 1", field="seed"))
    if not (math.isfinite(dt) and 1e-7 <= dt <= 2e-5):
        raise ScenarioError(Problem(f"time step {dt:g} s is out of range", "use 1e-7 to 2e-5 s", field="dt"))
    if chunk < 1:
        raise ScenarioError(Problem(f"chunk of {chunk} crashes", "use 1 or more", field="chunk"))
    from crashworthy.impact.cases import case_of, plain, run_work

    scenario = scenario if scenario is not None else Scenario.default()
    case = case_of(quad, scenario, dt=dt, fracture=fracture, strengths=strengths)
    works = case.works(seed, 0, n, chunk)
    done: list[Arrays] = []
    count = 0
    results = (map_chunks or plain)(run_work, works)
    for work, result in zip(works, results, strict=True):
        if cancelled is not None and cancelled():
            close = getattr(results, "close", None)
            if close is not None:
                close()
            raise CampaignCancelled(
                Problem(f"cancelled after {count} of {n} crashes", "start it again when you like")
            )
        done.append(result)
        count += work.chunk.count
        if progress is not None:
            progress(count, n)
    arrays = {name: np.concatenate([d[name] for d in done], axis=-1) for name in ARRAYS}
    if (arrays["flags"] & FLAG_INVALID).all():
        raise ScenarioError(
            Problem(
                "every crash left the real numbers", "check the sizes and masses in the sheet", field="quad"
            )
        )
    return replace(case.batch(seed, arrays), digest=_digest(quad, scenario, n, seed, dt, fracture))


def _digest(quad: Quad, scenario: Scenario, n: int, seed: int, dt: float, fracture: bool) -> str:
    tables = sorted((m, p, d.value) for (m, p), d in rows().items())
    what = [ENGINE, quad.digest, scenario.digest, n, seed, dt, WINDOW, fracture, tables]
    return hashlib.sha256(json.dumps(what).encode()).hexdigest()


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
    """
    crashes = np.arange(chunk.first, chunk.first + chunk.count, dtype=np.int64)
    starts = sample(scenario, model.craft, seed, crashes)
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
    return {
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
