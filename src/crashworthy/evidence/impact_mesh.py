"""Checks on a whole quad: four times the contact points, and the bound that elastic waves put on arms."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache, partial
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.evidence.impact_check import check

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.evidence.registry import Check
    from crashworthy.impact.batch import CrashBatch

__all__ = ["MESH"]


CRASHES = 1024
"""Crashes of each mesh. The ratio of two means over the same crashes scatters by 2-4 % at 256 for what is hit
in one crash of ten (plates, screw heads), by half of that here."""


def _v13() -> list[Check]:
    told = f"the plain starter sheet, {CRASHES} crashes, 1200 (the default) against 4800 contact points"
    source = "mesh refinement: results must not depend on how many points carry the skin"
    rows: tuple[tuple[str, str, Callable[[CrashBatch], float]], ...] = (
        ("impulse", "total impulse", lambda b: float(b.part_impulse.sum(axis=0).mean())),
        ("moment", "out-of-plane arm moment", lambda b: float(b.arm_moment[:, 1].mean())),
        ("in_plane", "in-plane arm moment", lambda b: float(b.arm_moment[:, 0].mean())),
        ("shock", "shock of the boards", lambda b: float(b.shock.mean())),
        ("boards", "pseudo-velocity of the boards", lambda b: float(b.board_velocity.mean())),
        ("strap", "pull on the strap", lambda b: float(b.strap.mean())),
        ("arms", "impulse on arms and screw heads", partial(_impulse, "arm", "screw")),
        ("plates", "impulse on plates", partial(_impulse, "plate")),
        ("props", "impulse on props", partial(_impulse, "prop")),
        ("battery", "impulse on the battery", partial(_impulse, "battery")),
        ("motors", "impulse on motors", partial(_impulse, "motor")),
        ("shear", "sideways force on screws", lambda b: float(b.arm_shear.mean())),
        *(
            (f"peak.{kind}", f"peak force on {what}", partial(_peak, kind))
            for kind, what in (
                ("arm", "arms"),
                ("screw", "screw heads"),
                ("motor", "motors"),
                ("plate", "plates"),
                ("prop", "props"),
                ("battery", "the battery"),
            )
        ),
    )

    def ratio(measure: Callable[[CrashBatch], float]) -> tuple[float, float]:
        return 1.0, measure(_meshed(1200)) / measure(_meshed(4800))

    return [
        check(
            f"V13.{key}",
            f"Four times the contact points: {what}",
            told,
            "",
            0.05,
            source,
            partial(ratio, measure),
            access="computed",
        )
        for key, what, measure in rows
    ]


def _of(batch: CrashBatch, kinds: tuple[str, ...]) -> list[bool]:
    return [kind in kinds for _, _, kind in batch.parts]


def _impulse(*given: str | CrashBatch) -> float:
    """Mean impulse a crash gives to parts of the kinds named before the batch, N s."""
    *kinds, batch = given
    assert not isinstance(batch, str)  # noqa: S101 - narrows the type for the checker
    return float(batch.part_impulse[_of(batch, tuple(str(k) for k in kinds))].sum(axis=0).mean())


def _peak(kind: str, batch: CrashBatch) -> float:
    """Mean over crashes of the largest peak force on a part of a kind, N."""
    return float(batch.part_peak[_of(batch, (kind,))].max(axis=0).mean())


@lru_cache(maxsize=2)
def _starter(points: int) -> Quad:
    from crashworthy.build.assemble import assemble
    from crashworthy.build.reading import parse
    from crashworthy.build.starter import starter

    return assemble(parse(starter("Plain five")), points=points)


@lru_cache(maxsize=2)
def _meshed(points: int) -> CrashBatch:
    from crashworthy.impact.campaign import simulate

    return simulate(_starter(points), CRASHES, 5)


def _v10() -> list[Check]:
    told = (
        f"the plain starter sheet, {CRASHES} crashes; narrowest section of an arm, speed of its tip in flight"
    )

    def beyond() -> tuple[float, float]:
        from crashworthy.impact.model import model_of
        from crashworthy.impact.scenario import Scenario
        from crashworthy.impact.start import sample
        from crashworthy.materials.table import value

        batch, quad = _meshed(1200), _starter(1200)
        craft = model_of(quad).craft
        starts = sample(Scenario.default(), craft, batch.seed, batch.crash)
        spin = np.linalg.norm(starts.state[10:13], axis=0)
        tips = np.linalg.norm(craft.tip[: len(quad.arms)], axis=1)
        # No arm meets the obstacle faster than its tip can have flown; the first touch may be slower, being
        # of another part, or a graze.
        fastest = batch.speed + tips[:, None] * spin
        wave = math.sqrt(value("carbon_plate", "flexural_modulus") * value("carbon_plate", "density"))
        section = np.array([a.thickness * min(a.width_root, a.width_tip) for a in quad.arms])
        return 0.0, float((batch.arm_shear[:, 0] > wave * section[:, None] * fastest).mean())

    return [
        check(
            "V10.bound",
            "Force in the arms' roots: share of arms and crashes beyond the wave bound",
            told,
            "",
            0.01,
            "elastic wave in a bar stopped at its end, F = A sqrt(E rho) v (Goldsmith, 1960, recalled); the "
            "root also bears blows short of the tip, across the arm",
            beyond,
            relative=False,
        )
    ]


MESH: tuple[Check, ...] = (*_v10(), *_v13())
"""Checks of whole quads."""
