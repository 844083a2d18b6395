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


def _v13() -> list[Check]:
    told = "the plain starter sheet, 256 crashes, 1200 (the default) against 4800 contact points"
    source = "mesh refinement: results must not depend on how many points carry the skin"
    rows: tuple[tuple[str, str, float, Callable[[CrashBatch], float]], ...] = (
        ("impulse", "total impulse", 0.05, lambda b: float(b.part_impulse.sum(axis=0).mean())),
        ("moment", "out-of-plane arm moment", 0.05, lambda b: float(b.arm_moment[:, 1].mean())),
        ("in_plane", "in-plane arm moment", 0.05, lambda b: float(b.arm_moment[:, 0].mean())),
        ("shock", "shock of the boards", 0.05, lambda b: float(b.shock.mean())),
        ("boards", "pseudo-velocity of the boards", 0.05, lambda b: float(b.board_velocity.mean())),
        ("strap", "pull on the strap", 0.05, lambda b: float(b.strap.mean())),
        ("arms", "impulse on arms and screw heads", 0.05, partial(_impulse, "arm", "screw")),
        ("plates", "impulse on plates (known to be coarser)", 0.1, partial(_impulse, "plate")),
        ("props", "impulse on props", 0.05, partial(_impulse, "prop")),
        ("battery", "impulse on the battery", 0.05, partial(_impulse, "battery")),
        ("motors", "impulse on motors (known to be coarser)", 0.1, partial(_impulse, "motor")),
        ("shear", "sideways force on screws (known to be coarser)", 0.1, lambda b: float(b.arm_shear.mean())),
    )

    def ratio(measure: Callable[[CrashBatch], float]) -> tuple[float, float]:
        return 1.0, measure(_meshed(1200)) / measure(_meshed(4800))

    return [
        check(
            f"V13.{key}",
            f"Four times the contact points: {what}",
            told,
            "",
            tolerance,
            source,
            partial(ratio, measure),
            access="computed",
        )
        for key, what, tolerance, measure in rows
    ]


def _impulse(*given: str | CrashBatch) -> float:
    """Mean impulse a crash gives to parts of the kinds named before the batch, N s."""
    batch, kinds = given[-1], given[:-1]
    assert not isinstance(batch, str)  # noqa: S101 - narrows the type for the checker
    mine = [kind in kinds for _, _, kind in batch.parts]
    return float(batch.part_impulse[mine].sum(axis=0).mean())


@lru_cache(maxsize=2)
def _starter(points: int) -> Quad:
    from crashworthy.build.assemble import assemble
    from crashworthy.build.reading import parse
    from crashworthy.build.starter import starter

    return assemble(parse(starter("Plain five")), points=points)


@lru_cache(maxsize=2)
def _meshed(points: int) -> CrashBatch:
    from crashworthy.impact.campaign import simulate

    return simulate(_starter(points), 256, 5)


def _v10() -> list[Check]:
    told = (
        "the plain starter sheet, 256 crashes; closing speed of the first touch, narrowest section of an arm"
    )

    def beyond() -> tuple[float, float]:
        from crashworthy.materials.table import value

        batch, quad = _meshed(1200), _starter(1200)
        wave = math.sqrt(value("carbon_plate", "flexural_modulus") * value("carbon_plate", "density"))
        section = np.array([a.thickness * min(a.width_root, a.width_tip) for a in quad.arms])
        bound = wave * section[:, None] * batch.closing[None]
        return 0.0, float((batch.arm_shear[:, 0] > bound).mean())

    return [
        check(
            "V10.bound",
            "Force in the arms' roots: share of arms and crashes beyond the wave bound",
            told,
            "",
            0.02,
            "elastic wave in a bar stopped at its end, F = A sqrt(E rho) v (Goldsmith, 1960, recalled); "
            "an arm that is struck later may meet faster than the first touch",
            beyond,
            relative=False,
        )
    ]


MESH: tuple[Check, ...] = (*_v10(), *_v13())
"""Checks of whole quads."""
