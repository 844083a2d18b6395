"""The results of a campaign, crash by crash."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.obstacle import ROUND
from crashworthy.impact.watch import Watched
from crashworthy.strength.capacity import Capacity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from crashworthy.impact.summary import CrashSummary

    Floats = NDArray[np.float32]

__all__ = ["ARRAYS", "REFINED", "CrashBatch", "complete", "even_arrays", "even_index"]

REFINED: Final = 16
"""Flag bit: the crash was flagged at the asked time step and run again at a quarter or a sixteenth of it."""

ARRAYS: Final = (
    "part_peak",
    "part_impulse",
    "part_tfirst",
    "arm_moment",
    "shock",
    "pseudo_velocity",
    "core_peak",
    "strap",
    "board_velocity",
    "arm_shear",
    "arm_twist",
    "limb_load",
    "broken",
    "obstacle",
    "speed",
    "closing",
    "normal_speed",
    "first_part",
    "audit",
    "flags",
    "crash",
    "weight",
)
"""Arrays of a batch, as saved."""


_LATER: Final = {
    "strap": (),
    "board_velocity": (3,),
    "arm_shear": (-1, 2),
    "broken": (2, -1),
    "arm_twist": (-1,),
    "limb_load": (0, 2),
}
"""Arrays that older campaigns lack, and their shape before the crash's axis; -1 stands for the arms."""


def complete(arrays: dict[str, Any], arms: int) -> dict[str, Any]:
    """Arrays of a saved campaign, with zeros (nothing broken) for what it was too old to know.

    Raises:
        KeyError: an array is missing that every campaign has.
    """
    n = len(arrays["flags"])
    for name, shape in _LATER.items():
        if name not in arrays:
            whole = tuple(arms if k < 0 else k for k in shape)
            empty = -1.0 if name == "broken" else 0.0
            arrays[name] = np.full((*whole, n), empty, dtype=np.float32)
    arrays.setdefault("crash", np.arange(n, dtype=np.int64))
    arrays.setdefault("weight", np.ones(n))
    return {name: arrays[name] for name in ARRAYS}


def even_index(weight: NDArray[np.float64]) -> NDArray[np.int64]:
    """Which crashes to take, some twice, so that all count the same: as many as the effective number."""
    square = float(weight @ weight)
    count = max(1, int(float(weight.sum()) ** 2 / square))
    upto = np.cumsum(weight) / weight.sum() * count
    return np.minimum(np.searchsorted(upto, np.arange(count) + 0.5), len(weight) - 1)


def even_arrays(arrays: Mapping[str, Any]) -> dict[str, Any]:
    """Arrays of a saved campaign, drawn by weight so that all crashes count the same."""
    weight = arrays.get("weight")
    if weight is None or (weight == 1.0).all():
        return dict(arrays)
    index = even_index(weight)
    even = {name: array[..., index] for name, array in arrays.items()}
    return {**even, "weight": np.ones(len(index))}


@dataclass(frozen=True, slots=True, eq=False)
class CrashBatch:
    """Many crashes of one build; arrays have the crash as their last axis, parts in the order of the build.

    Attributes:
        quad: slug of the build.
        quad_digest: its digest.
        scenario: the scenario as plain data.
        n, seed, dt: as asked.
        digest: sha256 of build, scenario, tables, seed, n, dt, options and engine version: the campaign's
            identity.
        parts: (name, label, kind) of every part.
        arm_parts: part index of each arm.
        limb_parts: part index of each other limb: antennas, leads, what sits on a soft mount.
        arm_torque: torque that breaks each arm's root, N m.
        arm_capacity: (out of plane, in plane) root moment capacity of each arm, N m.
        capacities: failure modes.
        obstacles: (name, kind, surface) of the scenario.
        part_peak: (parts, n) peak of the part's summed normal force, N.
        part_impulse: (parts, n) N s.
        part_tfirst: (parts, n) time of first touch after first contact, s; NaN when never touched.
        arm_moment: (arms, 3, n) peak root moment in plane and out of plane, N m, and peak interaction.
        shock: (n,) peak acceleration of the boards on their mount, m/s².
        pseudo_velocity: (n,) of the same, m/s.
        strap: (n,) peak pull on the battery's strap, N.
        board_velocity: (3, n) peak pseudo-velocity of three board modes on the stack, m/s.
        arm_shear: (arms, 2, n) peak sideways force on the screws of root and motor, N.
        arm_twist: (arms, n) peak torque about its axis at each arm's root, N m.
        limb_load: (limbs, 2, n) peak utilisation and travel (m) of each limb that is no arm.
        broken: (2, arms, n) time at which each arm and each prop broke in the run, s; -1 when whole.
        core_peak: (n,) peak acceleration of the rigid core, m/s² (mesh sensitive; for comparison only).
        obstacle: (n,) index into ``obstacles``.
        speed: (n,) before impact, m/s.
        closing: (n,) normal closing speed of the first point to touch, m/s.
        normal_speed: (n,) speed of the core towards the obstacle at first touch, m/s.
        first_part: (n,) part that touches first.
        audit: (n,) energy found minus energy at the start, as a share of it.
        flags: (n,) bits (``craft.FLAG_*``, ``REFINED``).
        crash: (n,) number of the crash: what it was drawn by.
        weight: (n,) how much it counts, 1 on average; all 1 unless rare hits were watched.
        watched: rare hits that were watched.
        drawn: crashes drawn, of which ``n`` were simulated.
        asked: crashes asked for; more than ``n`` when the campaign stopped early.
        until: relative half width at which it was to stop; 0 for never.
    """

    quad: str
    quad_digest: str
    scenario: dict[str, Any]
    n: int
    seed: int
    dt: float
    digest: str
    parts: tuple[tuple[str, str, str], ...]
    arm_parts: tuple[int, ...]
    arm_capacity: tuple[tuple[float, float], ...]
    arm_torque: tuple[float, ...]
    limb_parts: tuple[int, ...]
    capacities: tuple[Capacity, ...]
    obstacles: tuple[tuple[str, str, str], ...]
    part_peak: Floats
    part_impulse: Floats
    part_tfirst: Floats
    arm_moment: Floats
    shock: Floats
    pseudo_velocity: Floats
    core_peak: Floats
    strap: Floats
    board_velocity: Floats
    arm_shear: Floats
    arm_twist: Floats
    limb_load: Floats
    broken: Floats
    obstacle: NDArray[np.int32]
    speed: Floats
    closing: Floats
    normal_speed: Floats
    first_part: NDArray[np.int32]
    audit: Floats
    flags: NDArray[np.int32]
    crash: NDArray[np.int64]
    weight: NDArray[np.float64]
    watched: tuple[Watched, ...] = ()
    drawn: int = 0
    asked: int = 0
    until: float = 0.0

    def even(self) -> CrashBatch:
        """Crashes that all count the same: this batch, or about as many drawn by weight as it is worth.

        Systematic resampling keeps every mean up to rounding; for what counts crashes and knows no weights.
        """
        if not self.weighted:
            return self
        index = even_index(self.weight)
        arrays = {name: getattr(self, name)[..., index] for name in ARRAYS if name != "weight"}
        return replace(self, n=len(index), weight=np.ones(len(index)), **arrays)

    @property
    def weighted(self) -> bool:
        """Whether some crashes count more than others."""
        return bool((self.weight != 1.0).any())

    @property
    def missed(self) -> NDArray[np.bool_]:
        """(n,) crashes in which no part was pressed: the obstacle was aimed at, and not met."""
        nothing: NDArray[np.bool_] = self.part_peak.max(axis=0) <= 0.0
        return nothing

    @property
    def part_rank(self) -> NDArray[np.int32]:
        """(parts, n) order in which the parts were touched, 1 first; 0 when never."""
        order = np.argsort(np.argsort(self.part_tfirst, axis=0, kind="stable"), axis=0, kind="stable") + 1
        rank: NDArray[np.int32] = np.where(np.isnan(self.part_tfirst), 0, order).astype(np.int32)
        return rank

    @property
    def round_obstacle(self) -> NDArray[np.bool_]:
        """(n,) whether something narrow was hit, such as a bar, edge, stone or spike, not a flat surface."""
        is_round = np.array([kind in ROUND for _, kind, _ in self.obstacles])
        flags: NDArray[np.bool_] = is_round[self.obstacle]
        return flags

    def summarise(
        self, edges: tuple[float, float] | None = None, broken: CrashBatch | None = None
    ) -> CrashSummary:
        """Shares, quantiles and chances with their intervals; arguments as ``summary.summarise``."""
        from crashworthy.impact.summary import summarise

        return summarise(self, edges, broken)

    def save(self) -> bytes:
        """The whole batch as bytes (compressed NumPy archive); equal batches give equal bytes."""
        head = {
            k: getattr(self, k)
            for k in ("quad", "quad_digest", "scenario", "n", "seed", "dt", "digest", "parts", "arm_parts")
        }
        head["arm_torque"], head["limb_parts"] = self.arm_torque, self.limb_parts
        head["arm_capacity"], head["obstacles"] = self.arm_capacity, self.obstacles
        head["watched"] = [asdict(w) for w in self.watched]
        head |= {"drawn": self.drawn, "asked": self.asked, "until": self.until}
        head["capacities"] = [asdict(c) for c in self.capacities]
        text = np.frombuffer(json.dumps(head, sort_keys=True).encode(), dtype=np.uint8)
        file = io.BytesIO()
        arrays: dict[str, Any] = {name: getattr(self, name) for name in ARRAYS}
        np.savez_compressed(file, head=text, **arrays)
        return file.getvalue()

    @classmethod
    def load(cls, data: bytes) -> CrashBatch:
        """Read what ``save`` wrote.

        Raises:
            ScenarioError: the bytes are no saved campaign.
        """
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as file:
                head = json.loads(file["head"].tobytes().decode())
                arrays = complete(
                    {name: file[name] for name in file.files if name in ARRAYS}, len(head["arm_parts"])
                )
            head["parts"] = tuple((a, b, c) for a, b, c in head["parts"])
            head["arm_parts"] = tuple(head["arm_parts"])
            head["arm_torque"] = tuple(head.get("arm_torque", ()))
            head["limb_parts"] = tuple(head.get("limb_parts", ()))
            head["arm_capacity"] = tuple((a, b) for a, b in head["arm_capacity"])
            head["obstacles"] = tuple((a, b, c) for a, b, c in head["obstacles"])
            head["capacities"] = tuple(Capacity(**c) for c in head["capacities"])
            head["watched"] = tuple(
                Watched(w["name"], tuple(w["parts"]), tuple(w["obstacles"])) for w in head.get("watched", ())
            )
            return cls(**head, **arrays)
        except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile) as problem:
            raise ScenarioError(
                Problem(f"these bytes are no saved crash campaign ({problem})", "run the campaign again")
            ) from None
