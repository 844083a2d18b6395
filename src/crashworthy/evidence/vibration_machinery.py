"""Outside checks of bearings, arm modes, trends, taps, bars and crest: closed forms, tables, simulation."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.evidence.registry import Access, Check

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["CHECKS", "arl", "bearing_check"]


def _bearing(
    balls: int, ball: float, pitch: float, rpm: float, which: str, expected: float
) -> Callable[[], tuple[float, float]]:
    def run() -> tuple[float, float]:
        from crashworthy.vibration.bearing import ball_orders

        return expected, float(getattr(ball_orders(balls, ball, pitch), which)) * rpm / 60.0

    return run


def bearing_check(
    balls: int,
    ball: float,
    pitch: float,
    rpm: float,
    which: str,
    expected: float,
    tolerance: float,
    access: Access,
) -> Check:
    """A tone of a bearing: balls, diameters in mm, speed in rpm, which tone, Hz expected."""
    source = {
        "read": "page of a bearing frequency calculator",
        "derived": "FTF = ½(1-k), BPFO = z/2 (1-k), BPFI = z/2 (1+k), BSF = D/2d (1-k²); worked by hand",
        "recalled": "maker-independent table of a 6205 bearing",
    }[access]
    return Check(
        f"vibration.bearing.{which}_{balls}_{rpm:.0f}",
        f"Bearing tone: {which}",
        f"{balls} balls of {ball:g} mm on {pitch:g} mm at {rpm:g} rpm",
        "Hz",
        tolerance,
        False,
        source,
        access,
        _bearing(balls, ball, pitch, rpm, which, expected),
    )


def _bar(ratio: float, f: float) -> Callable[[], tuple[float, float]]:
    def run() -> tuple[float, float]:
        from crashworthy.vibration.tap import bar_modulus

        length, width = 0.1, 0.02
        thickness = ratio * length
        return 70.0, bar_modulus(2700.0 * length * width * thickness, f, width, length, thickness) * 1e-9

    return run


def _bar_check(ratio: float, f: float) -> Check:
    return Check(
        f"vibration.bar.timoshenko_{ratio:g}",
        f"Modulus of a free bar, thickness {ratio:g} of its length",
        f"exact Timoshenko frequency {f} Hz of a bar of 70 GPa, 2700 kg/m³, ν 0.3, 100 x 20 mm",
        "GPa",
        1e-3,
        True,
        "Timoshenko beam, free-free, first root of its frequency equation; formula under test: ASTM E1876",
        "computed",
        _bar(ratio, f),
    )


def _bar_hand() -> tuple[float, float]:
    from crashworthy.vibration.tap import bar_modulus

    # 0.9465 · 0.012 · 1900² / 0.02 · 25³ · 1.01151
    return 32.402, bar_modulus(0.012, 1900.0, 0.02, 0.1, 0.004) * 1e-9


@lru_cache(maxsize=1)
def _rings() -> tuple[float, float]:
    from crashworthy.vibration.tap import ring_down

    f, z, fs = [], [], 48000.0
    for seed in range(8):
        rng = np.random.default_rng(seed)
        t = np.arange(int(0.4 * fs)) / fs
        w = 2 * np.pi * 180.0
        y = np.exp(-0.05 * w * t) * np.sin(w * np.sqrt(1 - 0.05**2) * t + 1.0)
        y += 0.3 * np.exp(-0.03 * 2.76 * w * t) * np.sin(2.76 * w * t)
        y += 0.02 * rng.standard_normal(len(t))
        got = ring_down(y, fs)
        if got is not None:
            f.append(got[0])
            z.append(got[1])
    return float(np.mean(f)), float(np.mean(z))


def arl(shift: float, table: float) -> Callable[[], tuple[float, float]]:
    """Mean run length of the sum (k ½, h 5) under a shift, against the table's."""

    def run() -> tuple[float, float]:
        from crashworthy.vibration.trend import cusum

        rng = np.random.default_rng(int(10 * shift) + 1)
        sums = cusum(rng.standard_normal((3000, 400)) + shift, 0.5)
        over = sums > 5.0
        return table, float((over.argmax(axis=1) + 1).mean())

    return run


def _false() -> tuple[float, float]:
    from crashworthy.vibration.trend import FALSE_PER_100, LIMIT, cusum, scores

    x = 0.12 * np.random.default_rng(8).standard_normal((6000, 100))
    return FALSE_PER_100, float((cusum(scores(x, 0.10)).max(axis=1) > LIMIT).mean())


def _crest() -> tuple[float, float]:
    from crashworthy.vibration.features import crest
    from crashworthy.vibration.log import make_log
    from crashworthy.vibration.shafts import Shafts

    t = np.arange(16000) / 4000.0
    y = np.sin(2 * np.pi * 301.7 * t)
    slow = np.arange(0.0, 4.01, 0.01)
    log = make_log(source="tone", reader="none", t=t, gyro=np.column_stack([y, y, y]))
    got = crest(log, Shafts.of(slow, np.full((len(slow), 1), 301.7)))
    return float(np.sqrt(2.0)), got or 0.0


@lru_cache(maxsize=1)
def _modes() -> tuple[float, float]:
    """Frequency and damping fitted to a density drawn from the model with Whittle's scatter."""
    from crashworthy.vibration.modes import arm_mode

    rng = np.random.default_rng(4)
    f = np.asarray(np.fft.rfftfreq(1024, 1 / 4000.0)[1:], dtype=np.float64)
    r2 = (f / 230.0) ** 2
    damp = (2 * 0.025) ** 2 * r2
    s = 1e-9 + (2e-4 + 4e-4 * (1 + damp) / ((1 - r2) ** 2 + damp)) / f**2
    n = 150
    got = [arm_mode(f, s * rng.gamma(n, 1.0 / n, len(s)), np.full(len(s), n)) for _ in range(6)]
    fine = [g for g in got if g is not None]
    return float(np.mean([g.f for g in fine])), float(np.mean([g.damping for g in fine]))


CHECKS: Final[tuple[Check, ...]] = (
    bearing_check(9, 7.94, 38.5, 1500.0, "cage", 9.92, 0.02, "read"),
    bearing_check(9, 7.94, 38.5, 1500.0, "outer", 89.31, 0.02, "read"),
    bearing_check(9, 7.94, 38.5, 1500.0, "inner", 135.69, 0.02, "read"),
    bearing_check(8, 10.0, 50.0, 1800.0, "cage", 12.0, 1e-9, "derived"),
    bearing_check(8, 10.0, 50.0, 1800.0, "outer", 96.0, 1e-9, "derived"),
    bearing_check(8, 10.0, 50.0, 1800.0, "inner", 144.0, 1e-9, "derived"),
    bearing_check(8, 10.0, 50.0, 1800.0, "ball", 72.0, 1e-9, "derived"),
    bearing_check(9, 7.94, 39.04, 60.0, "outer", 3.585, 2e-3, "recalled"),
    bearing_check(9, 7.94, 39.04, 60.0, "inner", 5.415, 2e-3, "recalled"),
    Check(
        "vibration.bar.hand",
        "Modulus of a free bar by the formula, by hand",
        "12.0 g, 1900 Hz, 20 x 100 x 4 mm, ν 0.3: T1 = 1.01151",
        "GPa",
        1e-4,
        True,
        "ASTM E1876, flexure of a rectangular bar (formula from memory)",
        "recalled",
        _bar_hand,
    ),
    _bar_check(0.04, 2081.44),
    _bar_check(0.08, 4093.31),
    _bar_check(0.10, 5055.00),
    Check(
        "vibration.tap.frequency",
        "Frequency of a ring-down with a second mode and noise",
        "180 Hz, damping 5 %, second mode at 2.76 times, noise; mean of 8",
        "Hz",
        1e-3,
        True,
        "put into the signal",
        "computed",
        lambda: (180.0, _rings()[0]),
    ),
    Check(
        "vibration.tap.damping",
        "Damping of the same",
        "as above",
        "",
        0.02,
        True,
        "put into the signal",
        "computed",
        lambda: (0.05, _rings()[1]),
    ),
    Check(
        "vibration.trend.arl_1",
        "Flights until a rise by one standard deviation is called (h 5, k ½)",
        "3000 simulated quads",
        "",
        0.04,
        True,
        "table of run lengths of the CUSUM, engineering-statistics textbook",
        "recalled",
        arl(1.0, 10.4),
    ),
    Check(
        "vibration.trend.arl_2",
        "The same for two standard deviations",
        "3000 simulated quads",
        "",
        0.04,
        True,
        "the same table",
        "recalled",
        arl(2.0, 4.01),
    ),
    Check(
        "vibration.trend.false_alarms",
        "Share of steady quads called within 100 packs",
        "6000 simulated quads, scatter 0.12 where 0.10 is assumed, h 6",
        "",
        0.012,
        False,
        "simulation with another seed",
        "computed",
        _false,
    ),
    Check(
        "vibration.crest.sine",
        "Crest factor of a sine",
        "301.7 Hz, 4000 samples/s, windows of 0.25 s",
        "",
        5e-3,
        True,
        "√2, definition",
        "derived",
        _crest,
    ),
    Check(
        "vibration.modes.frequency",
        "Frequency of an arm's mode fitted to a drawn density",
        "230 Hz, damping 2.5 %, 150 segments a bin, mean of 6",
        "Hz",
        2e-3,
        True,
        "put into the density; scatter of averaged periodograms by numpy's gamma variates",
        "computed",
        lambda: (230.0, _modes()[0]),
    ),
    Check(
        "vibration.modes.damping",
        "Damping of the same",
        "as above",
        "",
        0.06,
        True,
        "the same",
        "computed",
        lambda: (0.025, _modes()[1]),
    ),
)
