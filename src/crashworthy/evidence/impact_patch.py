"""Checks of a patch of skin that meets the obstacle at a slant: through the kernel, against closed forms."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.evidence import crash_scenes as scenes
from crashworthy.evidence.impact_check import check

if TYPE_CHECKING:
    from crashworthy.evidence.registry import Check

__all__ = ["PATCH"]

MASS, SPEED, SIDE, TILT = 0.3, 4.0, 0.02, math.radians(50.0)
"""A square plate, tilted, that comes down: kg, m/s, m, rad."""

BED = 2e7
"""Stiffness of the whole patch, N/m."""

HALF = 0.5 * SIDE * math.sin(TILT)
"""Half of what the depths of its slices differ by, m."""


MIDWAY = 1500
"""Steps after which most of the energy is in the patch."""


def _patch() -> list[Check]:
    told = f"square of {1e3 * SIDE:g} mm tilted by 50 deg, {MASS} kg at {SPEED} m/s, {BED:g} N/m when level"

    def depth(energy: float) -> float:
        """How deep the lowest edge gets: k D³/(12 w) is stored while D <= 2 w."""
        return math.cbrt(12.0 * HALF * energy / BED)

    def peak() -> tuple[float, float]:
        deep = depth(0.5 * MASS * SPEED**2)
        return BED * deep**2 / (4.0 * HALF), float(scenes.tilted(scenes.HUGE).peak[0, 0])

    def back() -> tuple[float, float]:
        return SPEED, float(scenes.tilted(scenes.HUGE).scalars["vz"][0])

    def crushed() -> tuple[float, float]:
        return _by_scipy(3e4), float(scenes.tilted(3e4).scalars["vz"][0])

    def lost() -> tuple[float, float]:
        left = 0.5 * MASS * _by_scipy(3e4) ** 2
        return 0.5 * MASS * SPEED**2 - left, float(scenes.tilted(3e4).scalars["dissipated"][0])

    def held() -> tuple[float, float]:
        return 0.5 * MASS * SPEED**2, float(scenes.tilted(scenes.HUGE, MIDWAY).scalars["energy_end"][0])

    energy = (
        "energy balance over slices at depths spread evenly: k D³/(12 w), force k D²/(4 w), w = a sin(tilt)/2"
    )
    scipy = "4000 separate elastic-plastic springs in a row, scipy.integrate.solve_ivp"
    return [
        check("V17.peak", "Tilted patch: peak force", told, "N", 1e-3, energy, peak),
        check("V17.rebound", "Tilted patch, elastic: speed after", told, "m/s", 1e-3, "energy balance", back),
        check("V17.held", "Tilted patch, pressed deep: energy of body and patch", told, "J", 1e-3,
              "energy balance: none is lost", held),
        check("V17.crush.rebound", "Tilted patch that crushes: speed after", f"{told}, plateau 30 kN", "m/s",
              5e-3, scipy, crushed, access="computed"),
        check("V17.crush.lost", "Tilted patch that crushes: energy taken", f"{told}, plateau 30 kN", "J",
              5e-3, scipy, lost, access="computed"),
    ]  # fmt: skip


@lru_cache(maxsize=2)
def _by_scipy(crush: float, number: int = 4000) -> float:
    """Speed after of a body on a row of springs, each with an indentation of its own."""
    from scipy.integrate import solve_ivp

    offset = HALF * ((np.arange(number) + 0.5) / number * 2.0 - 1.0)
    yields = crush / BED

    def force(d: float, deepest: float) -> float:
        dent = np.maximum(deepest + offset - yields, 0.0)
        return float(BED * np.clip(d + offset - dent, 0.0, yields).mean())

    def going_in(_: float, s: np.ndarray) -> list[float]:
        return [s[1], -force(s[0], s[0]) / MASS]

    def stops(_: float, s: np.ndarray) -> float:
        return float(s[1])

    stops.terminal = True  # type: ignore[attr-defined]  # how solve_ivp is told
    first = solve_ivp(
        going_in, (0.0, 0.1), [-HALF, SPEED], rtol=1e-9, atol=1e-12, max_step=1e-5, events=stops
    )
    deepest = float(first.y[0, -1])

    # On the way out the force is one function of the depth, so its work is a plain integral.
    way = np.linspace(deepest, -HALF, 4001)
    pushes = np.array([force(d, deepest) for d in way])
    work = float(np.sum(0.5 * (pushes[1:] + pushes[:-1]) * -np.diff(way)))
    return math.sqrt(2.0 * work / MASS)


def _raised() -> list[Check]:
    inertia, stiffness, rate, rise, bend, mass = 6e-6, 12.0, 50.0, 0.013, 1e5, 1.0 / (1.0 / 0.04 + 1.0 / 0.5)
    told = "tip 40 g, 6e-6 kg m² on 12 N m/rad, 13 mm above an arm of 1e5 N/m, core 0.5 kg, 50 rad/s"
    source = (
        "two coupled oscillators, m u'' = -k (u + h t), J t'' = -k_t t - h k (u + h t), by their two modes"
    )

    def modes() -> tuple[np.ndarray, np.ndarray]:
        """Twist, rad, and root moment, N m, over the scene's time."""
        from scipy.linalg import eigh

        springs = np.array([[bend, bend * rise], [bend * rise, stiffness + bend * rise**2]])
        square, shape = eigh(springs, np.diag([mass, inertia]))
        omega = np.sqrt(square)
        time = scenes.twisting(inertia, stiffness, 1e6, rate, rise).trace[:, 0, 0]
        start = shape.T @ np.array([0.0, inertia * rate])
        moved = shape @ (start[:, None] / omega[:, None] * np.sin(omega[:, None] * time))
        return moved[1], 0.1 * bend * (moved[0] + rise * moved[1])

    def twist() -> tuple[float, float]:
        got = scenes.twisting(inertia, stiffness, 1e6, rate, rise)
        return float(modes()[0].max()), float(got.trace[:, 11, 0].max())

    def moment() -> tuple[float, float]:
        got = scenes.twisting(inertia, stiffness, 1e6, rate, rise)
        return float(np.abs(modes()[1]).max()), float(got.moment[0, 0, 0])

    return [
        check("L7.twist", "Bell above its arm, twisting: greatest twist", told, "rad", 2e-3, source, twist),
        check("L7.moment", "Bell above its arm, twisting: root moment", told, "N m", 2e-3, source, moment),
    ]  # fmt: skip


PATCH: tuple[Check, ...] = (*_patch(), *_raised())
"""Checks of patches, and of the bell above its arm."""
