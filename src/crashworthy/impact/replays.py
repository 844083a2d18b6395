"""One crash of a campaign again, with frames to look at: seed and number are enough to bring it back."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.blocks import crash
from crashworthy.impact.campaign import LIMIT, SETTLE, WINDOW, simulate
from crashworthy.impact.contact import BED
from crashworthy.impact.craft import FLAG_ENERGY, FLAG_INVALID, FLAG_STEP
from crashworthy.impact.frames import bends, gaps, pushes, root_moments, swings, turned, twists
from crashworthy.impact.model import model_of
from crashworthy.impact.scenario_file import Reader
from crashworthy.impact.start import sample
from crashworthy.impact.touches import arm_bears, arm_bears_torque
from crashworthy.impact.watch import POOL
from crashworthy.impact.words import plain_numbers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.blocks import Outcome
    from crashworthy.impact.model import Model
    from crashworthy.impact.scenario import Scenario
    from crashworthy.impact.start import Starts

    Floats = NDArray[np.float64]

__all__ = ["FRAME", "Replay", "bring_back", "replay", "scenario_of", "worst"]

FRAME: Final = 1e-4
"""Time between frames, s."""

SHAPE_NAMES: Final = ("plane", "cylinder", "box", "spike", "rubble", "gap")
"""Words for the shapes of ``obstacle``, in their order."""


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """Frames of one crash.

    Attributes:
        crash: its number.
        obstacle, surface: what was hit, in the words of the scenario.
        shape: "plane", "cylinder", "box", "spike", "rubble" or "gap".
        row: (16,) numbers of the obstacle in the world frame, as ``impact.obstacle`` explains them.
        speed: before impact, m/s.
        time: (frames,) s after first touch.
        place: (frames, 3) origin of the quad's own frame in the world, m.
        attitude: (frames, 4) quaternion w, x, y, z.
        tips: (frames, arms, 2) deflection of each tip in plane and out of plane, m.
        limbs: (frames, limbs, 3) movement of whatever gives on its own in the frame of the quad, m; arms
            first, then as ``limbs.limbs_of`` lists them.
        moments: (frames, arms, 2) root moment of the tip's bending in plane and out of plane, N m: stiffness
            times deflection times length. What strikes the arm itself near its root adds to it and is not
            in it.
        capacity: (arms, 2) moment at which half of such roots break, N m, in the same order.
        twists: (frames, arms) twist of each arm about its axis from root to tip, rad.
        torques: (frames, arms) torque at its root by that twist, N m.
        torque_capacity: (arms,) torque at which half of such roots break, N m.
        arms: name of each arm.
        push: (frames, 3) force of the obstacle on the quad in the world, N, mean over a frame.
        swing: (frames, 3) travel of an obstacle that gives, in the world, m.
        contacts: (part, from, to) times between which a point of the part is inside the obstacle, s.
        touched: (part, time of first touch in s), in order.
        peaks: (part, peak force in N, impulse in N s), hardest first.
    """

    crash: int
    obstacle: str
    surface: str
    shape: str
    row: Floats
    speed: float
    time: Floats
    place: Floats
    attitude: Floats
    tips: Floats
    limbs: Floats
    moments: Floats
    capacity: Floats
    twists: Floats
    torques: Floats
    torque_capacity: Floats
    arms: tuple[str, ...]
    push: Floats
    swing: Floats
    contacts: tuple[tuple[str, float, float], ...]
    touched: tuple[tuple[str, float], ...]
    peaks: tuple[tuple[str, float, float], ...]

    def summary(self) -> str:
        """One sentence, numbers first."""
        first = self.touched[0][0] if self.touched else "nothing"
        worst_ = f"; hardest hit: {self.peaks[0][0]}, {self.peaks[0][1]:.0f} N" if self.peaks else ""
        return f"{self.speed:.1f} m/s into {self.obstacle}, {first} first{worst_}."

    def to_json(self) -> dict[str, Any]:
        """Plain data for a viewer: SI units, numbers to nine significant digits."""
        data: dict[str, Any] = plain_numbers(
            {
                "summary": self.summary(),
                "crash": self.crash,
                "obstacle": self.obstacle,
                "surface": self.surface,
                "shape": self.shape,
                "row": self.row.tolist(),
                "speed": self.speed,
                "time": self.time.tolist(),
                "place": self.place.tolist(),
                "attitude": self.attitude.tolist(),
                "tips": self.tips.tolist(),
                "limbs": self.limbs.tolist(),
                "arms": list(self.arms),
                "moments": self.moments.tolist(),
                "capacity": self.capacity.tolist(),
                "twists": self.twists.tolist(),
                "torques": self.torques.tolist(),
                "torque_capacity": self.torque_capacity.tolist(),
                "push": np.linalg.norm(self.push, axis=1).tolist(),
                "swing": self.swing.tolist(),
                "contacts": [list(x) for x in self.contacts],
                "touched": [list(x) for x in self.touched],
                "peaks": [list(x) for x in self.peaks],
            }
        )
        return data


def worst(batch: CrashBatch, part: str = "") -> int:
    """Number of the crash that loads a part the most; without a part, that shakes the boards the most.

    Of a watched campaign the number is that of the draw.

    Raises:
        ScenarioError: the campaign has no such part.
    """
    if not part:
        return int(batch.crash[batch.shock.argmax()])
    for index, (name, _, _) in enumerate(batch.parts):
        if name == part:
            return int(batch.crash[batch.part_peak[index].argmax()])
    raise ScenarioError(Problem(f"no part is called {part!r}", "use a part of the campaign", field="part"))


def replay(quad: Quad, batch: CrashBatch, crash_id: int, *, dt: float = 0.0) -> Replay:
    """Run one crash of a campaign again and keep frames.

    Args:
        quad: the build that was crashed.
        batch: the campaign.
        crash_id: number of the crash, from 0.
        dt: time step, s; the campaign's by default, 10 us when it does not know.

    Raises:
        ScenarioError: the number is not of the campaign, or the build is another.
    """
    if crash_id not in batch.crash:
        raise ScenarioError(
            Problem(
                f"there is no crash {crash_id}",
                f"use one of its {batch.n}, {batch.crash[0]} to {batch.crash[-1]}",
                field="crash_id",
            )
        )
    if quad.digest != batch.quad_digest:
        raise ScenarioError(
            Problem("the build has changed since that campaign", "run the crash test again", field="quad")
        )
    model = model_of(quad)
    s = sample(scenario_of(batch), model.craft, batch.seed, np.array([crash_id], dtype=np.int64))
    got = _run(model, s, dt or batch.dt or 1e-5)
    trace = got.trace[..., 0]
    # Frames after an early end were never written: they all say time 0.
    frames = np.ascontiguousarray(trace[: 1 + int(np.argmax(trace[:, 0]))])
    names = [quad.parts[i].name for i in model.parts]
    order = [i for i in np.argsort(got.touched[:, 0]) if not math.isnan(got.touched[i, 0])]
    hardest = [i for i in np.argsort(-got.peak[:, 0]) if got.peak[i, 0] > 0.0]
    name, _, surface = batch.obstacles[int(s.obstacle[0])]
    kind, row, craft = int(s.kinds[0]), s.rows[:, 0], model.craft
    push = pushes(craft, frames, s.state[:13, 0])
    swing = swings(kind, row, frames[:, 0], push)
    gap, facing, _ = gaps(craft, kind, row, frames, swing)
    twist, torque = twists(craft, frames)
    contacts = [
        (names[p], start, end)
        for p in order
        for start, end in _spans(
            frames[:, 0],
            ((gap < 0.0) & (facing > 0.0))[:, craft.start[p] : craft.start[p + 1]].any(axis=1),
            float(got.touched[p, 0]),
        )
    ]
    return Replay(
        crash=crash_id,
        obstacle=name,
        surface=surface,
        shape=SHAPE_NAMES[kind],
        row=row,
        speed=float(np.linalg.norm(s.state[3:6, 0])),
        time=frames[:, 0],
        place=frames[:, 1:4] + turned(frames[:, 4:8], -model.origin),
        attitude=frames[:, 4:8],
        tips=frames[:, 8 : 8 + 3 * len(quad.arms)].reshape(len(frames), -1, 3)[..., :2],
        limbs=bends(craft, frames),
        moments=root_moments(craft, frames),
        capacity=arm_bears(batch),
        twists=twist,
        torques=torque,
        torque_capacity=arm_bears_torque(batch),
        arms=tuple(batch.parts[i][0] for i in batch.arm_parts),
        push=push,
        swing=swing,
        contacts=tuple(sorted(contacts, key=lambda x: x[1])),
        touched=tuple((names[i], float(got.touched[i, 0])) for i in order),
        peaks=tuple((names[i], float(got.peak[i, 0]), float(got.impulse[i, 0])) for i in hardest),
    )


def bring_back(quad: Quad, crash_id: int, seed: int, scenario: Scenario | None = None) -> Replay:
    """The same without a campaign at hand: build, scenario, seed and number are enough.

    Args:
        quad: the build.
        crash_id: number of the crash, from 0.
        seed: of the campaign.
        scenario: of the campaign; the assumed everyday mix by default.

    Raises:
        ScenarioError: the number or seed is out of range, or the build cannot be crashed.
    """
    # A watched campaign numbers its crashes by the draw.
    if not 0 <= crash_id < POOL * LIMIT:
        raise ScenarioError(
            Problem(f"there is no crash {crash_id}", f"use 0 to {POOL * LIMIT - 1}", field="crash_id")
        )
    one = simulate(quad, 1, seed, scenario)
    return replay(quad, replace(one, crash=np.array([crash_id])), crash_id)


def scenario_of(batch: CrashBatch) -> Scenario:
    """The scenario of a campaign, from its plain data."""
    obstacles = {o["name"]: {k: v for k, v in o.items() if k != "name"} for o in batch.scenario["obstacles"]}
    return Reader("", "").scenario({**batch.scenario, "obstacles": obstacles})


def _run(model: Model, s: Starts, dt: float) -> Outcome:
    """One crash with frames, at a quarter or a sixteenth of the step when the campaign would have done so."""
    for step in (dt, dt / 4.0, dt / 16.0):
        got = crash(
            model.craft, model.beds, BED, s.kinds, s.surfaces, s.rows, s.state, np.maximum(s.closing, 1.0),
            dt=step, steps=round(WINDOW / step), settle=SETTLE, every=max(1, round(FRAME / step)),
        )  # fmt: skip
        if not int(got.flags[0]) & (FLAG_STEP | FLAG_ENERGY | FLAG_INVALID):
            break
    return got


def _spans(time: Floats, inside: Any, first: float) -> list[tuple[float, float]]:
    """From when to when a part is in contact; one too short for the frames is an instant."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    spans = [(float(time[a]), float(time[b - 1])) for a, b in edges.reshape(-1, 2)]
    return spans or [(first, first)]
