"""A small invented quad, made by hand so that these tests need no build sheet."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np

from crashworthy.build.quad import CORE, CORNERS, Arm, ContactPoints, MassProperties, Part, Quad


def small_quad(spin: str = "in", order: tuple[str, ...] = CORNERS) -> Quad:
    """A quad with I = (3.2, 3.6, 5.8)e-3 kg m², rotors 110 mm out and 12 mm above the centre of gravity."""
    none = np.empty((0, 3))
    faces = np.empty((0, 3), dtype=np.int32)
    parts: list[Part] = []
    arms: list[Arm] = []
    reach = 0.110 / np.sqrt(2)
    for i, c in enumerate(CORNERS):
        hub = np.array([reach if i < 2 else -reach, reach if i % 2 == 0 else -reach, 0.020])
        for kind, mass in (("arm", 0.012), ("motor", 0.033), ("prop", 0.0042)):
            parts.append(
                Part(
                    f"{kind}_{c}", kind, kind, "carbon_plate", mass, hub, np.zeros((3, 3)), none, faces, arm=i
                )
            )
        arms.append(
            Arm(
                i, 3 * i, 3 * i + 1, 3 * i + 2, hub * 0.3, hub, hub / np.linalg.norm(hub),
                0.08, 0.012, 0.01, 0.005, 0.0, "carbon_plate", 0.012, 0.0372,
            )
        )  # fmt: skip
    properties = MassProperties(0.65, np.array([0.0, 0.0, 0.008]), np.diag([3.2e-3, 3.6e-3, 5.8e-3]))
    empty = np.empty(0)
    ints = np.empty(0, dtype=np.int32)
    sheet = SimpleNamespace(
        motors=SimpleNamespace(spin=spin, log_order=order, pole_pairs=7), props=SimpleNamespace(blades=3)
    )
    return Quad(
        "Small", "small", tuple(parts), tuple(arms), (),
        ContactPoints(none, empty, none, ints, np.full(0, CORE, dtype=np.int32), empty,
                      np.empty((0, 6))),
        properties, None, (), cast("Any", sheet), "0" * 64,
    )  # fmt: skip
