"""Unbalance of each motor in g mm from the gyro, through the rigid body of the build.

A rotor's unbalance U (kg m) turning at ω pulls with F = U ω² (1, -j s, 0) e^{jθ} at its hub r (s = ±1 turning
sense); the moment r x F turns the quad at I⁻¹·(r x F)/(jω), so the rate is proportional to U·ω. A once-a-turn
force along the shaft T ω² (a bent blade: "track") does the same through r x z and gives no yaw. Both
unknowns of all motors are fitted to the three axes of each block at once. Valid below the arm's in-plane
bending mode, near which the figure is amplified: hence *apparent* unbalance.

Grade: G = e·Ω in mm/s with e = U/m (ISO 21940-11:2016, 4; same relation as ISO 1940-1).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.quantities import GRAM_MM
from crashworthy.vibration.orders import (
    BLOCK,
    HANN_LOSS,
    Baseband,
    Shafts,
    baseband,
    block_sums,
    residual_noise,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.airframe import Airframe
    from crashworthy.vibration.log import FlightLog

    Floats = NDArray[np.float64]
    Complexes = NDArray[np.complex128]

__all__ = [
    "GRADES",
    "INFLATION",
    "REFERENCE_HZ",
    "MotorUnbalance",
    "Unbalance",
    "fit_unbalance",
    "grade",
    "grade_value",
    "permissible",
    "signatures",
]

GRADES: Final = (0.4, 1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 630.0, 1600.0, 4000.0)
"""Balance quality grades, mm/s (ISO 21940-11:2016, table 1)."""

INFLATION: Final = 4.0
"""A block counts for a motor while the other motors raise its variance at most so much (error x 2)."""

MODEL_ERROR: Final = 0.01
"""Share of a motor's own unbalance that is added to its error for what blocks do not show: the telemetry's
angle within a block, filters. Measured on simulated flights at 4000 samples/s; labelled assumption."""

CROSSTALK: Final = 0.004
"""Share of the largest unbalance of all motors that is added to each motor's error; as above."""

FEWEST: Final = 6
"""Fewest blocks from which a motor's unbalance is told."""

REFERENCE_HZ: Final = 300.0
"""Speed at which track forces are stated, Hz (18 000 rpm)."""


def signatures(frame: Airframe) -> Complexes:
    """Rate over U·ω of each motor: (m, 2, 3) complex, 1/(kg m); [:, 0] unbalance, [:, 1] track.

    Source: F = U ω², moment r x F, Euler's equation linearised about rest.
    """
    turn = np.linalg.inv(frame.inertia) / 1j
    out = np.empty((len(frame.spin), 2, 3), dtype=np.complex128)
    for m, (r, s) in enumerate(zip(frame.rotors, frame.spin, strict=True)):
        out[m, 0] = turn @ np.cross(r, np.array([1.0, -1j * s, 0.0]))
        out[m, 1] = turn @ np.cross(r, np.array([0.0, 0.0, 1.0]))
    return out


def permissible(grade_mm_s: float, mass: float, rpm: float) -> float:
    """Permissible residual unbalance, kg m: G·m/Ω (ISO 21940-11:2016, 6.2)."""
    return grade_mm_s * 1e-3 * mass / (rpm * 2 * np.pi / 60.0)


def grade_value(unbalance: float, mass: float, rpm: float) -> float:
    """G = e·Ω in mm/s of an unbalance in kg m on a rotor of ``mass`` kg."""
    return unbalance / mass * (rpm * 2 * np.pi / 60.0) * 1e3


def grade(value: float) -> str:
    """The grade that covers G = ``value`` mm/s ("G250"), or "over G4000"."""
    for step in GRADES:
        if value <= step:
            return f"G{step:g}"
    return f"over G{GRADES[-1]:g}"


@dataclass(frozen=True, slots=True)
class MotorUnbalance:
    """One motor.

    Attributes:
        unbalance: apparent unbalance, kg m; nan when not separable.
        error: its standard error, kg m.
        track: once-a-turn force along the shaft at 300 Hz, N; nan when it was not fitted.
        track_error: its standard error, N.
        blocks: how many blocks could tell it.
        offered: how many blocks there were.
        condition: median condition number of the joint fit over all blocks.
        inflation: median rise of the standard error through the other motors, over all blocks.
        separable: whether at least six blocks could tell it.
        model: "two" (unbalance and track), "one" (unbalance alone, track taken as zero) or "".
        speed: median speed, Hz.
        clouds: (blocks, 2) real and imaginary part, kg m, one row a block that counted.
    """

    unbalance: float
    error: float
    track: float
    track_error: float
    blocks: int
    offered: int
    condition: float
    inflation: float
    separable: bool
    model: str
    speed: float
    clouds: Floats


@dataclass(frozen=True, slots=True)
class Unbalance:
    """All motors of a flight.

    Attributes:
        motors: in the order of the log.
        seconds: length of a block, s.
    """

    motors: tuple[MotorUnbalance, ...]
    seconds: float


@dataclass(slots=True)
class _Fits:
    """What the blocks gave, one row a block: value, variance and inflation of both unknowns of each motor."""

    value: Complexes
    variance: Floats
    inflation: Floats
    condition: Floats


def _fit(band: Baseband, seconds: float, sign: Complexes) -> tuple[_Fits, Floats]:
    """Joint fit of all motors' unknowns in every block, the three axes weighted by their noise."""
    m, k, _ = sign.shape
    start, nodes = band.blocks(seconds)
    if not len(start):
        empty = np.empty((0, m, k))
        return _Fits(empty.astype(np.complex128), empty, empty, np.empty(0)), np.empty((0, m))
    scale = np.linalg.norm(sign, axis=2)
    value, variance, inflation, condition, f = _fit_blocks(band, start, nodes, sign / scale[:, :, None])
    return _Fits(value / scale, variance / scale**2, inflation, condition), f


def _fit_blocks(
    band: Baseband, start: NDArray[np.int64], nodes: int, sign: Complexes
) -> tuple[Complexes, Floats, Floats, Floats, Floats]:
    m, k, _ = sign.shape
    sums = block_sums(band, start, nodes, band.near(1.0), weighted=True)
    sigma2 = np.ones((len(start), 3))
    z = np.zeros((len(start), m, k), dtype=np.complex128)
    inverse = np.zeros((len(start), m * k, m * k), dtype=np.complex128)
    condition = np.ones(len(start))
    alone = np.ones((len(start), m, k))
    for last in (False, True):
        weight = np.einsum("mka,nla,ba->bmknl", sign.conj(), sign, 1 / sigma2, optimize=True)
        normal = (weight * sums.gram[:, :, None, :, None]).reshape(-1, m * k, m * k)
        side = np.einsum("mka,bma,ba->bmk", sign.conj(), sums.right, 1 / sigma2, optimize=True)
        d = 1 / np.sqrt(np.einsum("buu->bu", normal).real)
        eigen, vectors = np.linalg.eigh(normal * d[:, :, None] * d[:, None, :])
        eigen = np.maximum(eigen, 1e-12 * eigen[:, -1:])
        inverse = (vectors / eigen[:, None, :]) @ vectors.conj().transpose(0, 2, 1)
        inverse = inverse * d[:, :, None] * d[:, None, :]
        z = (inverse @ side.reshape(-1, m * k, 1)).reshape(-1, m, k)
        if last:
            # The weights are one step behind their variance; both come from nearly the same residual.
            own = np.array([normal[:, k * i : k * (i + 1), k * i : k * (i + 1)] for i in range(m)])
            alone = np.einsum("mbkk->bmk", np.linalg.pinv(own, hermitian=True)).real
            condition = eigen[:, -1] / eigen[:, 0]
            break
        c = np.einsum("bmk,mka->bma", z, sign)
        sigma2 = np.maximum(residual_noise(band, sums, c, 2.0 * m * k / 3.0).mean(axis=1), 1e-16)
    full = np.einsum("buu->bu", inverse).real.reshape(-1, m, k)
    return z, 2.0 * HANN_LOSS * full, full / np.maximum(alone, 1e-300), condition, sums.f


def _size(value: Complexes, variance: Floats) -> tuple[float, float]:
    """Debiased magnitude and its standard error from blocks with complex scatter.

    Phases do not hold over a flight (the telemetry's angle drifts), so |u|² less its variance is averaged,
    blocks weighted by 1/(variance + typical square error); squares beyond five robust deviations are drawn
    in. The error is that of a jackknife over runs of four overlapping blocks.
    """
    square = np.abs(value) ** 2 - variance
    mid = float(np.median(square))
    spread = 1.4826 * float(np.median(np.abs(square - mid)))
    if spread > 0:
        square = np.clip(square, mid - 5 * spread, mid + 5 * spread)
    level = max(mid, float(np.median(variance)))
    weight = 1.0 / (variance**2 + 2.0 * level * variance + (0.1 * level) ** 2)
    mean = float(weight @ square / weight.sum())
    groups = [slice(i, i + 4) for i in range(0, len(square), 4)]
    if len(groups) > 2:
        left = np.array(
            [
                (weight @ square - weight[g] @ square[g]) / max(weight.sum() - weight[g].sum(), 1e-300)
                for g in groups
            ]
        )
        g = len(groups)
        error2 = float(np.sqrt((g - 1) / g * ((left - left.mean()) ** 2).sum()))
    else:
        error2 = float(square.std() / np.sqrt(max(len(square) / 2, 1)))
    floor2 = float(
        np.sqrt(1.0 / np.sum(1.0 / (variance**2 + 2.0 * max(mean, 0.0) * variance + 1e-300)) * 2.0)
    )
    error2 = max(error2, floor2)
    size = float(np.sqrt(max(mean, 0.0)))
    return size, error2 / (2.0 * max(size, float(np.sqrt(error2))))


def fit_unbalance(
    log: FlightLog, frame: Airframe, shafts: Shafts, seconds: float = BLOCK, band: Baseband | None = None
) -> Unbalance:
    """Fit unbalance and track of every motor.

    A motor whose two unknowns cannot be parted from the others' is fitted again with unbalance alone; if that
    fails too it is not separable.

    Args:
        log: with gyro and as many speeds as the airframe has rotors.
        frame: inertia and rotors in the order of the log's motors.
        shafts: from the log's speeds, lag taken off.
        seconds: length of a block.
        band: the log brought down at order 1, when that is done already.
    """
    band = band or baseband(log, shafts, [1.0])
    sign = signatures(frame)
    two, f = _fit(band, seconds, sign)
    m = len(frame.spin)
    enough = [int((two.inflation[:, i, 0] <= INFLATION).sum()) >= FEWEST for i in range(m)]
    one = two if all(enough) or not len(f) else _fit(band, seconds, sign[:, :1])[0]
    out: list[MotorUnbalance] = []
    parted: list[float] = []
    for i in range(m):
        fits, model = (two, "two") if enough[i] else (one, "one")
        good = fits.inflation[:, i, 0] <= INFLATION
        n = int(good.sum())
        separable = n >= FEWEST
        size = error = track = track_error = float("nan")
        if separable:
            size, error = _size(fits.value[good, i, 0], fits.variance[good, i, 0])
            if model == "two":
                force = (2 * np.pi * REFERENCE_HZ) ** 2
                track, track_error = _size(fits.value[good, i, 1], fits.variance[good, i, 1])
                track, track_error = track * force, track_error * force
        cloud = fits.value[good, i, 0]
        parted.append(float(np.sqrt(np.median(fits.inflation[good, i, 0]))) if n else float("nan"))
        out.append(
            MotorUnbalance(
                unbalance=size,
                error=error,
                track=track,
                track_error=track_error,
                blocks=n,
                offered=len(f),
                condition=float(np.median(fits.condition)) if len(f) else float("nan"),
                inflation=float(np.sqrt(np.median(fits.inflation[:, i, 0]))) if len(f) else float("nan"),
                separable=separable,
                model=model if separable else "",
                speed=float(np.median(f[:, i])) if len(f) else float("nan"),
                clouds=np.column_stack([cloud.real, cloud.imag]),
            )
        )
    largest = max((u.unbalance for u in out if u.separable), default=0.0)
    return Unbalance(
        tuple(
            replace(
                u,
                error=float(
                    np.hypot(np.hypot(u.error, MODEL_ERROR * u.unbalance), CROSSTALK * p**2 * largest)
                ),
            )
            for u, p in zip(out, parted, strict=True)
        ),
        seconds,
    )


def in_g_mm(value: float) -> float:
    """Kg m as g mm."""
    return value / GRAM_MM
