"""A build made ready to be crashed under a scenario, and the units of work that any executor can run.

A campaign crashes one case. A comparison crashes two, a ranking many: all with the same seed and the same
crash numbers, so that crash 17 of every case meets the same obstacle in the same attitude at the same speed.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.batch import ARRAYS, CrashBatch
from crashworthy.impact.campaign import ENGINE, LIMIT, CampaignCancelled
from crashworthy.impact.chunk import SETTLE, WINDOW, Breaking, Chunk, Screen, breaking_of, run_chunk
from crashworthy.impact.jit import cache_folder
from crashworthy.impact.model import Model, model_of
from crashworthy.impact.scenario import Scenario
from crashworthy.strength.capacity import Capacity, arm_root_moments, arm_root_torque
from crashworthy.strength.correction import corrected_capacities

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.build.quad import Quad
    from crashworthy.impact.watch import Watched
    from crashworthy.strength.correction import Corrections

__all__ = ["CHUNK", "Case", "Crasher", "Runner", "Work", "case_of", "plain", "run_work", "step_of"]

CHUNK: Final = 1024
"""Crashes in a unit of work."""

Arrays = dict[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """Some crashes of one case: all that another process needs to run them.

    Attributes:
        name: digest of everything the result depends on; equal names have equal results.
        model, scenario, seed, dt: what is crashed, and how.
        n_parts: parts of the build.
        chunk: which crashes.
        breaking: strengths at which arms and props break in the run; nothing breaks without.
        screen: simulate some of the crashes that are drawn; every one without.
    """

    name: str
    model: Model
    scenario: Scenario
    seed: int
    dt: float
    n_parts: int
    chunk: Chunk
    breaking: Breaking | None = None
    screen: Screen | None = None


Runner = Callable[[Callable[[Work], Arrays], Iterable[Work]], Iterator[Arrays]]
"""Runs a function over units of work and yields the results in their order."""


def run_work(work: Work) -> Arrays:
    """Crash: plain arrays, the crash as the last axis."""
    return run_chunk(
        work.model, work.scenario, work.seed, work.dt, work.n_parts, work.chunk, work.breaking, work.screen
    )


def plain(run: Callable[[Work], Arrays], works: Iterable[Work]) -> Iterator[Arrays]:
    """The simplest runner: one after the other."""
    return map(run, works)


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A build under a scenario.

    Attributes:
        quad: the build.
        model: the kernel's numbers, from the build or changed on purpose.
        capacities: what its parts bear.
        scenario: what it meets.
        dt: time step, s.
        breaking: strengths at which arms and props break in the run; nothing breaks without.
        strengths: factors learned for kinds of parts that ``capacities`` hold already.
    """

    quad: Quad
    model: Model
    capacities: tuple[Capacity, ...]
    scenario: Scenario
    dt: float
    breaking: Breaking | None = None
    strengths: Corrections | None = None

    @property
    def digest(self) -> str:
        """sha256 of everything that the loads of a crash depend on besides seed and number.

        Strengths are not in it: they are compared with the loads afterwards.
        """
        state = hashlib.sha256(
            json.dumps(
                [
                    ENGINE,
                    cache_folder().name,
                    WINDOW,
                    SETTLE,
                    self.dt,
                    self.scenario.digest,
                    len(self.quad.parts),
                    self.breaking,
                ]
            ).encode()
        )
        for group in (self.model.craft, self.model.beds, self.model[2:]):
            for item in group:
                array = np.ascontiguousarray(item)
                state.update(f"{array.dtype}{array.shape}".encode())
                state.update(array.tobytes())
        return state.hexdigest()

    def works(
        self, seed: int, first: int, n: int, chunk: int = CHUNK, screen: Screen | None = None
    ) -> list[Work]:
        """Units of work for the crashes (or places, when screened) ``first`` ... ``first + n - 1``."""
        digest = self.digest
        if screen is not None:
            text = json.dumps([digest, screen.to_list()])
            digest = hashlib.sha256(text.encode()).hexdigest()
        return [
            Work(
                f"{digest[:40]}-{seed:x}-{start}-{min(chunk, first + n - start)}",
                self.model,
                self.scenario,
                seed,
                self.dt,
                len(self.quad.parts),
                Chunk(start, min(chunk, first + n - start)),
                self.breaking,
                screen,
            )
            for start in range(first, first + n, chunk)
        ]

    def batch(
        self,
        seed: int,
        arrays: Arrays,
        *,
        digest: str = "",
        watched: tuple[Watched, ...] = (),
        drawn: int = 0,
        asked: int = 0,
        until: float = 0.0,
    ) -> CrashBatch:
        """Put the arrays of some crashes together with what names them; see ``CrashBatch``."""
        n = len(arrays["flags"])
        quad = self.quad
        if not digest:
            digest = hashlib.sha256(json.dumps([self.digest, seed, n]).encode()).hexdigest()
        return CrashBatch(
            quad=quad.slug,
            quad_digest=quad.digest,
            scenario=self.scenario.to_json(),
            n=n,
            seed=seed,
            dt=self.dt,
            digest=digest,
            parts=tuple((p.name, p.label, p.kind) for p in quad.parts),
            arm_parts=tuple(a.part for a in quad.arms),
            arm_capacity=tuple(arm_root_moments(a) for a in quad.arms),
            arm_torque=tuple(arm_root_torque(a) for a in quad.arms),
            limb_parts=tuple(int(i) for i in self.model.limbs[len(quad.arms) :]),
            capacities=self.capacities,
            obstacles=tuple((o.name, o.kind, o.surface) for o in self.scenario.obstacles),
            **{name: arrays[name] for name in ARRAYS},
            watched=watched,
            drawn=drawn or n,
            asked=asked or n,
            until=until,
        )


def case_of(
    quad: Quad,
    scenario: Scenario | None = None,
    *,
    dt: float = 1e-5,
    fracture: bool = False,
    strengths: Corrections | None = None,
) -> Case:
    """Make a build ready; with ``fracture`` arms and props break in the run.

    ``strengths`` are factors learned for each kind of part; tabled strengths without.

    Raises:
        ScenarioError: the build cannot be crashed.
    """
    modes = corrected_capacities(quad, strengths)
    breaking = breaking_of(quad, modes) if fracture else None
    model = model_of(quad)
    return Case(quad, model, modes, scenario or Scenario.default(), step_of(model, dt), breaking, strengths)


def step_of(model: Model, dt: float) -> float:
    """The time step of a build: ``dt``, or a whole part of it that its quickest limb allows, s."""
    return dt / math.ceil(dt / model.step) if model.step < dt else dt


class Crasher:
    """Crashes cases with one seed, a few more at a time, and keeps what it has.

    Every case that was asked for has the crashes 0 ... n-1; asking for more runs only the new ones.
    """

    def __init__(
        self,
        seed: int,
        run: Runner | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
        total: int = 0,
    ) -> None:
        """Take the seed, where to run, and whom to tell.

        Args:
            seed: 0 <= seed < 2**64.
            run: executor's ordered map; one after the other by default.
            progress: called with (crashes done, crashes expected).
            cancelled: asked before each result is taken.
            total: crashes expected in all, for ``progress``.

        Raises:
            ScenarioError: the seed is out of range.
        """
        if not 0 <= seed < 2**64:
            raise ScenarioError(Problem(f"seed {seed} is out of range", "use 0 to 2**64 - 1", field="seed"))
        self.seed, self.total, self.done = seed, total, 0
        self._run, self._progress, self._cancelled = run or plain, progress, cancelled
        self._kept: dict[str, list[Arrays]] = {}

    def crash(self, cases: Sequence[Case], n: int) -> list[CrashBatch]:
        """The first ``n`` crashes of every case.

        Raises:
            ScenarioError: ``n`` is out of range.
            CampaignCancelled: the caller asked to stop.
        """
        if not 1 <= n <= LIMIT:
            raise ScenarioError(
                Problem(f"cannot crash {n} times", f"ask for 1 to {LIMIT} crashes", field="n")
            )
        works: list[tuple[str, Work]] = []
        planned: set[str] = set()
        for case in cases:
            digest = case.digest
            have = sum(len(x["flags"]) for x in self._kept.get(digest, ()))
            if have < n and digest not in planned:
                works += [(digest, w) for w in case.works(self.seed, have, n - have)]
                planned.add(digest)
        self.total = max(self.total, self.done + sum(w.chunk.count for _, w in works))
        results = self._run(run_work, [w for _, w in works])
        for (digest, work), result in zip(works, results, strict=True):
            if self._cancelled is not None and self._cancelled():
                close = getattr(results, "close", None)
                if close is not None:
                    close()
                raise CampaignCancelled(
                    Problem(
                        f"cancelled after {self.done} of {self.total} crashes", "start it again when you like"
                    )
                )
            self._kept.setdefault(digest, []).append(result)
            self.done += work.chunk.count
            if self._progress is not None:
                self._progress(self.done, self.total)
        return [case.batch(self.seed, self._joined(case.digest, n)) for case in cases]

    def _joined(self, digest: str, n: int) -> Arrays:
        pieces = self._kept[digest]
        return {name: np.concatenate([p[name] for p in pieces], axis=-1)[..., :n] for name in ARRAYS}
