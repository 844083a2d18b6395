"""Faults of a simulated quad, as physics in time. Invented magnitudes, labelled assumptions.

* A motor on loose screws is a mass in a clearance: it flies freely until it meets a stop, and only the
  stops' forces (and some friction) reach the arm. Bilinear contact with damping, stepped in time.
* A worn bearing strikes once for each ball that passes the flaw: short half-sine pushes along the shaft at
  a multiple of the speed that is not whole, with slip.
* A loose stack carries the gyro on a soft, poorly damped mount: the rates pass a spring's transmissibility.
* Electrical noise adds lines at fixed frequencies and raises the floor, whatever the motors do.
* Blades worn alike thrust less: the motor turns faster for the same thrust, and nothing else shows.
* A crash is a half-sine push and a jump of the rates.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Blow", "Faults", "bearing_pushes", "mount", "rattle", "tones"]

MOVING: Final = 0.037
"""Motor and prop on their screws, kg. Assumption."""

STOP: Final = 1.5e6
"""Stiffness of a stop, N/m. Assumption."""

STOP_DAMPING: Final = 0.12
"""Damping ratio of the motor against a stop. Assumption."""

RUB: Final = 0.6
"""Friction between motor and arm, N. Assumption."""

OUTER_RACE: Final = 2.38
"""Balls over a flaw of the outer race, for each turn: seven balls, k = 0.32. Assumption."""


@dataclass(frozen=True, slots=True)
class Blow:
    """One crash in the air.

    Attributes:
        at: s.
        speed: change of velocity, m/s.
        rate: change of rate, rad/s.
        lasts: s.
    """

    at: float
    speed: float = 5.0
    rate: float = 10.0
    lasts: float = 0.008


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong, by corner (front left, front right, rear left, rear right).

    Attributes:
        gap: clearance of the motors' screws either way, m.
        wear: share of thrust that worn blades have lost.
        bearing: push of a bearing's flaw, N.
        stack_hz: resonance of the gyro's mount, Hz; 0 when it is tight.
        stack_damping: its damping ratio.
        lines: electrical lines (Hz, deg/s amplitude).
        floor: factor on the gyro's noise.
        blows: crashes.
    """

    gap: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    wear: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    bearing: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    stack_hz: float = 0.0
    stack_damping: float = 0.08
    lines: tuple[tuple[float, float], ...] = ()
    floor: float = 1.0
    blows: tuple[Blow, ...] = field(default=())


@lru_cache(maxsize=1)
def _stepper() -> Any:
    from numba import njit

    @njit(nogil=True)  # type: ignore[untyped-decorator,unused-ignore]
    def step(force: Floats, gap: float, dt: float, mass: float, k: float, c: float, rub: float) -> Floats:
        out = np.empty_like(force)
        x = 0.0
        v = 0.0
        for i in range(len(force)):
            total = 0.0
            for _ in range(4):
                pushed = 0.0
                if x > gap:
                    pushed = max(k * (x - gap) + c * v, 0.0)
                elif x < -gap:
                    pushed = min(k * (x + gap) + c * v, 0.0)
                pushed += rub * np.tanh(v / 2e-3)
                v += dt / 4 * (force[i] - pushed) / mass
                x += dt / 4 * v
                total += pushed
            out[i] = total / 4
        return out

    return step


def rattle(force: Floats, gap: float, fs: float) -> Floats:
    """Force that a motor in a clearance passes on, N.

    Args:
        force: (n,) on the motor, N.
        gap: clearance either way, m.
        fs: samples a second.
    """
    c = 2.0 * STOP_DAMPING * np.sqrt(STOP * MOVING)
    out: Floats = _stepper()(np.ascontiguousarray(force), gap, 1.0 / fs, MOVING, STOP, c, RUB)
    return out


def bearing_pushes(turns: Floats, push: float, fs: float, rng: np.random.Generator) -> Floats:
    """Pushes of a bearing's flaw along the shaft, N.

    Args:
        turns: (n,) shaft angle in turns.
        push: peak, N.
        fs: samples a second.
        rng: for slip and size.
    """
    slip = 1.0 - 0.01 * rng.random()
    count = np.floor(turns * OUTER_RACE * slip + rng.random())
    at = np.flatnonzero(np.diff(count) > 0)
    train = np.zeros(len(turns))
    train[at] = push * rng.lognormal(0.0, 0.2, len(at))
    width = max(round(0.4e-3 * fs), 2)
    shape = np.sin(np.pi * (np.arange(width) + 0.5) / width)
    return np.convolve(train, shape)[: len(turns)]


def mount(rates: Floats, hz: float, damping: float, fs: float) -> Floats:
    """Rates (n, 3) as a gyro on a soft mount feels them."""
    from scipy.signal import bilinear, lfilter

    w = 2 * fs * np.tan(np.pi * hz / fs)
    b, a = bilinear([2 * damping * w, w * w], [1.0, 2 * damping * w, w * w], fs)
    out: Floats = lfilter(b, a, rates, axis=0)
    return out


def tones(t: Floats, lines: tuple[tuple[float, float], ...], rng: np.random.Generator) -> Floats:
    """Electrical lines on the three axes, (n, 3), in the unit of their amplitudes."""
    out = np.zeros((len(t), 3))
    for hz, size in lines:
        # Clocks wander by a few parts in a thousand.
        phase = 2 * np.pi * hz * (t + 0.002 * np.sin(2 * np.pi * t / 11.0 + rng.random()))
        for a in range(3):
            out[:, a] += size * rng.uniform(0.5, 1.5) * np.sin(phase + 2 * np.pi * rng.random())
    return out
