"""The results of a campaign, crash by crash."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.obstacle import ROUND
from crashworthy.strength.capacity import Capacity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.impact.summary import CrashSummary

    Floats = NDArray[np.float32]

__all__ = ["ARRAYS", "REFINED", "CrashBatch", "complete"]

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
    return {name: arrays[name] for name in ARRAYS}


@dataclass(frozen=True, slots=True, eq=False)
class CrashBatch:
    """Many crashes of one build; arrays have the crash as their last axis, parts in the order of the build.

    Attributes:
        quad: slug of the build.
        quad_digest: its digest.
        scenario: the scenario as plain data.
        n, seed, dt: as asked.
        digest: sha256 of build, scenario, tables, seed, n, dt and engine version: the campaign's identity.
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
            return cls(**head, **arrays)
        except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile) as problem:
            raise ScenarioError(
                Problem(f"these bytes are no saved crash campaign ({problem})", "run the campaign again")
            ) from None
