"""One crash of a campaign again, with frames to look at: seed and number are enough to bring it back."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.blocks import crash
from crashworthy.impact.campaign import SETTLE, WINDOW
from crashworthy.impact.contact import BED
from crashworthy.impact.model import model_of
from crashworthy.impact.scenario_file import Reader
from crashworthy.impact.start import sample
from crashworthy.impact.words import plain_numbers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.batch import CrashBatch

    Floats = NDArray[np.float64]

__all__ = ["Replay", "replay", "worst"]

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
                "touched": [list(x) for x in self.touched],
                "peaks": [list(x) for x in self.peaks],
            }
        )
        return data


def worst(batch: CrashBatch, part: str = "") -> int:
    """Number of the crash that loads a part the most; without a part, that shakes the boards the most.

    Raises:
        ScenarioError: the campaign has no such part.
    """
    if not part:
        return int(batch.shock.argmax())
    for index, (name, _, _) in enumerate(batch.parts):
        if name == part:
            return int(batch.part_peak[index].argmax())
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
    if not 0 <= crash_id < batch.n:
        raise ScenarioError(
            Problem(f"there is no crash {crash_id}", f"use 0 to {batch.n - 1}", field="crash_id")
        )
    if quad.digest != batch.quad_digest:
        raise ScenarioError(
            Problem("the build has changed since that campaign", "run the crash test again", field="quad")
        )
    obstacles = {o["name"]: {k: v for k, v in o.items() if k != "name"} for o in batch.scenario["obstacles"]}
    scenario = Reader("", "").scenario({**batch.scenario, "obstacles": obstacles})
    model = model_of(quad)
    s = sample(scenario, model.craft, batch.seed, np.array([crash_id], dtype=np.int64))
    dt = dt or batch.dt or 1e-5
    got = crash(
        model.craft, model.beds, BED, s.kinds, s.surfaces, s.rows, s.state, np.maximum(s.closing, 1.0), dt=dt,
        steps=round(WINDOW / dt), settle=SETTLE, every=max(1, round(FRAME / dt)), width=1,
    )  # fmt: skip
    trace = got.trace[..., 0]
    # Frames after an early end were never written: they all say time 0.
    frames = trace[: 1 + int(np.argmax(trace[:, 0]))]
    names = [quad.parts[i].name for i in model.parts]
    turned = _turn(frames[:, 4:8], -model.origin)
    order = [i for i in np.argsort(got.touched[:, 0]) if not math.isnan(got.touched[i, 0])]
    hardest = [i for i in np.argsort(-got.peak[:, 0]) if got.peak[i, 0] > 0.0]
    name, _, surface = batch.obstacles[int(s.obstacle[0])]
    return Replay(
        crash=crash_id,
        obstacle=name,
        surface=surface,
        shape=SHAPE_NAMES[int(s.kinds[0])],
        row=s.rows[:, 0],
        speed=float(np.linalg.norm(s.state[3:6, 0])),
        time=frames[:, 0],
        place=frames[:, 1:4] + turned,
        attitude=frames[:, 4:8],
        tips=frames[:, 8 : 8 + 3 * len(quad.arms)].reshape(len(frames), -1, 3)[..., :2],
        touched=tuple((names[i], float(got.touched[i, 0])) for i in order),
        peaks=tuple((names[i], float(got.peak[i, 0]), float(got.impulse[i, 0])) for i in hardest),
    )


def _turn(q: Floats, a: Floats) -> Floats:
    """A body vector seen in the world, for each quaternion (frames, 4)."""
    v = np.broadcast_to(a, (len(q), 3))
    t = 2.0 * np.cross(q[:, 1:], v)
    turned: Floats = v + q[:, :1] * t + np.cross(q[:, 1:], t)
    return turned
