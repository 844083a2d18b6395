"""A vibrating quad in flight, simulated from physics: the truth behind the demo log and the tests. Invented.

Nothing is shared with the analysis: torques are built as rotating forces in time and integrated at four times
the log's rate; the analysis works with phasors at the logged samples.

Model, body axes x forward, y left, z up:

* Four motors follow speed histories of their own (common throttle moves, single corrections, punches)
  through a first-order lag. The logged command is what the battery's momentary voltage makes of it.
* Unbalance U turns with the rotor: in-plane force U·(ω² radial + ω̇ tangential) at the hub, moment r x F.
* A bent blade ("track") pushes along the shaft once a turn, blade passing ``blades`` times a turn; both,
  and a rough broadband thrust noise, reach the core through the arm's bending mode (transmissibility of a
  damped spring, e.g. Inman, Engineering Vibration, ch. 2, from memory).
* Body rates are the integral of I⁻¹·moment (Euler's equation without ω x Iω, 2e-4 of the line at 300 Hz),
  less the slow part (attitude control, a high pass at 12 Hz), with the pilot's manoeuvres put in.
* The gyro has white noise, a second-order low pass, a full scale and a clock with jitter.
* Speed telemetry comes in updates of its own rate, late by ``speed_lag``, rounded.
* What can be wrong beyond props is in ``demo.faults``.
* The battery is V = OCV(charge) - R0·I - RC relaxation; current is the cube of speed plus electronics.

Magnitudes of noise, throttle and battery are assumptions, chosen to look like a 5-inch freestyle quad.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.demo.faults import Blow, Faults, bearing_pushes, mount, rattle, tones

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad

    Floats = NDArray[np.float64]

__all__ = ["DEMO_UNBALANCE", "FlightTruth", "SimulatedFlight", "demo_flight", "simulate_flight"]

DEMO_UNBALANCE: Final = (2.0, 2.8, 14.0, 2.4)
"""Unbalance of the demo flight by corner (front left, front right, rear left, rear right), g mm."""

_TURNS: Final = {"in": (-1, 1, 1, -1), "out": (1, -1, -1, 1)}
_OVERSAMPLE: Final = 4
_OCV: Final = ((0.0, 3.30), (0.05, 3.55), (0.2, 3.70), (0.4, 3.78), (0.6, 3.90), (0.8, 4.03), (1.0, 4.19))


@dataclass(frozen=True, slots=True)
class FlightTruth:
    """What was put in.

    Attributes:
        unbalance_g_mm: (4,) by corner.
        track_n: (4,) once-a-turn thrust change at 300 turns a second by corner, N.
        speed_hz: (n, 4) true speed at the gyro's samples.
        lag: delay of the speed telemetry, s.
        r0, r1, tau: of the pack, Ω, Ω, s.
        arm_hz, arm_damping: bending mode of each arm.
        noise: white noise density of the gyro, rad/s/√Hz.
        low_pass: cut-off of the gyro, Hz.
        spin: (4,) turning sense about z up.
    """

    unbalance_g_mm: tuple[float, ...]
    track_n: tuple[float, ...]
    speed_hz: Floats
    lag: float
    r0: float
    r1: float
    tau: float
    arm_hz: tuple[float, ...]
    arm_damping: float
    noise: float
    low_pass: float
    spin: tuple[int, ...]
    faults: Faults


@dataclass(frozen=True, slots=True)
class SimulatedFlight:
    """A simulated flight: columns by header, and the truth.

    Attributes:
        columns: (n,) each, by CSV header; slow quantities are nan between their updates.
        truth: what was put in.
    """

    columns: dict[str, Floats]
    truth: FlightTruth

    def write_csv(self, path: str | Path) -> Path:
        """Write the columns as CSV with as few digits as the sensors have; nan is left blank."""
        path = Path(path)
        formats = [_FORMATS[name.rstrip("1234")] for name in self.columns]
        texts = [
            [form(v) if v == v else "" for v in column.tolist()]
            for form, column in zip(formats, self.columns.values(), strict=True)
        ]
        with path.open("w", encoding="utf-8", newline="\n") as file:
            file.write("# simulated, invented: no real quad flew this\n# axes: FLU\n")
            file.write(",".join(self.columns) + "\n")
            file.writelines(",".join(row) + "\n" for row in zip(*texts, strict=True))
        return path


_FORMATS: Final = {
    "time_us": "{:.0f}".format,
    "gyro_x [deg/s]": "{:.2f}".format,
    "gyro_y [deg/s]": "{:.2f}".format,
    "gyro_z [deg/s]": "{:.2f}".format,
    "acc_x [m/s2]": "{:.3f}".format,
    "acc_y [m/s2]": "{:.3f}".format,
    "acc_z [m/s2]": "{:.3f}".format,
    "rpm_": "{:.0f}".format,
    "command_": "{:.3f}".format,
    "volts [V]": "{:.3f}".format,
    "amps [A]": "{:.2f}".format,
}


def _speeds(rng: np.random.Generator, t: Floats, base: float, sweep: float, spread: float) -> Floats:
    """Target speed of each motor, turns a second: throttle moves, single corrections and a few punches."""
    common = np.full(len(t), base)
    for period in (5.1, 2.3, 1.1):
        common += sweep * period / 8.5 * np.sin(2 * np.pi * (t / period + rng.random()))
    for _ in range(max(1, int(t[-1] / 8.0))):
        at, wide = rng.uniform(0.0, t[-1]), rng.uniform(0.4, 1.0)
        common += 0.9 * sweep * np.exp(-(((t - at) / wide) ** 2))
    out = np.empty((len(t), 4))
    for m in range(4):
        own: Floats = np.full(len(t), spread * (m - 1.5))
        own = own + spread * 0.8 * np.sin(2 * np.pi * (t * rng.uniform(0.2, 0.5) + rng.random()))
        own = own + spread * 0.4 * np.sin(2 * np.pi * (t * rng.uniform(0.8, 1.6) + rng.random()))
        out[:, m] = common + own
    return np.clip(out, 60.0, 620.0)


def _battery(
    t: Floats, current: Floats, cells: int, capacity: float, r0: float, r1: float, tau: float
) -> Floats:
    """Terminal voltage under a current."""
    from scipy.signal import lfilter

    dt = t[1] - t[0]
    charge = 0.98 - np.cumsum(current) * dt / capacity
    x, y = np.array(_OCV).T
    a = np.exp(-dt / tau)
    relaxing = lfilter([1.0 - a], [1.0, -a], current)
    out: Floats = cells * np.interp(charge, x, y) - r0 * current - r1 * relaxing
    return out


def simulate_flight(
    quad: Quad,
    seconds: float = 20.0,
    seed: int = 1,
    unbalance_g_mm: tuple[float, float, float, float] = DEMO_UNBALANCE,
    fs: float = 4000.0,
    *,
    track_n: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    log_order: tuple[str, ...] = ("fl", "fr", "rl", "rr"),
    spin: str = "in",
    blades: int = 3,
    base_hz: float = 290.0,
    sweep_hz: float = 80.0,
    spread_hz: float = 8.0,
    blade_n: float = 0.3,
    rough_n: float = 3.0,
    arm_hz: tuple[float, float, float, float] = (228.0, 232.0, 230.0, 234.0),
    arm_damping: float = 0.025,
    noise_dps: float = 0.008,
    low_pass_hz: float = 0.0,
    full_scale_dps: float = 2000.0,
    jitter: float = 0.01,
    speed_rate: float = 200.0,
    speed_lag: float = 0.008,
    speed_noise_hz: float = 0.3,
    power_rate: float = 50.0,
    cells: int = 6,
    capacity_ah: float = 1.3,
    r0: float = 0.030,
    r1: float = 0.012,
    tau: float = 6.0,
    faults: Faults | None = None,
    accelerometer: bool = False,
    acc_scale: float = 156.9,
) -> SimulatedFlight:
    """Fly a quad and log it.

    Args:
        quad: whose inertia, centre of gravity and motor places are used.
        seconds: how long.
        seed: of the random numbers; the same seed gives the same flight.
        unbalance_g_mm: by corner.
        fs: gyro samples a second.
        track_n: once-a-turn thrust change of each motor at 300 turns a second, N.
        log_order: corner of each motor column of the log; unbalance and track stay by corner.
        spin: "in" or "out".
        blades: of each prop.
        base_hz: mean speed, turns a second.
        sweep_hz: size of the throttle moves, turns a second.
        spread_hz: distance between the motors' speeds, turns a second.
        blade_n: blade-passing thrust at 300 turns a second, N.
        arm_hz: bending mode of each arm.
        arm_damping: its damping ratio.
        rough_n: rough broadband force of each rotor along the shaft at 300 turns a second, N rms over all
            frequencies of the simulation; 0.6 of it in each direction across.
        noise_dps: gyro white noise density, deg/s/√Hz.
        low_pass_hz: cut-off of the gyro's second-order low pass; 0.45 fs when 0.
        full_scale_dps: of the gyro.
        jitter: standard deviation of the clock over the step.
        speed_rate: speed telemetry, updates a second.
        speed_lag: how late it is, s.
        speed_noise_hz: its noise, turns a second.
        power_rate: voltage and current updates a second.
        cells: of the pack, in series.
        capacity_ah: of the pack.
        r0: its instant resistance, Ω.
        r1: its slow resistance, Ω.
        tau: time of the slow one, s.
        faults: what is wrong with it.
        accelerometer: log acceleration too, at the gyro's rate.
        acc_scale: full scale of the accelerometer, m/s².
    """
    from scipy.signal import butter, lfilter, sosfilt

    rng = np.random.default_rng(seed)
    faults = faults or Faults()
    turns = _TURNS[spin]
    fine = fs * _OVERSAMPLE
    n = round(seconds * fs)
    t = np.arange(n * _OVERSAMPLE) / fine
    slow = np.arange(0.0, seconds + 0.02, 0.002)
    a = np.exp(-0.002 / 0.030)
    target = _speeds(rng, slow, base_hz, sweep_hz, spread_hz)
    # Thrust goes with the square of speed: what blades have lost, speed makes up.
    target = target / np.sqrt(1.0 - np.array(faults.wear))
    followed = lfilter([1 - a], [1, -a], target, axis=0, zi=target[:1] * a)[0]
    inertia = np.asarray(quad.mass_properties.inertia, dtype=np.float64)
    cog = np.asarray(quad.mass_properties.cog)
    arms = {arm.corner: arm for arm in quad.arms}
    moment = np.zeros((len(t), 3))
    force = np.zeros((len(t), 3))
    for m in range(4):
        hz = np.interp(t, slow, followed[:, m])
        omega = 2 * np.pi * hz
        angle = rng.uniform(0, 2 * np.pi) + np.cumsum(omega) / fine
        alpha = np.gradient(omega, 1 / fine)
        x, y, z = np.asarray(quad.parts[arms[m].prop].centre) - cog
        s = turns[m]
        u = unbalance_g_mm[m] * 1e-6
        cos, sin = np.cos(angle), np.sin(angle)
        fx = u * (omega**2 * cos + alpha * sin)
        fy = s * u * (omega**2 * sin - alpha * cos)
        gain = (hz / 300.0) ** 2
        lead = rng.uniform(0, 2 * np.pi)
        axial = gain * (track_n[m] * np.cos(angle + lead) + blade_n * np.cos(blades * angle + lead))
        axial += rough_n * gain * rng.standard_normal(len(t))
        fx += 0.6 * rough_n * gain * rng.standard_normal(len(t))
        fy += 0.6 * rough_n * gain * rng.standard_normal(len(t))
        if faults.bearing[m]:
            axial += bearing_pushes(np.cumsum(hz) / fine, faults.bearing[m], fine, rng)
        if faults.gap[m]:
            fx, fy = rattle(fx, faults.gap[m], fine), rattle(fy, faults.gap[m], fine)
            axial = rattle(axial, faults.gap[m], fine)
        axial = _through_arm(axial, arm_hz[m], arm_damping, fine)
        force += np.column_stack([fx, fy, axial])
        moment[:, 0] += y * axial - z * fy
        moment[:, 1] += z * fx - x * axial
        moment[:, 2] += x * fy - y * fx
    rates = np.cumsum(moment, axis=0) / fine @ np.linalg.inv(inertia).T
    rates = sosfilt(butter(1, 12.0, "high", fs=fine, output="sos"), rates, axis=0)
    rates += _manoeuvres(rng, t)
    if faults.stack_hz:
        rates = mount(rates, faults.stack_hz, faults.stack_damping, fine)
    for blow in faults.blows:
        rates += _jump(t, blow, rng)[:, None] * _direction(rng)
        force += (quad.mass_properties.mass * _push(t, blow))[:, None] * _direction(rng)
    cut = low_pass_hz or 0.45 * fs
    rates = sosfilt(butter(2, cut, fs=fine, output="sos"), rates, axis=0)
    clock = np.arange(n) / fs + np.clip(rng.standard_normal(n) * jitter, -0.4, 0.4) / fs
    clock = np.clip(clock, 0.0, t[-1])
    gyro = np.column_stack([np.interp(clock, t, rates[:, k]) for k in range(3)])
    gyro = np.degrees(gyro) + faults.floor * noise_dps * np.sqrt(fs / 2) * rng.standard_normal(gyro.shape)
    gyro += tones(clock, faults.lines, rng)
    gyro = np.clip(np.round(gyro / 0.061) * 0.061, -full_scale_dps, full_scale_dps)
    columns: dict[str, Floats] = {"time_us": np.round(clock * 1e6)}
    for k, axis in enumerate("xyz"):
        columns[f"gyro_{axis} [deg/s]"] = gyro[:, k]
    if accelerometer:
        felt = sosfilt(butter(2, cut, fs=fine, output="sos"), force / quad.mass_properties.mass, axis=0)
        acc = np.column_stack([np.interp(clock, t, felt[:, k]) for k in range(3)])
        acc[:, 2] += 9.81 * (followed.mean() / 300.0) ** 2
        acc += 1.5e-3 * np.sqrt(fs / 2) * rng.standard_normal(acc.shape)
        acc = np.clip(acc, -acc_scale, acc_scale)
        for k, axis in enumerate("xyz"):
            columns[f"acc_{axis} [m/s2]"] = acc[:, k]
    true = np.column_stack([np.interp(clock, slow, followed[:, m]) for m in range(4)])

    rows = _every(fs, speed_rate, n)
    seen = np.column_stack([np.interp(clock[rows] - speed_lag, slow, followed[:, m]) for m in range(4)])
    seen += speed_noise_hz * rng.standard_normal(seen.shape)
    current = 0.6 + (followed**3).sum(axis=1) * (32.0 / (4 * 300.0**3))
    volts = _battery(slow, current, cells, capacity_ah * 3600.0, r0, r1, tau)
    motors = [("fl", "fr", "rl", "rr").index(c) for c in log_order]
    for k, m in enumerate(motors):
        columns[f"rpm_{k + 1}"] = _blank(n, rows, np.round(seen[:, m] * 6.0) * 10.0)
    for k, m in enumerate(motors):
        # Full command turns an unloaded motor 34 times a second for each volt (assumption).
        need = np.clip(target[:, m] / (34.0 * volts), 0.0, 1.0) ** 2
        columns[f"command_{k + 1}"] = _blank(n, rows, np.interp(clock[rows], slow, need))
    rows = _every(fs, power_rate, n)
    v = np.interp(clock[rows], slow, volts) + 0.02 * rng.standard_normal(len(rows))
    i = np.interp(clock[rows], slow, current) + 0.3 * rng.standard_normal(len(rows))
    columns["volts [V]"] = _blank(n, rows, v)
    columns["amps [A]"] = _blank(n, rows, i)
    truth = FlightTruth(
        tuple(unbalance_g_mm),
        tuple(track_n),
        true,
        speed_lag,
        r0,
        r1,
        tau,
        tuple(arm_hz),
        arm_damping,
        float(np.radians(noise_dps)),
        cut,
        turns,
        faults,
    )
    return SimulatedFlight(columns, truth)


def _direction(rng: np.random.Generator) -> Floats:
    d = rng.standard_normal(3)
    out: Floats = d / np.linalg.norm(d)
    return out


def _push(t: Floats, blow: Blow) -> Floats:
    """Half-sine acceleration of a crash, m/s²."""
    u = (t - blow.at) / blow.lasts
    shape = np.where((u > 0) & (u < 1), np.sin(np.pi * np.clip(u, 0, 1)), 0.0)
    return shape * blow.speed * np.pi / (2 * blow.lasts)


def _jump(t: Floats, blow: Blow, rng: np.random.Generator) -> Floats:
    """Rates after a crash: a jump that the attitude control brings back within a quarter second, rad/s."""
    u = np.clip((t - blow.at) / blow.lasts, 0.0, 1.0)
    back = np.exp(-np.maximum(t - blow.at - blow.lasts, 0.0) / rng.uniform(0.15, 0.3))
    return blow.rate * 0.5 * (1 - np.cos(np.pi * u)) * back


def _through_arm(force: Floats, hz: float, damping: float, fs: float) -> Floats:
    """Force at the root of a damped spring-mass arm: (2ζω s + ω²) / (s² + 2ζω s + ω²)."""
    from scipy.signal import bilinear, lfilter

    # Prewarped, so that the mode stands at its frequency in the sampled filter too.
    w = 2 * fs * np.tan(np.pi * hz / fs)
    b, a = bilinear([2 * damping * w, w * w], [1.0, 2 * damping * w, w * w], fs)
    out: Floats = lfilter(b, a, force)
    return out


def _manoeuvres(rng: np.random.Generator, t: Floats) -> Floats:
    """Slow body rates that the pilot asks for, rad/s."""
    out = np.zeros((len(t), 3))
    for k, size in enumerate((2.0, 1.5, 1.0)):
        for _ in range(3):
            out[:, k] += size / 2 * np.sin(2 * np.pi * (t * rng.uniform(0.1, 0.9) + rng.random()))
    return out


def _every(fs: float, updates: float, n: int) -> NDArray[np.int64]:
    """Rows at which a slow quantity is updated."""
    return np.unique(np.floor(np.arange(0, n, max(fs / updates, 1.0))).astype(np.int64))


def _blank(n: int, rows: NDArray[np.int64], values: Floats) -> Floats:
    out = np.full(n, np.nan)
    out[rows] = values
    return out


def demo_flight(quad: Quad, seconds: float = 20.0, seed: int = 20) -> SimulatedFlight:
    """The demo's flight: the rear left prop has lost a chip and one blade is bent. Invented."""
    motors = getattr(quad.sheet, "motors", None)
    return simulate_flight(
        quad,
        seconds,
        seed,
        track_n=(0.02, 0.02, 0.25, 0.02),
        log_order=tuple(getattr(motors, "log_order", ("fl", "fr", "rl", "rr"))),
        spin=str(getattr(motors, "spin", "in")),
        blades=int(getattr(getattr(quad.sheet, "props", None), "blades", 3) or 3),
    )
