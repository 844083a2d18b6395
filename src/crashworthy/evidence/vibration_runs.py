"""What the outside checks of the vibration room compute: each function returns (expected, got).

The signal generator here works in time (rotating forces, numerical integration) and shares nothing with the
analysis, which works with phasors at the samples.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from crashworthy.vibration.airframe import Airframe
    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.unbalance import Unbalance

__all__ = [
    "against_euler",
    "chip",
    "dose",
    "equal",
    "fold",
    "grade_figure",
    "hand",
    "ladder",
    "lag",
    "order_flattop",
    "pack",
    "permissible",
    "recovered",
    "track_roll",
    "track_yaw",
    "white",
]

_I: Final = (3.2e-3, 3.6e-3, 5.8e-3)
_REACH: Final = 0.110
_HEIGHT: Final = 0.012
_U: Final = 20e-6
_HZ: Final = 300.0


def _frame() -> Airframe:
    from crashworthy.vibration.airframe import Airframe

    a = _REACH / np.sqrt(2.0)
    rotors = np.array([[a, a, _HEIGHT], [a, -a, _HEIGHT], [-a, a, _HEIGHT], [-a, -a, _HEIGHT]])
    return Airframe(
        np.diag(_I),
        rotors,
        np.array([-1.0, 1.0, 1.0, -1.0]),
        ("fl", "fr", "rl", "rr"),
        np.full(4, 0.035),
        3,
        7,
    )


def _signature(axis: int, kind: int = 0) -> float:
    """Amplitude of the rate of the front left motor at 20 g mm and 300 Hz, deg/s."""
    from crashworthy.vibration.unbalance import signatures

    return float(np.degrees(abs(signatures(_frame())[0, kind, axis]) * _U * 2 * np.pi * _HZ))


def hand(axis: int) -> tuple[float, float]:
    """Rates of 20 g mm at 300 Hz worked by hand, against the signature."""
    return (8.100, 7.200, 40.966)[axis], _signature(axis)


def track_yaw() -> tuple[float, float]:
    """A force along the shaft has no yaw moment."""
    return 0.0, _signature(2, 1)


def track_roll() -> tuple[float, float]:
    """Roll rate of a once-a-turn force along the shaft, by hand."""
    w = 2 * np.pi * _HZ
    force = _U * w * w
    by_hand = np.degrees(force * _REACH / np.sqrt(2.0) / (_I[0] * w))
    return float(by_hand), _signature(0, 1)


@lru_cache(maxsize=1)
def _euler() -> tuple[float, float, float]:
    """Amplitudes from the full Euler equations with the gyroscopic term, by scipy's DOP853, deg/s."""
    from scipy.integrate import solve_ivp

    ix, iy, iz = _I
    w = 2 * np.pi * _HZ
    a, h = _REACH / np.sqrt(2.0), _HEIGHT
    force = _U * w * w

    def rates(t: float, y: np.ndarray) -> tuple[float, float, float]:
        p, q, r = y.tolist()
        fx, fy = force * np.cos(w * t), -force * np.sin(w * t)  # clockwise rotor at (a, a, h)
        return (
            (-h * fy - (iz - iy) * q * r) / ix,
            (h * fx - (ix - iz) * r * p) / iy,
            (a * fy - a * fx - (iy - ix) * p * q) / iz,
        )

    # Begin on the oscillation itself, so that no constant spin is left over.
    start = (-h * force / (w * ix), 0.0, a * force / (w * iz))
    turns = 10
    t = np.linspace(0.0, turns / _HZ, turns * 64 + 1)
    y = solve_ivp(rates, (0.0, t[-1]), start, method="DOP853", t_eval=t, rtol=1e-9, atol=1e-12).y[:, :-1]
    line = np.exp(-1j * w * t[:-1])
    size = 2 * np.abs((y - y.mean(axis=1, keepdims=True)) @ line) / len(line)
    return float(np.degrees(size[0])), float(np.degrees(size[1])), float(np.degrees(size[2]))


def against_euler(axis: int) -> tuple[float, float]:
    """Full Euler equations against the signature."""
    return _euler()[axis], _signature(axis)


def permissible(grade: float, mass: float, rpm: float, expected: float) -> tuple[float, float]:
    """Permissible unbalance, g mm."""
    from crashworthy.vibration.unbalance import permissible

    return expected, permissible(grade, mass, rpm) * 1e6


def grade_figure(unbalance: float, expected: float) -> tuple[float, float]:
    """Grade figure of an unbalance in g mm on 35 g at 18 000 rpm."""
    from crashworthy.vibration.unbalance import grade_value

    return expected, grade_value(unbalance * 1e-6, 0.035, 18000.0)


def ladder() -> tuple[float, float]:
    """The grade that covers 107.7 mm/s."""
    from crashworthy.vibration.unbalance import grade

    return 250.0, float(grade(107.7).lstrip("G"))


def chip() -> tuple[float, float]:
    """Yaw rate of a lost chip."""
    return 12.3, _signature(2) * (0.10 * 60.0) / 20.0


def white() -> tuple[float, float]:
    """Density of white noise of 1.5 deg/s rms at 4000 samples/s."""
    from crashworthy.vibration.log import make_log
    from crashworthy.vibration.spectra import noise_floor, spectrum

    rng = np.random.default_rng(3)
    y = np.radians(1.5) * rng.standard_normal((160_000, 3))
    s = spectrum(make_log(source="white", reader="none", t=np.arange(len(y)) / 4000.0, gyro=y))
    assert s is not None  # noqa: S101 - 40 s are enough by construction
    return 0.03354, float(np.degrees(noise_floor(s).mean()))


def _tone(f: float, fs: float, seconds: float = 8.0, size: float = 3.0) -> tuple[np.ndarray, np.ndarray]:
    t = np.arange(round(seconds * fs)) / fs
    return t, size * np.sin(2 * np.pi * f * t)


def order_flattop() -> tuple[float, float]:
    """Order 1 of a steady shaft against the peak of scipy's flat-top spectrum."""
    from scipy.signal import welch

    from crashworthy.vibration.log import make_log
    from crashworthy.vibration.orders import Shafts, order_tracks

    t, y = _tone(301.7, 4000.0)
    _, power = welch(y, 4000.0, window="flattop", nperseg=4096, scaling="spectrum")
    slow = np.arange(0.0, 8.01, 0.01)
    speed = np.full((len(slow), 1), 301.7)
    gyro = np.radians(np.column_stack([y, y, y]))
    log = make_log(source="tone", reader="none", t=t, gyro=gyro, speed_t=slow, speed=speed)
    tracks = order_tracks(log, Shafts.of(slow, speed), [1.0])
    return float(np.sqrt(2 * power.max())), float(np.degrees(np.abs(tracks.amplitude).mean()))


def fold(f: float, fs: float) -> tuple[float, float]:
    """Where numpy's FFT of the sampled sine has its peak, against the rule."""
    from crashworthy.vibration.orders import alias

    t, y = _tone(f, fs, 10.0)
    peak = np.fft.rfftfreq(len(t), 1 / fs)[np.abs(np.fft.rfft(y)).argmax()]
    return float(peak), alias(f, fs)


def dose() -> tuple[float, float]:
    """A 250 Hz tone of 2.344 deg/s rms on one axis at 110 mm is 4.5 mm/s rms."""
    from crashworthy.vibration.log import make_log
    from crashworthy.vibration.spectra import spectrum, v_rms

    t, y = _tone(250.0, 2000.0, size=np.sqrt(2.0) * 2.3439)
    none = np.zeros_like(y)
    s = spectrum(
        make_log(source="tone", reader="none", t=t, gyro=np.radians(np.column_stack([none, none, y])))
    )
    assert s is not None  # noqa: S101 - 8 s are enough by construction
    return 4.5, v_rms(s, _REACH) * 1e3


def _signal(
    unbalance: tuple[float, ...],
    offsets: tuple[float, ...],
    *,
    late: float = 0.0,
    fs: float = 2000.0,
    seconds: float = 16.0,
    sweep: float = 40.0,
    noise: float = 0.05,
) -> FlightLog:
    """Rates of a body shaken by four rotors, integrated in time at eight times the log's rate.

    Args:
        unbalance: g mm of each motor.
        offsets: distance of each motor's speed from the common one, Hz.
        late: lag of the telemetry, s.
        fs: samples a second.
        seconds: how long.
        sweep: amplitude of the common throttle moves, Hz.
        noise: white noise density, deg/s/√Hz.
    """
    from scipy.integrate import cumulative_trapezoid
    from scipy.signal import detrend

    from crashworthy.vibration.log import make_log

    rng = np.random.default_rng(11)
    many = 8
    t = np.arange(round(seconds * fs * many)) / (fs * many)
    frame = _frame()

    def speed(at: np.ndarray) -> np.ndarray:
        common = (
            300.0 + sweep * np.sin(2 * np.pi * 0.31 * at) + 0.4 * sweep * np.sin(2 * np.pi * 0.83 * at + 1.0)
        )
        return np.asarray(common[:, None] + np.array(offsets))

    w = 2 * np.pi * speed(t)
    angle = cumulative_trapezoid(w, t, axis=0, initial=0.0) + rng.uniform(0, 2 * np.pi, 4)
    moment = np.zeros((len(t), 3))
    for m in range(4):
        size = unbalance[m] * 1e-6 * w[:, m] ** 2
        f = np.column_stack(
            [size * np.cos(angle[:, m]), frame.spin[m] * size * np.sin(angle[:, m]), np.zeros(len(t))]
        )
        moment += np.cross(frame.rotors[m], f)
    rate = cumulative_trapezoid(moment / np.array(_I), t, axis=0, initial=0.0)
    rate = detrend(rate, axis=0)[::many]
    rate = rate + np.radians(noise) * np.sqrt(fs / 2) * rng.standard_normal(rate.shape)
    slow = np.arange(0.0, seconds, 0.01)
    return make_log(
        source="signal",
        reader="none",
        t=t[::many],
        gyro=rate,
        speed_t=slow,
        speed=speed(slow - late) + 0.1 * rng.standard_normal((len(slow), 4)),
    )


_TRUTH: Final = (2.0, 8.0, 3.0, 20.0)


@lru_cache(maxsize=2)
def _fitted(offsets: tuple[float, ...], late: float) -> tuple[float, Unbalance]:
    from crashworthy.vibration.lag import lag_search
    from crashworthy.vibration.orders import Shafts
    from crashworthy.vibration.unbalance import fit_unbalance

    log = _signal(_TRUTH, offsets, late=late)
    assert log.speed_t is not None  # noqa: S101 - the generator puts it in
    assert log.speed is not None  # noqa: S101 - the generator puts it in
    lag = lag_search(log, seconds=10.0)
    return lag.seconds, fit_unbalance(log, _frame(), Shafts.of(log.speed_t, log.speed, lag.seconds))


_APART: Final = (-9.0, -2.0, 4.0, 11.0)
_LATE: Final = 0.012


def recovered(motor: int) -> tuple[float, float]:
    """Unbalance of one motor found again, g mm."""
    return _TRUTH[motor], _fitted(_APART, _LATE)[1].motors[motor].unbalance * 1e6


def lag() -> tuple[float, float]:
    """Telemetry lag found again, ms."""
    return 12.0, _fitted(_APART, _LATE)[0] * 1e3


def equal() -> tuple[float, float]:
    """Motors that turn alike all the time: none can be told."""
    return 0.0, float(sum(m.separable for m in _fitted((0.0, 0.0, 0.0, 0.0), 0.0)[1].motors))


def pack(tau: float) -> tuple[float, float]:
    """A pack of 30 mΩ with an RC element of 12 mΩ and ``tau`` seconds, stepped in time, fitted."""
    from crashworthy.vibration.pack import pack_resistance

    rng = np.random.default_rng(5)
    fine = 0.002
    t = np.arange(0.0, 240.0, fine)
    amps = 35.0 + 20.0 * np.sin(2 * np.pi * t / 7.3) + 12.0 * np.sin(2 * np.pi * t / 1.7)
    amps += 25.0 * (np.sin(2 * np.pi * t / 13.0) > 0.8)
    slow = 0.0
    drop = np.empty_like(t)
    for k, i in enumerate(amps.tolist()):
        slow += fine / tau * (i * 0.012 - slow)
        drop[k] = slow
    volts = 25.0 - 3.2 * np.cumsum(amps) * fine / 4680.0 - 0.030 * amps - drop
    rows = slice(None, None, 10)
    seen_v = volts[rows] + 0.03 * rng.standard_normal(len(t[rows]))
    seen_i = amps[rows] + 0.4 * rng.standard_normal(len(t[rows]))
    return 30.0, pack_resistance(t[rows], seen_v, seen_i).r0 * 1e3
