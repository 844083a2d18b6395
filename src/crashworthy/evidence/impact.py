"""Outside checks of the crash engine: closed forms, published vectors, an independent integrator, mesh and step.

Every check runs the product's own law and kernel; ``crash_scenes`` only sets up bodies.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache, partial
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.evidence import crash_scenes as scenes
from crashworthy.evidence.registry import Access, Check
from crashworthy.impact.contact import combine_hertz, damping_number, restitution
from crashworthy.impact.damage import break_chance
from crashworthy.impact.sampler import philox

if TYPE_CHECKING:
    from crashworthy.impact.batch import CrashBatch

__all__ = ["CHECKS"]

_HERTZ = "Hertz 1882 in Johnson, Contact Mechanics, 1985, ch. 4 and 11.4; contact time rederived: 3.2180 (m²/(K² v))^0.2"
_HUNT = "Hunt and Crossley, J. Appl. Mech. 42 (1975) 440; y (1 + e) = ln((1 + y)/(1 - e y)) by integrating v dv/(1 + alpha v)"
_BODY = "rigid-body impulse: J = -(1 + e) v_n / (1/m + (r x n)' I^-1 (r x n)), any dynamics textbook"


def _check(
    id_: str,
    title: str,
    inputs: str,
    unit: str,
    tolerance: float,
    source: str,
    run: Callable[[], tuple[float, float]],
    *,
    access: Access = "derived",
    relative: bool = True,
) -> Check:
    return Check(f"impact.{id_}", title, inputs, unit, tolerance, relative, source, access, run)


def _v1() -> list[Check]:
    checks = []
    rows = (
        (0.05, 5.0, 1e8, 2071.53, 444.0e-6, 0.5),
        (0.7, 20.0, 1e8, 53264.9, 967.0e-6, 28.0),
        (0.046, 15.0, 8e8, 16917.9, 150.0e-6, 1.38),
    )
    for i, (m, v, k, force, time, impulse) in enumerate(rows, 1):
        told = f"m {m} kg, v {v} m/s, K {k:g} N/m^1.5"

        def scene(m: float = m, v: float = v, k: float = k) -> scenes.Scene:
            return scenes.hertz_drop(m, v, k)

        def peak(f: float = force, s: Callable[[], scenes.Scene] = scene) -> tuple[float, float]:
            return f, float(s().peak[0, 0])

        def duration(t: float = time, s: Callable[[], scenes.Scene] = scene) -> tuple[float, float]:
            got = s()
            return t, float(got.scalars["last_touch"][0] - got.touched[0, 0])

        def total(j: float = impulse, s: Callable[[], scenes.Scene] = scene) -> tuple[float, float]:
            return j, float(s().impulse[0, 0])

        checks += [
            _check(
                f"V1.{i}.peak_force",
                "Ball on a rigid plane, Hertz: peak force",
                told,
                "N",
                1e-4,
                _HERTZ,
                peak,
            ),
            _check(
                f"V1.{i}.duration",
                "Ball on a rigid plane, Hertz: contact time",
                told,
                "s",
                1e-3,
                _HERTZ,
                duration,
            ),
            _check(
                f"V1.{i}.impulse",
                "Ball on a rigid plane, elastic: impulse 2 m v",
                told,
                "N s",
                1e-4,
                _HERTZ,
                total,
            ),
        ]
    return checks


def _v2() -> list[Check]:
    checks = []
    for y, e in (
        (0.05, 0.96774),
        (0.1, 0.93748),
        (0.2, 0.88219),
        (0.5, 0.74843),
        (1.0, 0.59362),
        (2.0, 0.41072),
    ):

        def hertz(y: float = y, e: float = e) -> tuple[float, float]:
            return e, float(scenes.hertz_drop(0.05, 5.0, 1e8, scenes.HUGE, y).scalars["vz"][0] / 5.0)

        def bed(y: float = y, e: float = e) -> tuple[float, float]:
            return e, float(scenes.drop(0.05, (0.0, 0.0, -5.0), 1e6, scenes.HUGE, y).scalars["vz"][0] / 5.0)

        told = f"alpha v0 = {y}"
        checks += [
            _check(f"V2.{y}.hertz", "Damped contact: restitution, power 3/2", told, "", 1e-4, _HUNT, hertz),
            _check(
                f"V2.{y}.bed",
                "Damped contact: restitution, the product's linear bed",
                told,
                "",
                1e-4,
                _HUNT,
                bed,
            ),
        ]

    def inverse() -> tuple[float, float]:
        return 0.35, restitution(damping_number(0.35))

    told = "e 0.35 -> alpha v0 -> e"
    checks.append(
        _check(
            "V2.inverse",
            "Damping chosen for a wanted restitution gives it back",
            told,
            "",
            1e-9,
            _HUNT,
            inverse,
        )
    )
    for y in (0.1, 0.5, 2.0):

        def peak(y: float = y) -> tuple[float, float]:
            got = scenes.hertz_drop(0.05, 5.0, 1e8, scenes.HUGE, y).peak[0, 0]
            return _damped_peak_by_scipy(0.05, 5.0, 1e8, y), float(got)

        source = "the same law, scipy.integrate.solve_ivp at 1e-11, largest force at 20000 instants"
        told = f"m 0.05 kg, v 5 m/s, K 1e8 N/m^1.5, alpha v0 = {y}"
        checks.append(
            _check(
                f"V2.{y}.peak", "Damped contact: peak force", told, "N", 3e-4, source, peak, access="computed"
            )
        )
    return checks


def _damped_peak_by_scipy(m: float, v: float, k: float, y: float) -> float:
    """Peak force of F = K d^1.5 (1 + alpha d') by an adaptive integrator."""
    from scipy.integrate import solve_ivp

    def force(s: np.ndarray) -> np.ndarray:
        f: np.ndarray = k * np.maximum(s[0], 0.0) ** 1.5 * (1.0 + y / v * s[1])
        return f

    end = 0.6 * scenes.hertz_duration(m, v, k)
    got = solve_ivp(
        lambda _, s: [s[1], -force(s) / m],
        (0.0, end),
        [0.0, v],
        rtol=1e-11,
        atol=1e-15,
        t_eval=np.linspace(0.0, end, 20001),
    )
    return float(force(got.y).max())


def _v3() -> list[Check]:
    m, v, k, crush = 0.046, 15.0, 8e8, 3000.0
    told = "m 0.046 kg, v 15 m/s, K 8e8 N/m^1.5, crush force 3000 N"
    source = "energy stored at yield (2/5) K d_y^2.5 over impact energy, derived; Johnson 1985 ch. 11.5 for the idea"

    def rebound() -> tuple[float, float]:
        return 0.236581, float(scenes.hertz_drop(m, v, k, crush).scalars["vz"][0] / v)

    def peak() -> tuple[float, float]:
        return crush, float(scenes.hertz_drop(m, v, k, crush).peak[0, 0])

    def bed() -> tuple[float, float]:
        stiffness, plateau = 1e7, 3000.0
        expected = math.sqrt(plateau**2 / (2.0 * stiffness) / (0.5 * m * v**2))
        return expected, float(scenes.drop(m, (0.0, 0.0, -v), stiffness, plateau).scalars["vz"][0] / v)

    def dissipated() -> tuple[float, float]:
        stiffness, plateau = 1e7, 3000.0
        got = scenes.drop(m, (0.0, 0.0, -v), stiffness, plateau).scalars["dissipated"][0]
        return 0.5 * m * v**2 - plateau**2 / (2.0 * stiffness), float(got)

    linear = "m 0.046 kg, v 15 m/s, k 1e7 N/m, crush force 3000 N"
    return [
        _check("V3.restitution", "Crushing contact, power 3/2: restitution", told, "", 1e-5, source, rebound),
        _check(
            "V3.peak_force", "Crushing contact: force stops at the plateau", told, "N", 1e-9, source, peak
        ),
        _check("V3.bed", "Crushing contact, the product's bed: restitution", linear, "", 1e-4, source, bed),
        _check(
            "V3.energy",
            "Crushing contact, the product's bed: energy dissipated",
            linear,
            "J",
            1e-3,
            source,
            dissipated,
        ),
    ]


def _v4() -> list[Check]:
    checks = []
    rows = (
        ((0.05, 0.0, -0.02), 3.10000, (3.0, -226.43, 4.0)),
        ((0.05, 0.03, -0.02), 2.11310, (161.48, -155.94, 4.0)),
        ((0.1, 0.05, 0.0), 0.66927, (86.66, -100.61, 4.0)),
    )
    for i, (r, impulse, rates) in enumerate(rows, 1):
        told = f"0.7 kg, I diag(4, 7, 9)e-4 kg m², v (2, 0, -8) m/s, w (3, -5, 4) rad/s, struck at {r} m"

        def total(r: tuple[float, float, float] = r, j: float = impulse) -> tuple[float, float]:
            return j, float(scenes.offset_impact(r).impulse[0, 0])

        checks.append(
            _check(f"V4.{i}.impulse", "Elastic blow off centre: impulse", told, "N s", 2e-4, _BODY, total)
        )
        for axis, rate in zip("xy", rates, strict=False):

            def spin(
                r: tuple[float, float, float] = r, axis: str = axis, rate: float = rate
            ) -> tuple[float, float]:
                return rate, float(scenes.offset_impact(r).scalars[f"w{axis}"][0])

            checks.append(
                _check(
                    f"V4.{i}.rate_{axis}",
                    "Elastic blow off centre: body rate after",
                    told,
                    "rad/s",
                    0.1,
                    _BODY,
                    spin,
                    relative=False,
                )
            )
    return checks


def _v5() -> list[Check]:
    told = "0.5 kg core, four arms of 67 021 N/m with 46 g, spinning (20, -15, 10) rad/s, 60 ms"

    def order() -> tuple[float, float]:
        coarse, fine = (abs(float(scenes.free_spin(dt).scalars["audit"][0])) for dt in (2e-5, 1e-5))
        return 2.0, coarse / fine

    def momentum() -> tuple[float, float]:
        return (0.5 + 4 * 0.046) * 3.0 + _first_momentum()[0], float(scenes.free_spin(1e-5).scalars["px"][0])

    def euler() -> tuple[float, float]:
        from scipy.integrate import solve_ivp

        inertia = np.array([4e-4, 7e-4, 9e-4])

        def rate(_: float, w: np.ndarray) -> np.ndarray:
            return np.cross(inertia * w, w) / inertia

        exact = solve_ivp(rate, (0.0, 0.05), [20.0, -15.0, 10.0], rtol=1e-12, atol=1e-12).y[0, -1]
        state = scenes.start((0.0, 0.0, -1.0), height=10.0, spin=(20.0, -15.0, 10.0))
        craft = scenes.ball(0.7, inertia=np.diag(inertia))
        got = scenes.run(craft, scenes.single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=50000)
        return float(exact), float(got.scalars["wx"][0])

    law = "conservation laws (mechanics)"
    return [
        _check(
            "V5.energy_order",
            "Free flight with vibrating arms: energy error halves with the step",
            told,
            "",
            0.1,
            law,
            order,
        ),
        _check(
            "V5.momentum",
            "Free flight with vibrating arms: linear momentum kept",
            told,
            "kg m/s",
            1e-4,
            law,
            momentum,
        ),
        _check(
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
        got = scenes.run(craft, scenes.single_bed(5e6, scenes.HUGE), state, dt=1e-6, steps=20000)
        lift = float(got.scalars["pz"][0]) - (0.5 + 4 * 0.046) * -9.0
        return float(got.impulse[0, 0]), lift, float(got.scalars["px"][0]), float(got.scalars["audit"][0])

    told = "quad of 0.684 kg with springy arms, v (4, 2, -9) m/s, elastic frictionless plane, step 1 us"
    law = "conservation laws (mechanics)"
    return [
        _check(
            "V6.momentum",
            "Crash on a frictionless plane: momentum gained = impulse",
            told,
            "N s",
            1e-5,
            law,
            lambda: crash()[:2],
        ),
        _check(
            "V6.tangential",
            "Crash on a frictionless plane: momentum along it kept",
            told,
            "kg m/s",
            1e-4,
            law,
            lambda: (0.684 * 4.0, crash()[2]),
        ),
        _check(
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
        got = scenes.run(craft, scenes.single_bed(1.0, scenes.HUGE), state, dt=1e-6, steps=50000, every=1)
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
        _check(
            "V7.frequency",
            "Arms against core: frequency of the symmetric mode",
            told,
            "Hz",
            1e-5,
            source,
            frequency,
        ),
        _check("V7.swing", "Arms against core: deflection after ten swings", told, "m", 1e-3, source, swing),
    ]


def _v8() -> list[Check]:
    told = "k 67 021.18 N/m, m 46 g, L 80 mm, tip struck to 5 m/s, root held"
    source = "M = v sqrt(k m) L, energy balance of the tip"
    run = partial(_cantilever_moment, 5.0, 67021.18, 0.046, 0.08)
    return [_check("V8.moment", "Arm with the root held: peak root moment", told, "N m", 1e-5, source, run)]


def _cantilever_moment(v: float, k: float, m: float, length: float) -> tuple[float, float]:
    return 22.2098, float(scenes.cantilever(v, k, m, length).moment[0, 1, 0])


def _mount() -> list[Check]:
    told = "velocity step 20 m/s, undamped mount at 200 Hz"
    source = "peak acceleration = 2 pi f dv, peak pseudo-velocity = dv: undamped oscillator under a step of velocity"
    return [
        _check("V12.shock", "Stack mount under a step of velocity: peak acceleration", told, "m/s2", 2e-3, source,
               lambda: (25132.74, float(scenes.velocity_step(20.0, 200.0).scalars["shock"][0]))),
        _check("V12.pseudo_velocity", "Stack mount under a step of velocity: pseudo-velocity", told, "m/s", 2e-3, source,
               lambda: (20.0, float(scenes.velocity_step(20.0, 200.0).scalars["pseudo_velocity"][0]))),
    ]  # fmt: skip


def _single() -> list[Check]:
    """One contact against an independent integrator and closed forms."""
    m, v, k, crush, y = 0.05, 6.0, 2e6, 900.0, 0.4

    def rebound() -> tuple[float, float]:
        return _crush_by_scipy(m, v, k, crush, y), float(
            scenes.drop(m, (0.0, 0.0, -v), k, crush, y).scalars["vz"][0]
        )

    def rub() -> tuple[float, float]:
        got = scenes.drop(0.05, (30.0, 0.0, -6.0), 2e6, scenes.HUGE, 0.0, 0.3).scalars["vx"][0]
        return 30.0 - 0.3 * 2.0 * 6.0, float(got)

    def series() -> tuple[float, float]:
        return 1e8, combine_hertz(2.0 ** (1.5) * 1e8, 2.0 ** (1.5) * 1e8)

    def interference() -> tuple[float, float]:
        from scipy.stats import norm

        loads = np.exp(math.log(30.0) + 0.4 * norm.ppf((np.arange(20000) + 0.5) / 20000))
        return 0.171279, float(break_chance(loads, 45.0, 0.15).mean())

    return [
        _check("S1.rebound", "Damped crushing contact: speed after", f"m {m} kg, v {v} m/s, k {k:g} N/m, crush {crush} N, alpha v0 {y}", "m/s", 1e-3,
               "the same law written as equations with events, scipy.integrate.solve_ivp at 1e-10", rebound, access="computed"),
        _check("S2.friction", "Sliding blow: tangential speed after", "mu 0.3, v_n 6 m/s, v_t 30 m/s, elastic", "m/s", 1e-4,
               "Coulomb friction while sliding: dv_t = -mu (1 + e) v_n", rub),
        _check("S3.series", "Two equal Hertz contacts in series", "each 2^1.5 x 1e8 N/m^1.5", "N/m^1.5", 1e-12,
               "depths at one force add: K = (K1^(-2/3) + K2^(-2/3))^(-3/2) (Johnson 1985, recalled)", series),
        _check("V15.interference", "Lognormal load on lognormal strength: P(L > S)", "ln L ~ N(ln 30, 0.4), ln S ~ N(ln 45, 0.15)", "", 1e-4,
               "Phi((ln 30 - ln 45)/sqrt(0.4² + 0.15²)), stress-strength interference", interference),
    ]  # fmt: skip


def _crush_by_scipy(m: float, v: float, k: float, crush: float, y: float) -> float:
    """Rebound speed of a damped, crushing contact by an adaptive integrator; force is clipped as in the law."""
    from scipy.integrate import solve_ivp

    alpha = y / v

    def motion(_: float, s: np.ndarray) -> list[float]:
        depth, rate, stored = s
        elastic = min(depth - stored, crush / k)
        force = min(max(k * elastic * (1.0 + alpha * rate), 0.0), crush) if elastic > 0.0 else 0.0
        crushing = depth - stored >= crush / k * (1.0 - 1e-9) and rate > 0.0
        return [rate, -force / m, rate if crushing else 0.0]

    def parted(_: float, s: np.ndarray) -> float:
        return float(s[0] - s[2])

    parted.terminal, parted.direction = True, -1  # type: ignore[attr-defined] # scipy's event protocol
    got = solve_ivp(motion, (0.0, 1.0), [1e-12, v, 0.0], events=parted, rtol=1e-9, atol=1e-13, max_step=2e-7)
    return float(-got.y[1, -1])


def _v13() -> list[Check]:
    told = "the plain starter sheet, 256 crashes, 300 against 1200 contact points"
    source = "mesh refinement: results must not depend on how many points carry the skin"

    def ratio(measure: Callable[[CrashBatch], float]) -> Callable[[], tuple[float, float]]:
        return lambda: (1.0, measure(_meshed(1200)) / measure(_meshed(300)))

    rows: tuple[tuple[str, str, float, Callable[[CrashBatch], float]], ...] = (
        ("impulse", "total impulse", 0.05, lambda b: float(b.part_impulse.sum(axis=0).mean())),
        ("moment", "out-of-plane arm moment", 0.05, lambda b: float(b.arm_moment[:, 1].mean())),
        ("in_plane", "in-plane arm moment", 0.10, lambda b: float(b.arm_moment[:, 0].mean())),
        ("shock", "shock of the boards", 0.05, lambda b: float(b.shock.mean())),
    )
    return [
        _check(
            f"V13.{key}",
            f"Four times the contact points: {what}",
            told,
            "",
            tolerance,
            source,
            ratio(f),
            access="computed",
        )
        for key, what, tolerance, f in rows
    ]


@lru_cache(maxsize=2)
def _meshed(points: int) -> CrashBatch:
    from crashworthy.build.assemble import assemble
    from crashworthy.build.reading import parse
    from crashworthy.build.starter import starter
    from crashworthy.impact.campaign import simulate

    return simulate(assemble(parse(starter("Plain five")), points=points), 256, 5)


def _v14() -> list[Check]:
    source = "known-answer vectors of Philox4x32-10 (Salmon, Moraes, Dror, Shaw, SC11, 2011), as in public test files"
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
                _check(
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


CHECKS: tuple[Check, ...] = (
    *_v1(), *_v2(), *_v3(), *_v4(), *_v5(), *_v6(), *_v7(), *_v8(), *_mount(), *_single(), *_v13(), *_v14(),
)  # fmt: skip
"""Every outside check of the crash engine."""
