"""Outside checks of the vibration room: closed forms, Euler's equations, ISO 21940-11, scipy, signals."""

from __future__ import annotations

from typing import Final

from crashworthy.evidence import vibration_machinery, vibration_trends
from crashworthy.evidence import vibration_runs as runs
from crashworthy.evidence.registry import Check

__all__ = ["CHECKS"]

_BODY: Final = (
    "I = (3.2, 3.6, 5.8)e-3 kg m², motor radius 110 mm, rotor plane 12 mm above the centre of gravity"
)


def _hand_check(axis: int, name: str, form: str) -> Check:
    return Check(
        f"vibration.unbalance.{name}",
        f"Unbalance to {name} rate by hand: {form}",
        f"{_BODY}; U = 20 g mm at 300 Hz",
        "deg/s",
        1e-4,
        True,
        "Newton-Euler: F = U ω², moment r x F, rate = moment / (I ω); worked by hand",
        "derived",
        lambda: runs.hand(axis),
    )


def _euler_check(axis: int, name: str) -> Check:
    return Check(
        f"vibration.unbalance.euler_{name}",
        f"Unbalance to {name} rate: full Euler equations, gyroscopic term kept",
        f"{_BODY}; U = 20 g mm at 300 Hz; 10 turns",
        "deg/s",
        2e-3,
        True,
        "Euler's equations integrated by scipy.integrate.solve_ivp (DOP853, rtol 1e-9)",
        "computed",
        lambda: runs.against_euler(axis),
    )


_ISO: Final = "ISO 21940-11:2016, G = e·Ω; U = 9549 G m / n by hand"


def _iso_check(grade: float, mass: float, rpm: float, expected: float, tolerance: float) -> Check:
    return Check(
        f"vibration.iso21940.g{grade:g}_{rpm:.0f}rpm",
        f"Permissible unbalance at G{grade:g}",
        f"rotor {mass:g} kg at {rpm:g} rpm",
        "g mm",
        tolerance,
        True,
        _ISO,
        "derived",
        lambda: runs.permissible(grade, mass, rpm, expected),
    )


def _recovery_check(motor: int) -> Check:
    return Check(
        f"vibration.orders.recovered_{motor + 1}",
        f"Unbalance of motor {motor + 1} found again in a signal of four manoeuvring motors",
        "2, 8, 3 and 20 g mm; 2000 samples/s; speeds 7 Hz apart on sweeps of 40 Hz; telemetry 12 ms late",
        "g mm",
        0.03,
        True,
        "rotating forces integrated in time (scipy.integrate.cumulative_trapezoid at 8 x the log's rate)",
        "computed",
        lambda: runs.recovered(motor),
    )


def _fold_check(f: float, fs: float) -> Check:
    return Check(
        f"vibration.alias.{f:g}_at_{fs:g}",
        f"A line at {f:g} Hz in a log of {fs:g} samples/s",
        "sine of 10 s, peak of numpy's FFT",
        "Hz",
        1e-6,
        False,
        "sampling theorem: |f - fs·round(f/fs)|",
        "computed",
        lambda: runs.fold(f, fs),
    )


def _pack_check(tau: float, tolerance: float) -> Check:
    return Check(
        f"vibration.pack.r0_tau_{tau:g}",
        f"Pack resistance found again, relaxation of {tau:g} s where 6 s is taken",
        "30.0 mΩ, RC 12 mΩ, 240 s at 50 readings/s, noise 0.03 V and 0.4 A, falling open-circuit voltage",
        "mΩ",
        tolerance,
        True,
        "circuit equations stepped in time",
        "computed",
        lambda: runs.pack(tau),
    )


CHECKS: Final[tuple[Check, ...]] = (
    _hand_check(0, "roll", "U ω h / Ixx"),
    _hand_check(1, "pitch", "U ω h / Iyy"),
    _hand_check(2, "yaw", "U ω r / Izz"),
    _euler_check(0, "roll"),
    _euler_check(1, "pitch"),
    _euler_check(2, "yaw"),
    Check(
        "vibration.track.roll",
        "Once-a-turn force along the shaft to roll rate",
        f"{_BODY}; force of 20 g mm x ω² at 300 Hz",
        "deg/s",
        1e-9,
        True,
        "Newton-Euler: F y / (Ixx ω); worked by hand",
        "derived",
        runs.track_roll,
    ),
    Check(
        "vibration.track.yaw",
        "A force along the shaft gives no yaw",
        f"{_BODY}",
        "deg/s",
        1e-9,
        False,
        "Newton-Euler: r x z has no z part",
        "derived",
        runs.track_yaw,
    ),
    Check(
        "vibration.unbalance.chip",
        "A chip of 0.10 g lost at 60 mm, as yaw rate at 300 Hz",
        _BODY,
        "deg/s",
        2e-3,
        True,
        "6 g mm x ω r / Izz; worked by hand",
        "derived",
        runs.chip,
    ),
    _iso_check(6.3, 100.0, 3000.0, 2005.0, 5e-4),
    _iso_check(2.5, 40.0, 3600.0, 265.3, 5e-4),
    _iso_check(16.0, 1.0, 1000.0, 152.8, 5e-4),
    _iso_check(6.3, 0.050, 20000.0, 0.1504, 5e-4),
    _iso_check(40.0, 0.0042, 25000.0, 0.0642, 1e-3),
    Check(
        "vibration.iso21940.inverse",
        "Grade figure of 2 g mm",
        "rotor 35 g at 18 000 rpm",
        "mm/s",
        5e-4,
        True,
        _ISO,
        "derived",
        lambda: runs.grade_figure(2.0, 107.7),
    ),
    Check(
        "vibration.iso21940.inverse_20",
        "Grade figure of 20 g mm",
        "rotor 35 g at 18 000 rpm",
        "mm/s",
        5e-4,
        True,
        _ISO,
        "derived",
        lambda: runs.grade_figure(20.0, 1077.0),
    ),
    Check(
        "vibration.iso21940.ladder",
        "Grade that covers 107.7 mm/s",
        "ladder 0.4, 1, 2.5, 6.3, 16, 40, 100, 250, 630, 1600, 4000",
        "mm/s",
        1e-9,
        False,
        "ISO 21940-11:2016, table 1",
        "recalled",
        runs.ladder,
    ),
    Check(
        "vibration.spectrum.white",
        "Density of white noise",
        "1.5 deg/s rms at 4000 samples/s, 40 s",
        "deg/s/√Hz",
        0.01,
        True,
        "σ·√(2/fs), definition of one-sided density",
        "derived",
        runs.white,
    ),
    Check(
        "vibration.orders.flattop",
        "Amplitude of a steady line: order fit against a flat-top spectrum",
        "3 deg/s at 301.7 Hz, 4000 samples/s",
        "deg/s",
        3e-3,
        True,
        "scipy.signal.welch, window flattop, scaling spectrum",
        "computed",
        runs.order_flattop,
    ),
    _fold_check(300.0, 500.0),
    _fold_check(900.0, 500.0),
    _fold_check(600.0, 1000.0),
    _fold_check(600.0, 500.0),
    _fold_check(900.0, 1000.0),
    Check(
        "vibration.dose.velocity",
        "Vibration velocity at the rotor of a 110 mm arm",
        "2.344 deg/s rms at 250 Hz about yaw",
        "mm/s",
        5e-3,
        True,
        "v = rate x radius; worked by hand",
        "derived",
        runs.dose,
    ),
    _recovery_check(0),
    _recovery_check(1),
    _recovery_check(2),
    _recovery_check(3),
    Check(
        "vibration.orders.lag",
        "Lag of the speed telemetry found again",
        "12 ms, telemetry of 100 updates/s, sweeps of 40 Hz",
        "ms",
        0.5,
        False,
        "put into the signal",
        "computed",
        runs.lag,
    ),
    Check(
        "vibration.orders.not_separable",
        "Motors that turn alike all the time: how many are told",
        "four motors at the same speed",
        "",
        0.0,
        False,
        "eight unknowns, three axes",
        "derived",
        runs.equal,
    ),
    _pack_check(6.0, 0.02),
    _pack_check(8.0, 0.02),
    _pack_check(4.0, 0.03),
    *vibration_machinery.CHECKS,
    *vibration_trends.CHECKS,
)
