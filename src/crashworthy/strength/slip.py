"""How often a joint slips sideways in simulated crashes: contact force on what it holds against its friction.

Screws of arms and motors are judged by the shear that the simulated arm brings them, inertia subtracted.
For everything else the largest contact force on the held part is compared whole, its own inertia, which
relieves the joint, not subtracted: that share is an upper estimate, fit to compare builds and tightness.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.strength.torque import TorqueCard

    Floats = NDArray[np.float64]

__all__ = ["slip_shares"]

_FACES: Final = {"arm": 2}
"""Friction faces of one screw: an arm is clamped between two plates, everything else rubs on one."""


_SHEAR: Final = {"arm": 0, "motor": 1}
"""Column of the simulated shear of each joint group that sits on an arm."""


def slip_shares(
    quad: Quad,
    card: TorqueCard,
    part_peak: NDArray[np.floating],
    arm_shear: NDArray[np.floating] | None = None,
) -> dict[str, float]:
    """Share of crashes in which each joint group slips somewhere, tight as the card says.

    Args:
        quad: the build that was crashed.
        card: its torque card.
        part_peak: (parts, n) peak contact force of each part in each crash, N.
        arm_shear: (arms, 2, n) peak sideways force on the screws of each arm's root and motor, N: contact
            force less inertia, from the simulated arm. With it arms and motors are judged by what their
            screws bear; without it by the whole contact force.

    Returns:
        By joint group; groups without a torque, or that hold nothing with a skin, are left out.
    """
    shares: dict[str, float] = {}
    for row in card.rows:
        if row.torque is None:
            continue
        places: dict[int, list[int]] = {}
        for index, part in enumerate(quad.parts):
            # What rides on an arm pulls at the arm's clamp too.
            held = part.joint == row.group or (row.group == "arm" and part.arm >= 0)
            if held and part.kind not in ("screw", "plate"):
                places.setdefault(part.arm, []).append(index)
        if not places:
            continue
        screws = row.count / len(places)
        bears = screws * _FACES.get(row.group, 1) * row.slip_force
        load = np.array([part_peak[indices].max(axis=0) for indices in places.values()])
        if arm_shear is not None and row.group in _SHEAR:
            arms = [a for a in places if a >= 0]
            load = np.asarray(arm_shear)[arms, _SHEAR[row.group]]
        shares[row.group] = float(np.mean((load > bears).any(axis=0)))
    return shares
