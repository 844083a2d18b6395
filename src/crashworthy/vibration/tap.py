"""Tap test: tap an arm, record the ring, read its frequency and damping; and the modulus of a free bar.

Each tap's ring-down is fitted by damped exponentials (matrix pencil: Hua and Sarkar, IEEE Trans. Acoust. 38,
1990), ten of them from the samples after the knock itself. The figure is the median over the taps. A change
of frequency by one percent is a change of stiffness by two.

Bar: ASTM E1876, flexural mode of a free rectangular bar (formula from memory; checked against exact
Timoshenko bars in the evidence).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import LogError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Ring", "TapTest", "bar_modulus", "compare", "ring_down", "tap_test"]

BAND: Final = (60.0, 900.0)
"""Where an arm rings, Hz. Assumption."""

SKIP: Final = 0.006
"""Left out after the knock, s."""

POINTS: Final = 360
"""Samples of a ring that are fitted."""

EXPONENTIALS: Final = 10

MOST_TAPS: Final = 100
"""So many taps of a recording are fitted; five are asked for."""


@dataclass(frozen=True, slots=True)
class Ring:
    """One tap.

    Attributes:
        at: s.
        f: Hz.
        damping: ratio.
        level: energy of the mode over that of the rest, dB.
    """

    at: float
    f: float
    damping: float
    level: float


@dataclass(frozen=True, slots=True)
class TapTest:
    """One recording.

    Attributes:
        taps: each tap.
        f, f_spread: median frequency and robust standard deviation over the taps, Hz.
        damping, damping_spread: the same of the damping ratio.
        rate: samples a second of the recording.
    """

    taps: tuple[Ring, ...]
    f: float
    f_spread: float
    damping: float
    damping_spread: float
    rate: float

    @classmethod
    def of(cls, taps: tuple[Ring, ...], rate: float = 0.0) -> TapTest:
        """Medians over taps; damping is not told by taps whose damping is 0."""
        f = np.array([r.f for r in taps])
        z = np.array([r.damping for r in taps if r.damping > 0.0])

        def spread(x: Floats) -> float:
            return 1.4826 * float(np.median(np.abs(x - np.median(x)))) if len(x) else 0.0

        middle = float(np.median(z)) if len(z) else 0.0
        return cls(taps, float(np.median(f)), spread(f), middle, spread(z), rate)

    def summary(self) -> str:
        """One sentence."""
        few = "" if len(self.taps) >= 5 else " Fewer than five taps: tap five times, a second apart."
        return (
            f"Rings at {self.f:.1f} ± {self.f_spread:.1f} Hz with damping {100 * self.damping:.1f} ± "
            f"{100 * self.damping_spread:.1f} %, median of {len(self.taps)} taps.{few}"
        )

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "summary": self.summary(),
            "f_hz": round(self.f, 3),
            "f_spread_hz": round(self.f_spread, 3),
            "damping": round(self.damping, 5),
            "damping_spread": round(self.damping_spread, 5),
            "rate_hz": self.rate,
            "taps": [
                {
                    "at_s": round(r.at, 3),
                    "f_hz": round(r.f, 3),
                    "damping": round(r.damping, 5),
                    "level_db": round(r.level, 1),
                }
                for r in self.taps
            ],
        }


def ring_down(y: Floats, fs: float, band: tuple[float, float] = BAND) -> tuple[float, float, float] | None:
    """Frequency, damping ratio and level (dB over the rest) of the strongest mode; None when there is none.

    Args:
        y: (n,) samples from the knock on.
        fs: samples a second.
        band: where to look, Hz.
    """
    from scipy.signal import resample_poly

    down = max(int(fs / (3.2 * band[1])), 1)
    x = resample_poly(y, 1, down) if down > 1 else y
    rate = fs / down
    begin = round(SKIP * rate)
    x = x[begin : begin + POINTS]
    if len(x) < 60:
        return None
    x = x - x.mean()
    span = len(x) // 3
    hankel = np.lib.stride_tricks.sliding_window_view(x, span + 1)
    _, s, vh = np.linalg.svd(hankel, full_matrices=False)
    count = min(EXPONENTIALS, int((s > 1e-9 * s[0]).sum()))
    if count < 2:
        return None
    v = vh[:count].T
    poles = np.linalg.eigvals(np.linalg.pinv(v[:-1]) @ v[1:])
    poles = poles[np.abs(poles) > 1e-6]
    rates = np.log(poles.astype(complex)) * rate
    powers = np.exp(np.outer(np.arange(len(x)) / rate, rates.real.clip(-1e4, 200.0) + 1j * rates.imag))
    sizes, *_ = np.linalg.lstsq(powers, x.astype(complex), rcond=None)
    w = np.abs(rates)
    zeta = -rates.real / np.maximum(w, 1e-9)
    f = w / (2 * np.pi)
    keep = (rates.imag > 0) & (zeta > 0) & (zeta < 0.15) & (f >= band[0]) & (f <= band[1])
    if not keep.any():
        return None
    energy = np.array([float((2 * (powers[:, k] * sizes[k]).real ** 2).sum()) for k in range(len(f))])
    energy[~keep] = 0.0
    k = int(np.argmax(energy))
    rest = x - 2 * (powers[:, k] * sizes[k]).real
    level = 10 * np.log10(max(float((x**2).sum()), 1e-30) / max(float((rest**2).sum()), 1e-30))
    return float(f[k]), float(zeta[k]), float(level)


def _knocks(y: Floats, fs: float) -> list[int]:
    """Samples at which taps begin: the envelope leaps over eight times its median, 0.25 s apart."""
    fast = np.diff(y, prepend=y[0])
    hop = max(round(0.002 * fs), 1)
    n = len(fast) // hop
    level = np.sqrt((fast[: n * hop].reshape(n, hop) ** 2).mean(axis=1))
    over = max(8.0 * float(np.median(level)), 0.1 * float(level.max()))
    out: list[int] = []
    for k in np.flatnonzero(level > over).tolist():
        if not out or k * hop - out[-1] > 0.25 * fs:
            out.append(k * hop)
    return out


def _taps(y: Floats, fs: float, band: tuple[float, float]) -> list[Ring]:
    taps = []
    knocks = _knocks(y, fs)[:MOST_TAPS]
    for k, a in enumerate(knocks):
        stop = knocks[k + 1] if k + 1 < len(knocks) else len(y)
        got = ring_down(y[a : min(stop, a + round(0.35 * fs))], fs, band)
        if got is not None and got[2] > 1.0:
            taps.append(Ring(a / fs, *got))
    return taps


def tap_test(y: Floats, fs: float, band: tuple[float, float] = BAND) -> TapTest:
    """Find the taps of a recording and fit each.

    Raises:
        LogError: no tap rings.
    """
    from crashworthy.vibration.threads import one_thread

    with one_thread():
        taps = _taps(y, fs, band)
    if not taps:
        raise LogError(
            Problem(
                "no tap rings in it",
                "hold the quad by its middle, tap an arm's end five times, a second apart",
            )
        )
    return TapTest.of(tuple(taps), fs)


def compare(now: TapTest, first: TapTest) -> str:
    """Residual stiffness against the first recording of the same arm, and what it hints at, in words."""
    left = (now.f / first.f) ** 2
    doubt = 2.0 * left * float(np.hypot(now.f_spread / now.f, first.f_spread / first.f))
    doubt = max(doubt, 0.02)
    text = f"Stiffness {100 * left:.0f} ± {100 * doubt:.0f} % of the first recording."
    if left > 1.0 - max(2.0 * doubt, 0.05):
        return f"{text} No loss that stands out (clamping alone scatters by a percent or two)."
    if not (now.damping and first.damping):
        return f"{text} Damping was not kept with the first: look at the screws and at the arm itself."
    if now.damping > 1.5 * first.damping:
        return f"{text} Damping rose to {now.damping / first.damping:.1f} times: try the screws first."
    return f"{text} Damping is as before: look for a crack or delamination of the arm, screws second."


def bar_modulus(
    mass: float, f: float, width: float, length: float, thickness: float, nu: float = 0.3
) -> float:
    """Young's modulus of a free rectangular bar from its first flexural frequency, Pa (ASTM E1876).

    For a laminate this is the effective flexural modulus.

    Args:
        mass: kg.
        f: Hz.
        width: m.
        length: m.
        thickness: m.
        nu: Poisson's ratio.
    """
    r = thickness / length
    t1 = (
        1.0
        + 6.585 * (1.0 + 0.0752 * nu + 0.8109 * nu**2) * r**2
        - 0.868 * r**4
        - 8.340
        * (1.0 + 0.2023 * nu + 2.173 * nu**2)
        * r**4
        / (1.0 + 6.338 * (1.0 + 0.1408 * nu + 1.536 * nu**2) * r**2)
    )
    return 0.9465 * mass * f**2 / width * (length / thickness) ** 3 * t1
