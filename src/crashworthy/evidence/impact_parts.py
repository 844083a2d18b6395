"""Checks of props, strap, boards and arms, and of obstacles that give or have corners."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.evidence import crash_scenes_parts as parts
from crashworthy.evidence.impact_check import check
from crashworthy.impact.contact import BED, HERTZ, Bed, combine
from crashworthy.impact.dynamics import REMNANT
from crashworthy.impact.obstacle import BOX, GAP, RUBBLE, SPIKE

if TYPE_CHECKING:
    from crashworthy.evidence.registry import Check

__all__ = ["PARTS"]

Pair = tuple[float, float]


def _props() -> list[Check]:
    gyro = "inertias 4e-4, 4e-4, 7e-4 kg m², rotor 9.6e-3 kg m²/s along z, w (10, 0, 0) rad/s, 50 ms"
    rub = "0.5 kg at 0.2 m/s, prop of 1e-5 kg m² at 1200 rad/s rubbed at 50 mm, mu 0.3, elastic wall"
    impulse = 2.0 * 0.5 * 0.2

    def turned() -> Pair:
        rate = 9.6e-3 / 4e-4
        return 10.0 * math.cos(rate * 0.05), float(
            parts.precession(9.6e-3, 4e-4, 7e-4, 10.0, 0.05).scalars["wx"][0]
        )

    def pushed() -> Pair:
        return -0.3 * impulse / 0.5, float(parts.rubbed_prop(1200.0, 0.2, 0.3).scalars["vy"][0])

    def still() -> Pair:
        return 0.0, float(parts.rubbed_prop(1200.0, 0.2, 0.3).scalars["wz"][0])

    def left() -> Pair:
        slower = 1200.0 - 0.3 * impulse * parts.RIM / parts.ROTOR
        speed = math.hypot(0.2, 0.3 * impulse / 0.5)
        expected = 0.25 * speed**2 + 0.5 * parts.ROTOR * slower**2
        return expected, float(parts.rubbed_prop(1200.0, 0.2, 0.3).scalars["energy_end"][0])

    law = "impulse of friction: mu J on the body, mu J r on the free rotor, none on the body's turning"
    return [
        check(
            "P1.precession",
            "Spinning props: the quad answers like a gyroscope",
            gyro,
            "rad/s",
            1e-3,
            "Euler's equations with a rotor: w turns at ((C - A) w_z + H)/A about z",
            turned,
        ),
        check("P2.side", "Rubbed prop: the quad is pushed aside", rub, "m/s", 1e-3, law, pushed),
        check(
            "P2.turning",
            "Rubbed prop: the motor turns freely, the quad does not turn",
            rub,
            "rad/s",
            1e-6,
            law,
            still,
            relative=False,
        ),
        check("P2.energy", "Rubbed prop: energy left in body and slowed prop", rub, "J", 1e-3, law, left),
    ]


def _strap() -> list[Check]:
    rate = 2.0 * math.pi * 40.0
    told = "pack of 0.2 kg at 40 Hz under a step of 10 m/s"
    source = "oscillator under a step dv of velocity: peak pull m wn dv"

    def lifted() -> Pair:
        return 0.2 * rate * 10.0, float(
            parts.strap_pull((0.0, 0.0, -1.0), 5.0, rate, 0.0).scalars["strap"][0]
        )

    def damped() -> Pair:
        root = math.sqrt(1.0 - 0.25**2)
        share = math.exp(-0.25 / root * math.atan2(root, 0.25))
        got = parts.strap_pull((0.0, 0.0, -1.0), 5.0, rate, 0.25).scalars["strap"][0]
        return 0.2 * rate * 10.0 * share, float(got)

    def seated() -> Pair:
        aside, down = math.sin(math.radians(60.0)), math.cos(math.radians(60.0))
        got = parts.strap_pull((aside, 0.0, down), 5.0, rate, 0.0).scalars["strap"][0]
        return 0.2 * rate * 10.0 * (aside - 0.6 * down), float(got)

    return [
        check(
            "P3.lift", "Strap: pack thrown off its seat", f"{told} up, undamped", "N", 1e-3, source, lifted
        ),
        check(
            "P3.damped",
            "Strap: the same, damped",
            f"{told} up, Q 2",
            "N",
            1e-3,
            "damped oscillator: times exp(-z/s atan(s/z)), s = sqrt(1 - z²)",
            damped,
        ),
        check(
            "P3.seat",
            "Strap: the seat's friction bears its part",
            f"{told} at 60 deg into the seat, mu 0.6",
            "N",
            1e-3,
            f"{source}; less mu times the force on the seat",
            seated,
        ),
    ]


def _boards() -> list[Check]:
    told = "step of 10 m/s, stack 150 Hz Q 5, boards 250, 500, 900 Hz Q 10"

    def board(i: int) -> Pair:
        got = parts.board_step(10.0, 150.0, 5.0).scalars[f"board_{i}"][0]
        return _board_by_scipy(10.0, 150.0, 5.0, (250.0, 500.0, 900.0)[i], 10.0), float(got)

    return [
        check(
            f"P4.board_{i}",
            "Board on its stack under a step of velocity: pseudo-velocity",
            told,
            "m/s",
            3e-3,
            "two springs in a row by scipy.integrate.solve_ivp at 1e-10",
            partial(board, i),
            access="computed",
        )
        for i in range(3)
    ]


def _board_by_scipy(step: float, stack: float, q: float, board: float, q_board: float) -> float:
    """Peak pseudo-velocity of a light oscillator carried by another whose foot jumps by ``step``."""
    from scipy.integrate import solve_ivp

    a, b = 2.0 * math.pi * stack, 2.0 * math.pi * board

    def rate(_: float, s: np.ndarray) -> list[float]:
        felt = -a / q * s[1] - a * a * s[0]
        return [s[1], felt, s[3], -felt - b / q_board * s[3] - b * b * s[2]]

    got = solve_ivp(rate, (0.0, 0.01), [0.0, -step, 0.0, 0.0], rtol=1e-10, atol=1e-14, max_step=2e-6)
    return float(b * np.abs(got.y[2]).max())


def _arms() -> list[Check]:
    k, m = 67021.18, 0.046

    def decayed() -> Pair:
        zeta = 0.05
        low = float(parts.decay(k, m, 2.0 * zeta * math.sqrt(k * m)).trace[:, 9, 0].min())
        return -1e-3 * math.exp(-math.pi * zeta / math.sqrt(1.0 - zeta**2)), low

    def remnant() -> Pair:
        swing = float(parts.broken_arm(k, m).trace[:, 9, 0].max())
        return 5.0 * math.sqrt(m / (0.05 * k)), swing

    def lever() -> Pair:
        got = parts.pressed_arm(0.6, 0.08)
        return 0.08 * float(got.peak[0, 0]) * (0.6 - 0.02 / 1.02), float(got.moment[0, 1, 0])

    return [
        check(
            "P5.decay",
            "Damped arm: first swing back",
            "k 67 021.18 N/m, m 46 g, 5 % of critical, let go at 1 mm",
            "m",
            1e-3,
            "logarithmic decrement: u0 exp(-pi z/sqrt(1 - z²))",
            decayed,
        ),
        check(
            "P5.broken",
            "Broken arm: swing on what is left of its stiffness",
            f"k 67 021.18 N/m, m 46 g, 5 m/s, {REMNANT * 100:g} % left",
            "m",
            2e-3,
            "energy balance of the tip: v sqrt(m/(0.05 k))",
            remnant,
        ),
        check(
            "P5.lever",
            "Arm pressed at 0.6 of its length: root moment",
            "L 80 mm, tip 20 g, core 1 kg, slow blow",
            "N m",
            5e-3,
            "statics: F s L, less the tip's own inertia",
            lever,
        ),
    ]


def _giving() -> list[Check]:
    m, v, k, other = 0.3, 10.0, 1e6, 0.5
    told = f"ball of {m} kg at {v} m/s, contact {k:g} N/m, obstacle of {other} kg"
    source = "elastic blow of two free masses: F = v sqrt(k mM/(m + M)), v' = v (m - M)/(m + M)"
    spring, damping = 2e5, 40.0

    def peak() -> Pair:
        got = parts.giving(m, v, k, other, 0.0, 0.0).peak[0, 0]
        return v * math.sqrt(k * m * other / (m + other)), float(got)

    def after() -> Pair:
        return v * (other - m) / (m + other), float(parts.giving(m, v, k, other, 0.0, 0.0).scalars["vz"][0])

    def hung(i: int) -> Pair:
        got = parts.giving(m, v, k, other, spring, damping)
        name = ("vz", "travel")[i]
        return _giving_by_scipy(m, v, k, other, spring, damping)[i], float(got.scalars[name][0])

    held = f"{told} on {spring:g} N/m and {damping:g} N s/m"
    scipy = "two masses with one-sided contact by scipy.integrate.solve_ivp at 1e-9"
    return [
        check("P6.peak", "Obstacle that gives: peak force", told, "N", 1e-4, source, peak),
        check("P6.speed", "Obstacle that gives: speed after", told, "m/s", 1e-3, source, after),
        check(
            "P6.spring.speed",
            "Branch or net on its spring: speed after",
            held,
            "m/s",
            2e-3,
            scipy,
            partial(hung, 0),
            access="computed",
        ),
        check(
            "P6.spring.travel",
            "Branch or net on its spring: how far it is pushed",
            held,
            "m",
            2e-3,
            scipy,
            partial(hung, 1),
            access="computed",
        ),
    ]


def _giving_by_scipy(m: float, v: float, k: float, other: float, spring: float, damping: float) -> Pair:
    """Speed of the ball and greatest travel of the obstacle after the scene's time."""
    from scipy.integrate import solve_ivp

    def rate(_: float, s: np.ndarray) -> list[float]:
        force = k * max(s[2] - s[0], 0.0)
        return [s[1], force / m, s[3], (-force - spring * s[2] - damping * s[3]) / other]

    end = 4.0 * math.pi / math.sqrt(k * (1.0 / m + 1.0 / other))
    got = solve_ivp(rate, (0.0, end), [0.0, -v, 0.0, 0.0], rtol=1e-9, atol=1e-13, max_step=end / 4000.0)
    return float(got.y[1, -1]), float(np.abs(got.y[2]).max())


def _rounds() -> list[Check]:
    source = "mirror reflection: v - 2 (v . n) n with n at asin(b/R) = 30 deg"
    rows = (
        (BOX, "the rounded corner of a box"),
        (GAP, "the second post of a gap"),
        (SPIKE, "the tip of a spike"),
        (RUBBLE, "the third stone of rubble"),
    )
    expected = {"vx": -5.0, "vy": 8.660254}
    checks = []
    for kind, what in rows:
        for name, value in expected.items():

            def glanced(kind: int = kind, name: str = name, value: float = value) -> Pair:
                return value, float(parts.glance_at(kind, 10.0, 0.03, 0.015).scalars[name][0])

            checks.append(
                check(
                    f"P7.{what.split()[-1]}.{name}",
                    f"Ball glancing off {what}: speed after",
                    "10 m/s, round of 30 mm, 15 mm beside its middle, elastic, frictionless",
                    "m/s",
                    2e-3,
                    source,
                    glanced,
                )
            )
    return checks


def _beds() -> list[Check]:
    def stored(law: int) -> Pair:
        got = parts.held_contact(law, 0.05, 5.0, 1e8 if law == HERTZ else 1e6)
        return 0.5 * 0.05 * 25.0, float(got.scalars["energy_end"][0])

    def begun() -> Pair:
        return 0.5 * 0.05 * 25.0, float(parts.held_contact(BED, 0.05, 5.0, 1e6).scalars["energy_start"][0])

    def attitude() -> Pair:
        return math.sin(0.5 * 20.0 * 0.05), float(parts.turned(20.0, 0.05).trace[-1, 7, 0])

    def together(name: str, value: float) -> Pair:
        return value, float(getattr(combine(Bed(3e9, 5e6, 0.5, 0.4), Bed(6e9, 4e6, 0.3, 0.9)), name))

    rows = (
        ("stiffness", 2e9, "Pa/m", "springs in a row: 1/(1/3 + 1/6) = 2"),
        ("crush", 4e6, "Pa", "the weaker side is crushed"),
        ("restitution", 0.3, "", "the lossier side decides: the method's assumption"),
        ("friction", 0.6, "", "geometric mean sqrt(0.4 x 0.9): the method's assumption"),
    )
    told = "3e9 Pa/m, 5 MPa, e 0.5, mu 0.4 on 6e9 Pa/m, 4 MPa, e 0.3, mu 0.9"
    balance = "all kinetic energy m v²/2 is stored at the turning point"
    ball = "0.05 kg at 5 m/s, elastic"
    return [
        check("P8.start", "Energy at first touch", ball, "J", 1e-9, "m v²/2", begun),
        check(
            "P8.attitude",
            "Attitude after a steady turn: last part of the quaternion",
            "20 rad/s about z for 50 ms",
            "",
            1e-4,
            "half-angle: sin(w t/2)",
            attitude,
        ),
        check(
            "P8.stored.bed",
            "Energy held in the product's bed at greatest depth",
            f"{ball}, 1e6 N/m",
            "J",
            2e-3,
            balance,
            partial(stored, BED),
        ),
        check(
            "P8.stored.hertz",
            "Energy held in a Hertz contact at greatest depth",
            f"{ball}, 1e8 N/m^1.5",
            "J",
            2e-3,
            balance,
            partial(stored, HERTZ),
        ),
        *(
            check(
                f"P9.{name}",
                f"Two beds pressed together: {name}",
                told,
                unit,
                1e-12,
                source,
                partial(together, name, value),
            )
            for name, value, unit, source in rows
        ),
    ]


PARTS: tuple[Check, ...] = (
    *_props(),
    *_strap(),
    *_boards(),
    *_arms(),
    *_giving(),
    *_rounds(),
    *_beds(),
)
"""Checks of moving parts and of obstacles."""
