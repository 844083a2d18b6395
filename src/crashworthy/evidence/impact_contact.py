"""Checks of the contact law: Hertz, damping, crushing, blows off centre; one contact by other integrators."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.evidence import crash_scenes as scenes
from crashworthy.evidence.impact_check import check
from crashworthy.evidence.registry import Check
from crashworthy.impact.contact import combine_hertz, damping_number, restitution
from crashworthy.impact.damage import break_chance

if TYPE_CHECKING:
    from crashworthy.impact.scene import Scene

__all__ = ["CONTACT"]

_HERTZ = (
    "Hertz 1882 in Johnson, Contact Mechanics, 1985, ch. 4 and 11.4; "
    "contact time rederived: 3.2180 (m²/(K² v))^0.2"
)
_HUNT = (
    "Hunt and Crossley, J. Appl. Mech. 42 (1975) 440; y (1 + e) = ln((1 + y)/(1 - e y)) "
    "by integrating v dv/(1 + alpha v)"
)
_BODY = "rigid-body impulse: J = -(1 + e) v_n / (1/m + (r x n)' I^-1 (r x n)), any dynamics textbook"


def _v1() -> list[Check]:
    checks = []
    rows = (
        (0.05, 5.0, 1e8, 2071.53, 444.0e-6, 0.5),
        (0.7, 20.0, 1e8, 53264.9, 967.0e-6, 28.0),
        (0.046, 15.0, 8e8, 16917.9, 150.0e-6, 1.38),
    )
    for i, (m, v, k, force, time, impulse) in enumerate(rows, 1):
        told = f"m {m} kg, v {v} m/s, K {k:g} N/m^1.5"

        def scene(m: float = m, v: float = v, k: float = k) -> Scene:
            return scenes.hertz_drop(m, v, k)

        def peak(f: float = force, s: Callable[[], Scene] = scene) -> tuple[float, float]:
            return f, float(s().peak[0, 0])

        def duration(t: float = time, s: Callable[[], Scene] = scene) -> tuple[float, float]:
            got = s()
            return t, float(got.scalars["last_touch"][0] - got.touched[0, 0])

        def total(j: float = impulse, s: Callable[[], Scene] = scene) -> tuple[float, float]:
            return j, float(s().impulse[0, 0])

        checks += [
            check(
                f"V1.{i}.peak_force",
                "Ball on a rigid plane, Hertz: peak force",
                told,
                "N",
                1e-4,
                _HERTZ,
                peak,
            ),
            check(
                f"V1.{i}.duration",
                "Ball on a rigid plane, Hertz: contact time",
                told,
                "s",
                1e-3,
                _HERTZ,
                duration,
            ),
            check(
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
            check(f"V2.{y}.hertz", "Damped contact: restitution, power 3/2", told, "", 1e-4, _HUNT, hertz),
            check(
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
        check(
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
            check(
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
    source = "energy stored at yield (2/5) K d_y^2.5 over impact energy, derived; idea: Johnson 1985 ch. 11.5"

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
        check("V3.restitution", "Crushing contact, power 3/2: restitution", told, "", 1e-5, source, rebound),
        check("V3.peak_force", "Crushing contact: force stops at the plateau", told, "N", 1e-9, source, peak),
        check("V3.bed", "Crushing contact, the product's bed: restitution", linear, "", 1e-4, source, bed),
        check(
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
            check(f"V4.{i}.impulse", "Elastic blow off centre: impulse", told, "N s", 2e-4, _BODY, total)
        )
        for axis, rate in zip("xy", rates, strict=False):

            def spin(
                r: tuple[float, float, float] = r, axis: str = axis, rate: float = rate
            ) -> tuple[float, float]:
                return rate, float(scenes.offset_impact(r).scalars[f"w{axis}"][0])

            checks.append(
                check(
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
        check(
            "S1.rebound",
            "Damped crushing contact: speed after",
            f"m {m} kg, v {v} m/s, k {k:g} N/m, crush {crush} N, alpha v0 {y}",
            "m/s",
            1e-3,
            "the same law written as equations with events, scipy.integrate.solve_ivp at 1e-10",
            rebound,
            access="computed",
        ),
        check(
            "S2.friction",
            "Sliding blow: tangential speed after",
            "mu 0.3, v_n 6 m/s, v_t 30 m/s, elastic",
            "m/s",
            1e-4,
            "Coulomb friction while sliding: dv_t = -mu (1 + e) v_n",
            rub,
        ),
        check(
            "S3.series",
            "Two equal Hertz contacts in series",
            "each 2^1.5 x 1e8 N/m^1.5",
            "N/m^1.5",
            1e-12,
            "depths at one force add: K = (K1^(-2/3) + K2^(-2/3))^(-3/2) (Johnson 1985, recalled)",
            series,
        ),
        check(
            "V15.interference",
            "Lognormal load on lognormal strength: P(L > S)",
            "ln L ~ N(ln 30, 0.4), ln S ~ N(ln 45, 0.15)",
            "",
            1e-4,
            "Phi((ln 30 - ln 45)/sqrt(0.4² + 0.15²)), stress-strength interference",
            interference,
        ),
    ]


def _crush_by_scipy(m: float, v: float, k: float, crush: float, y: float) -> float:
    """Rebound speed of a damped, crushing contact by an adaptive integrator; force clipped as in the law."""
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


def _pole() -> list[Check]:
    told = "10 m/s along x, pole of 30 mm radius, 15 mm beside its axis, elastic, frictionless"
    source = "mirror reflection: v - 2 (v . n) n with n at asin(b/R) = 30 deg"
    expected = {"vx": -5.0, "vy": 8.660254}

    def component(name: str) -> tuple[float, float]:
        return expected[name], float(scenes.glance(10.0, 0.03, 0.015).scalars[name][0])

    return [
        check(
            f"S4.{name}",
            "Ball glancing off a pole: speed after",
            told,
            "m/s",
            2e-3,
            source,
            partial(component, name),
        )
        for name in expected
    ]


CONTACT: tuple[Check, ...] = (*_v1(), *_v2(), *_v3(), *_v4(), *_single(), *_pole())
"""Checks of one contact."""
