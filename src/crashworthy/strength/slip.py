"""How often a joint slips sideways in simulated crashes: contact force on what it holds against its friction.

The largest contact force on a held part is compared whole; the part's own inertia, which relieves the joint,
is not subtracted. So the share is an upper estimate, fit to compare builds and tightness.
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


def slip_shares(quad: Quad, card: TorqueCard, part_peak: NDArray[np.floating]) -> dict[str, float]:
    """Share of crashes in which each joint group slips somewhere, tight as the card says.

    Args:
        quad: the build that was crashed.
        card: its torque card.
        part_peak: (parts, n) peak contact force of each part in each crash, N.

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
        shares[row.group] = float(np.mean((load > bears).any(axis=0)))
    return shares
