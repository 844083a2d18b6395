"""Outside checks of the crash engine: closed forms, published vectors, independent integrators, mesh, step.

Every check runs the product's own law and kernel; ``crash_scenes`` only sets up bodies. Checks of one contact
stand in ``impact_contact``, those of the moving quad here.
"""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np

from crashworthy.evidence import crash_scenes as scenes
from crashworthy.evidence.impact_check import check
from crashworthy.evidence.impact_contact import CONTACT
from crashworthy.evidence.impact_limbs import CHECKS as LIMBS
from crashworthy.evidence.impact_mesh import MESH
from crashworthy.evidence.impact_parts import PARTS
from crashworthy.evidence.impact_patch import PATCH
from crashworthy.evidence.registry import Check
from crashworthy.impact.learn import learn_strength
from crashworthy.impact.sampler import philox
from crashworthy.impact.scene import run, single_bed

__all__ = ["CHECKS"]


def _v5() -> list[Check]:
    told = "0.5 kg core, four arms of 67 021 N/m with 46 g, spinning (20, -15, 10) rad/s, 60 ms"

    def order() -> tuple[float, float]:
        coarse, fine = (abs(float(scenes.free_spin(dt).scalars["audit"][0])) for dt in (5e-6, 2.5e-6))
        return 2.0, coarse / fine

    def momentum() -> tuple[float, float]:
        return (0.5 + 4 * 0.046) * 3.0 + _first_momentum()[0], float(scenes.free_spin(1e-5).scalars["px"][0])

    def euler() -> tuple[float, float]:
        from scipy.integrate import solve_ivp

        inertia = np.array([4e-4, 7e-4, 9e-4])

        def rate(_: float, w: np.ndarray) -> np.ndarray:
            turning: np.ndarray = np.cross(inertia * w, w) / inertia
            return turning

        exact = solve_ivp(rate, (0.0, 0.05), [20.0, -15.0, 10.0], rtol=1e-12, atol=1e-12).y[0, -1]
        state = scenes.start((0.0, 0.0, -1.0), height=10.0, spin=(20.0, -15.0, 10.0))
        craft = scenes.ball(0.7, inertia=np.diag(inertia))
        got = run(craft, single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=50000)
        return float(exact), float(got.scalars["wx"][0])

    law = "conservation laws (mechanics)"
    return [
        check(
            "V5.energy_order",
            "Free flight with vibrating arms: energy error halves with the step",
            told,
            "",
            0.1,
            law,
            order,
        ),
        check(
            "V5.momentum",
            "Free flight with vibrating arms: linear momentum kept",
            told,
            "kg m/s",
            1e-4,
            law,
            momentum,
        ),
        check(
            "V5.euler",
            "Torque-free spin of a body with three unequal inertias",
            "I diag(4, 7, 9)e-4, w (20, -15, 10) rad/s, 50 ms",
            "rad/s",
            1e-4,
            "Euler's equations by scipy.integrate.solve_ivp at 1e-12",
            euler,
            access="computed",
        ),
    ]


def _first_momentum() -> tuple[float, float]:
    """Momentum of the deflected tips in the spin, x and y: sum m w x (u e_z), u 1 mm, w (20, -15, 10)."""
    return 4 * 0.046 * -15.0 * 1e-3, -4 * 0.046 * 20.0 * 1e-3


def _v6() -> list[Check]:
    @lru_cache(maxsize=1)
    def crash() -> tuple[float, float, float, float]:
        craft = scenes.four_arms(0.5, 0.046, 67021.18, inertia=8e-4)
        state = scenes.start((4.0, 2.0, -9.0), spin=(5.0, -4.0, 3.0))
        got = run(craft, single_bed(5e6, scenes.HUGE), state, dt=1e-6, steps=20000)
        lift = float(got.scalars["pz"][0]) - (0.5 + 4 * 0.046) * -9.0
        return float(got.impulse[0, 0]), lift, float(got.scalars["px"][0]), float(got.scalars["audit"][0])

    told = "quad of 0.684 kg with springy arms, v (4, 2, -9) m/s, elastic frictionless plane, step 1 us"
    law = "conservation laws (mechanics)"
    return [
        check(
            "V6.momentum",
            "Crash on a frictionless plane: momentum gained = impulse",
            told,
            "N s",
            1e-5,
            law,
            lambda: crash()[:2],
        ),
        check(
            "V6.tangential",
            "Crash on a frictionless plane: momentum along it kept",
            told,
            "kg m/s",
            1e-4,
            law,
            lambda: (0.684 * 4.0, crash()[2]),
        ),
        check(
            "V6.energy",
            "Crash on an elastic frictionless plane: energy kept",
            told,
            "",
            1e-3,
            law,
            lambda: (0.0, crash()[3]),
            relative=False,
        ),
    ]


def _v7() -> list[Check]:
    k, tip, core = 67021.18, 0.046, 0.5
    rate = math.sqrt(k * (1.0 / tip + 4.0 / core))
    told = "four arms k 67 021.18 N/m, tips 46 g, core 0.5 kg, all bent up by 1 mm and let go"
    source = "f = sqrt(k (1/m_t + 4/m_c))/(2 pi), two-mass oscillator"

    @lru_cache(maxsize=1)
    def trace() -> tuple[np.ndarray, np.ndarray]:
        craft = scenes.four_arms(core, tip, k)
        arms = np.array([[0.0, 1e-3, 0.0, 0.0]] * 4)
        state = scenes.start((0.0, 0.0, -1e-3), height=10.0, arms=arms)
        got = run(craft, single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=50000, every=1)
        return got.trace[:, 0, 0], got.trace[:, 9, 0]

    def frequency() -> tuple[float, float]:
        time, u = trace()
        down = np.flatnonzero((u[:-1] > 0.0) & (u[1:] <= 0.0))
        cross = time[down] + 1e-6 * u[down] / (u[down] - u[down + 1])
        return 224.693, (len(cross) - 1) / float(cross[-1] - cross[0])

    def swing() -> tuple[float, float]:
        time, u = trace()
        i = round(10.1 * 2.0 * math.pi / rate / 1e-6)
        return 1e-3 * math.cos(rate * float(time[i])), float(u[i])

    return [
        check(
            "V7.frequency",
            "Arms against core: frequency of the symmetric mode",
            told,
            "Hz",
            1e-5,
            source,
            frequency,
        ),
        check("V7.swing", "Arms against core: deflection after ten swings", told, "m", 1e-3, source, swing),
    ]


def _v8() -> list[Check]:
    told = "k 67 021.18 N/m, m 46 g, L 80 mm, tip struck to 5 m/s, root held"
    source = "M = v sqrt(k m) L, energy balance of the tip"
    run = partial(_cantilever_moment, 5.0, 67021.18, 0.046, 0.08)
    return [check("V8.moment", "Arm with the root held: peak root moment", told, "N m", 1e-5, source, run)]


def _cantilever_moment(v: float, k: float, m: float, length: float) -> tuple[float, float]:
    return 22.2098, float(scenes.cantilever(v, k, m, length).moment[0, 1, 0])


def _mount() -> list[Check]:
    told = "velocity step 20 m/s, undamped mount at 200 Hz"
    source = "undamped oscillator under a step dv of velocity: peaks 2 pi f dv and, as pseudo-velocity, dv"
    return [
        check(
            "V12.shock",
            "Stack mount under a step of velocity: peak acceleration",
            told,
            "m/s2",
            2e-3,
            source,
            lambda: (25132.74, float(scenes.velocity_step(20.0, 200.0).scalars["shock"][0])),
        ),
        check(
            "V12.pseudo_velocity",
            "Stack mount under a step of velocity: pseudo-velocity",
            told,
            "m/s",
            2e-3,
            source,
            lambda: (20.0, float(scenes.velocity_step(20.0, 200.0).scalars["pseudo_velocity"][0])),
        ),
    ]


def _v14() -> list[Check]:
    source = (
        "known-answer vectors of Philox4x32-10 (Salmon, Moraes, Dror, Shaw, SC11, 2011), public test files"
    )
    vectors = (
        (0, (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
        (0xFFFFFFFF, (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD)),
    )
    checks = []
    for fill, words in vectors:
        for i, word in enumerate(words):

            def draw(fill: int = fill, i: int = i, word: int = word) -> tuple[float, float]:
                out = philox(np.full((4, 1), fill, dtype=np.uint32), (fill, fill))
                return float(word), float(out[i, 0])

            checks.append(
                check(
                    f"V14.{'ones' if fill else 'zeros'}.{i}",
                    f"Philox4x32-10, word {i}",
                    f"counter and key all {fill:#x}",
                    "",
                    0.0,
                    source,
                    draw,
                    access="read",
                    relative=False,
                )
            )
    return checks


def _v11() -> list[Check]:
    source = "undamped and damped oscillator under a half-sine, closed form; pseudo-velocity of a board"

    def response(ratio: float, quality: float) -> float:
        """Peak response over peak input of an oscillator of frequency ``ratio``/T under a half-sine."""
        wn, zeta = 2.0 * math.pi * ratio, 0.5 / quality if quality else 0.0
        from scipy.integrate import solve_ivp

        def rate(t: float, s: np.ndarray) -> list[float]:
            base = math.sin(math.pi * t) if t < 1.0 else 0.0
            return [s[1], -2.0 * zeta * wn * s[1] - wn * wn * s[0] - base]

        end = 1.0 + 1.0 / ratio
        got = solve_ivp(rate, (0.0, end), [0.0, 0.0], rtol=1e-9, atol=1e-12, max_step=0.01 / max(1.0, ratio))
        felt = 2.0 * zeta * wn * got.y[1] + wn * wn * got.y[0]
        return float(np.abs(felt).max())

    def product(ratio: float, quality: float) -> float:
        """The same through the kernel: a ball on a linear bed is decelerated by a half-sine."""
        mass, k = 0.7, 1e7
        wn = math.sqrt(k / mass)
        contact = math.pi / wn
        craft = scenes.ball(mass)._replace(
            stack_rate=2.0 * math.pi * ratio / contact, stack_damping=0.5 / quality if quality else 0.0
        )
        dt = contact / 4000.0
        got = run(craft, single_bed(k, scenes.HUGE), scenes.start((0.0, 0.0, -3.0)), dt=dt,
                  steps=round((1.0 + 1.0 / ratio) * 4000))  # fmt: skip
        return float(got.scalars["shock"][0] / got.scalars["core_peak"][0])

    rows = ((0.25, 0.0, 0.943), (0.5, 0.0, 1.571), (1.0, 0.0, 1.732), (2.0, 0.0, 1.268), (0.5, 10.0, 1.463),
            (1.0, 10.0, 1.624))  # fmt: skip
    checks = []
    for ratio, quality, expected in rows:

        def both(r: float = ratio, q: float = quality, e: float = expected) -> tuple[float, float]:
            return e, product(r, q)

        def other(r: float = ratio, q: float = quality) -> tuple[float, float]:
            return response(r, q), product(r, q)

        told = f"f T = {ratio}, " + (f"Q {quality:g}" if quality else "undamped")
        checks.append(
            check(
                f"V11.{ratio}.{quality:g}",
                "Stack under a half-sine: peak over input",
                told,
                "",
                0.01,
                source,
                both,
            )
        )
        checks.append(
            check(
                f"V11.{ratio}.{quality:g}.scipy",
                "Stack under a half-sine: peak over input",
                told,
                "",
                5e-3,
                "scipy.integrate.solve_ivp at 1e-9",
                other,
                access="computed",
            )
        )
    return checks


def _v16() -> list[Check]:
    told = "median 45, sd of ln 0.3, spread 0.15; 20, 30, 40, 38 survived, 55 and 60 broke"
    source = "Bayes on a grid of 4001 points over ln 10 ... ln 200, computed apart"
    rows = ((0.0, (46.91, 38.47, 57.46)), (0.4, (47.80, 34.54, 66.70)))
    checks = []
    for sd, values in rows:
        for name, expected in zip(("median", "low", "high"), values, strict=True):

            def learned(sd: float = sd, name: str = name, e: float = expected) -> tuple[float, float]:
                loads, broke = [20.0, 30.0, 40.0, 38.0, 55.0, 60.0], [False] * 4 + [True] * 2
                return e, float(getattr(learn_strength(45.0, 0.3, 0.15, loads, broke, sd), name))

            checks.append(
                check(
                    f"V16.{sd:g}.{name}",
                    f"Strength learned from six hits: {name}",
                    f"{told}; loads known to {sd:g} in ln",
                    "",
                    5e-3,
                    source,
                    learned,
                    access="computed",
                )
            )
    return checks


CHECKS: tuple[Check, ...] = (
    *CONTACT,
    *LIMBS,
    *PARTS,
    *PATCH,
    *_v11(),
    *_v16(),
    *_v5(),
    *_v6(),
    *_v7(),
    *_v8(),
    *_mount(),
    *MESH,
    *_v14(),
)
"""Every outside check of the crash engine."""
