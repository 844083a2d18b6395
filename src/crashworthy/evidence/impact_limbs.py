"""Outside checks of what gives on its own: antennas, leads, soft mounts and twisting arms."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from crashworthy.evidence import crash_scenes as scenes
from crashworthy.evidence.impact_check import check
from crashworthy.evidence.registry import Check

__all__ = ["CHECKS"]


def _struck() -> list[Check]:
    told = "1 g on 1500 N/m, carried by a heavy core that is thrown back: 8 m/s change of speed"
    source = "oscillator under a step of velocity v: force v sqrt(k m), travel v sqrt(m/k) (textbook)"

    def force() -> tuple[float, float]:
        got = scenes.thrown_back(8.0, 1e-3, 1500.0)
        return 8.0 * math.sqrt(1500.0 * 1e-3), 1e3 * float(got.limb[0, 0, 0])

    def travel() -> tuple[float, float]:
        got = scenes.thrown_back(8.0, 1e-3, 1500.0)
        return 8.0 * math.sqrt(1e-3 / 1500.0), float(got.limb[0, 1, 0])

    def taut() -> tuple[float, float]:
        m, v, k, h = 5e-3, 8.0, 100.0, 1.0 / 0.01**2
        # m v²/2 = k u²/2 + k h u⁴/4
        square = (math.sqrt(k * k + 2.0 * k * h * m * v * v) - k) / (k * h)
        return math.sqrt(square), float(scenes.thrown_back(v, m, k, h).limb[0, 1, 0])

    def taut_force() -> tuple[float, float]:
        u = taut()[0]
        return 100.0 * u * (1.0 + (u / 0.01) ** 2), 1e3 * float(
            scenes.thrown_back(8.0, 5e-3, 100.0, 1.0 / 0.01**2).limb[0, 0, 0]
        )

    loop = "5 g on 100 N/m that grows by 1 + (u/10 mm)², the same blow"
    energy = "energy: m v²/2 = k u²/2 + k h u⁴/4"
    return [
        check("L1.force", "Antenna struck: peak root force", told, "N", 1e-3, source, force),
        check("L1.travel", "Antenna struck: tip travel", told, "m", 1e-3, source, travel),
        check("L2.travel", "Lead pulled taut: travel", loop, "m", 1e-3, energy, taut),
        check("L2.force", "Lead pulled taut: peak pull", loop, "N", 2e-3, energy, taut_force),
    ]


def _mounts() -> list[Check]:
    source = "oscillator under a half-sine, closed form and scipy, as check V11"
    rows = ((0.25, math.inf, 0.943), (0.5, math.inf, 1.571), (1.0, math.inf, 1.732), (2.0, math.inf, 1.268))
    checks = []
    for ratio, quality, expected in rows:

        def both(r: float = ratio, q: float = quality, e: float = expected) -> tuple[float, float]:
            got = scenes.half_sine(r, q)
            return e, float(got.limb[0, 0, 0] / got.scalars["core_peak"][0])

        checks.append(
            check(
                f"L3.{ratio}",
                "Camera on a soft mount under a half-sine: peak acceleration over input",
                f"f T = {ratio}, undamped",
                "",
                5e-3,
                source,
                both,
            )
        )
    return checks


def _twist() -> list[Check]:
    def period(core: float) -> tuple[float, float]:
        inertia, stiffness = 6e-6, 12.0
        got = scenes.twisting(inertia, stiffness, core, 50.0)
        time, angle = got.trace[:, 0, 0], got.trace[:, 11, 0]
        up = np.flatnonzero((angle[:-1] <= 0.0) & (angle[1:] > 0.0))[1:]
        cross = time[up] - angle[up] * (time[up + 1] - time[up]) / (angle[up + 1] - angle[up])
        exact = 2.0 * math.pi / math.sqrt(stiffness * (1.0 / inertia + 1.0 / core))
        return exact, float(np.diff(cross).mean())

    def torque() -> tuple[float, float]:
        return 50.0 * math.sqrt(6e-6 * 12.0), float(scenes.twisting(6e-6, 12.0, 1e3, 50.0).twist[0, 0])

    def blow(aside: float) -> Callable[[], tuple[float, float]]:
        def both() -> tuple[float, float]:
            exact = 2.0 * 5.0 / (1.0 / 0.04 + aside**2 / 6e-6)
            return exact, float(scenes.rim_blow(aside).impulse[0, 0])

        return both

    def turned() -> tuple[float, float]:
        got = scenes.rim_blow(0.01)
        impulse = float(got.impulse[0, 0])
        angle, time = got.trace[:, 11, 0], got.trace[:, 0, 0]
        # Just after the blow, before the springs answer.
        after = int(np.searchsorted(time, 2.0 * float(got.scalars["last_touch"][0])))
        return 0.01 * impulse / 6e-6, float((angle[after + 1] - angle[after]) / (time[1] - time[0]))

    told = "tip of 6e-6 kg m² about the axis on 12 N m/rad"
    free = "rigid-body impulse 2 v / (1/m + y²/J) of a tip that its arm has not yet held back"
    return [
        check(
            "L4.period", "Arm twisting on a held root: period", told, "s", 1e-4,
            "torsional oscillator T = 2 pi sqrt(J/k) (textbook)", lambda: period(1e6),
        ),
        check(
            "L4.free", "Arm twisting against a free core: period", f"{told}, core 5e-5 kg m²", "s", 1e-4,
            "two inertias on a spring, omega² = k (1/J + 1/I)", lambda: period(5e-5),
        ),
        check(
            "L4.torque", "Arm twisting: peak root torque", f"{told}, 50 rad/s", "N m", 1e-3,
            "rate sqrt(J k), energy of the oscillator", torque,
        ),
        check(
            "L5.centre", "Bell struck over the arm: impulse", "40 g at 5 m/s", "N s", 2e-3, free, blow(0.0),
        ),
        check(
            "L5.rim", "Bell struck on its rim: impulse", "10 mm aside of the axis", "N s", 2e-3, free,
            blow(0.01),
        ),
        check("L5.rate", "Bell struck on its rim: twist rate after", "10 mm aside", "rad/s", 5e-3,
              "impulse times lever over J", turned),
        check("L6.turn", "Angular momentum of a rim blow", "10 mm aside, bell 13 mm above the arm", "N m s",
              2e-3, "conservation: r x P, all bodies together", lambda: _momentum(0.01, 0.013)),
    ]  # fmt: skip


def _momentum(aside: float, rise: float) -> tuple[float, float]:
    """Size of the blow's moment about the origin, and the same plus what the bodies' change lacks of it."""
    got = scenes.rim_blow(aside, rise)
    t = got.trace[..., 0]
    # At the end of the window all velocities are differences of places: semi-implicit steps make them exact.
    dt, (p, n) = t[1, 0] - t[0, 0], t[-2:]

    def bodies(f: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        w, x, y, z = f[4:8]
        R = np.array([[1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                      [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                      [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)]])  # fmt: skip
        # Directions of an arm along x: across y, across z, along x.
        return f[1:4], f[1:4] + R @ (np.array([0.1, 0.0, rise]) + f[[10, 8, 9]]), R

    (a0, t0, r0), (a1, t1, r1) = bodies(p), bodies(n)
    spin = r0.T @ (r1 - r0) / dt
    w = np.array([spin[2, 1] - spin[1, 2], spin[0, 2] - spin[2, 0], spin[1, 0] - spin[0, 1]]) / 2.0
    twist = (n[11] - p[11]) / dt
    own = 5e-4 * w + np.array([6e-6 * (twist + w[0]), 0.0, 0.0])
    total = np.cross(a1, 0.5 * (a1 - a0) / dt) + np.cross(t1, 0.04 * (t1 - t0) / dt) + r1 @ own
    first = np.cross([0.1, 0.0, 0.0], [0.0, 0.0, -5.0 * 0.04])
    blow = np.cross([0.1, aside, 0.0], [0.0, 0.0, float(got.impulse[0, 0])])
    size = float(np.linalg.norm(blow))
    return size, size + float(np.linalg.norm(total - first - blow))


CHECKS: tuple[Check, ...] = (*_struck(), *_mounts(), *_twist())
"""Every outside check of the limbs."""
