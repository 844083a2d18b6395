"""Resonances of the arms from the density with orders left out: frequency, damping, and how sure they are.

Rough thrust reaches the body through the arm's bending mode, so the rate about a diagonal has the density

    S(f) = c + f^-2 (b + Σ a_k (1 + (2ζr)²) / ((1 - r²)² + (2ζr)²)),   r = f / f_k

a damped spring's transmissibility (e.g. Inman, Engineering Vibration, ch. 2, from memory) over what goes past
the arms (b) and the gyro's noise (c). Fitted by Whittle's likelihood (Whittle, Ark. Mat. 2, 1953): each bin
scatters about S like the mean of as many exponentials as segments stand behind it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["BAND", "ArmMode", "arm_mode"]

BAND: Final = (110.0, 420.0)
"""Where arm modes are looked for, Hz. Assumption: carbon arms of 5-inch quads."""

FEWEST: Final = 6.0
"""Fewest segments behind a bin that counts."""

OVERLAP: Final = 0.9
"""Share of half-overlapping Hann segments that is independent."""

SPLIT: Final = 30.0
"""Nats by which two modes must beat one before both are told: healthy pairs reach 21 to 44 on simulated
flights, a tenth less stiffness 65, a fifth 330. It is the change from the quad's own flights that counts."""


@dataclass(frozen=True, slots=True)
class ArmMode:
    """Resonance of one pair of arms.

    Attributes:
        f: frequency of the single mode that fits best, Hz.
        f_error: its standard error, Hz.
        damping: ratio.
        damping_error: its standard error.
        gain: nats by which a peak beats none.
        pair: (lower, upper) frequencies when two modes fit better by ``SPLIT`` nats, else empty.
        pair_gain: nats by which two beat one.
        bins: how many bins counted.
    """

    f: float
    f_error: float
    damping: float
    damping_error: float
    gain: float
    pair: tuple[float, ...]
    pair_gain: float
    bins: int

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "f_hz": round(self.f, 2),
            "f_error_hz": round(self.f_error, 3),
            "damping": round(self.damping, 4),
            "damping_error": round(self.damping_error, 4),
            "gain_nats": round(self.gain, 1),
            "pair_hz": [round(x, 2) for x in self.pair],
            "pair_gain_nats": round(self.pair_gain, 1),
            "bins": self.bins,
        }


def _density(p: Floats, f: Floats, modes: int) -> tuple[Floats, Floats]:
    """Density and its derivative by each parameter: ln c, ln b, then ln a, ln f0, ln ζ of each mode."""
    grad = np.empty((len(p), len(f)))
    grad[0] = np.exp(p[0])
    grad[1] = np.exp(p[1]) / f**2
    s = grad[0] + grad[1]
    for k in range(modes):
        a, f0, z = np.exp(p[2 + 3 * k : 5 + 3 * k])
        r2 = (f / f0) ** 2
        damp = 4.0 * z * z * r2
        top, low = 1.0 + damp, (1.0 - r2) ** 2 + damp
        part = a * top / low / f**2
        s = s + part
        grad[2 + 3 * k] = part
        # r² falls by 2 r² with ln f0; damping enters both above and below.
        grad[3 + 3 * k] = part * (-2.0 * damp / top - (4.0 * (1.0 - r2) * r2 - 2.0 * damp) / low)
        grad[4 + 3 * k] = part * (2.0 * damp / top - 2.0 * damp / low)
    return s, grad


def _fit(
    f: Floats, power: Floats, n: Floats, start: Floats, modes: int, most: int = 60
) -> tuple[Floats, float]:
    """Parameters and Whittle's loss by damped Fisher scoring (Levenberg 1944, Marquardt 1963)."""
    level = float(np.log(np.median(power * f**2)))
    low = np.concatenate([start[:2] - 14.0] + [[level - 12.0, np.log(BAND[0]), np.log(0.004)]] * modes)
    high = np.concatenate([start[:2] + 5.0] + [[level + 5.0, np.log(BAND[1]), np.log(0.25)]] * modes)
    p = np.clip(start, low, high)
    s, grad = _density(p, f, modes)
    cost = float((n * (np.log(s) + power / s)).sum())
    damping = 1e-2
    for _ in range(most):
        slope = grad / s
        push = slope @ (n * (power / s - 1.0))
        fisher = (slope * n) @ slope.T
        diagonal = np.diag(fisher) + 1e-9 * float(n.sum())
        step = np.linalg.solve(fisher + np.diag(damping * diagonal), push)
        tried = np.clip(p + np.clip(step, -0.7, 0.7), low, high)
        s2, grad2 = _density(tried, f, modes)
        cost2 = float((n * (np.log(s2) + power / s2)).sum())
        if cost2 < cost:
            gain, p, s, grad, cost = cost - cost2, tried, s2, grad2, cost2
            damping = max(damping / 5.0, 1e-9)
            if gain < 1e-3:
                break
        else:
            damping *= 8.0
            if damping > 1e8:
                break
    return p, cost


def arm_mode(f: Floats, density: Floats, seen: Floats, around: float = 0.0) -> ArmMode | None:
    """Fit one and two modes; None when too few bins are open or no peak stands out.

    Args:
        f: (k,) Hz.
        density: (k,) masked density about one diagonal, (rad/s)²/Hz.
        seen: (k,) segments behind each bin.
        around: begin the search here, Hz; at the highest peak when 0.
    """
    use = (f >= BAND[0]) & (f <= BAND[1]) & (seen >= FEWEST) & (density > 0)
    if use.sum() < 20:
        return None
    f, density, n = f[use], density[use], seen[use] * OVERLAP
    scale = float(np.median(density))
    power = density / scale
    weighted = power * f**2
    smooth = np.convolve(weighted, np.ones(3) / 3.0, "same")
    peak = around or float(f[1:-1][np.argmax(smooth[1:-1])])
    base = np.array([np.log(0.1), np.log(0.5 * np.quantile(weighted, 0.2))])
    empty = _fit(f, power, n, base, 0)[1]
    best: tuple[Floats, float] | None = None
    for guess in (peak, 160.0, 210.0, 250.0, 310.0):
        start = np.concatenate([base, [base[1], np.log(guess), np.log(0.03)]])
        got = _fit(f, power, n, start, 1, 15)
        best = got if best is None or got[1] < best[1] else best
    assert best is not None  # noqa: S101 - the loop ran
    one, cost = _fit(f, power, n, best[0], 1)
    s, grad = _density(one, f, 1)
    slope = grad / s
    cover = np.linalg.pinv(slope * n @ slope.T)
    f0, zeta = float(np.exp(one[3])), float(np.exp(one[4]))
    gain = empty - cost
    if gain < 10.0 or not BAND[0] * 1.02 < f0 < BAND[1] * 0.98:
        return None
    pair: tuple[float, ...] = ()
    pair_gain = 0.0
    for apart in (0.03, 0.08):
        start = np.concatenate([one, one[2:]])
        start[3], start[6] = start[3] - apart, start[6] + apart / 3.0
        start[2] -= 0.7
        start[5] -= 0.7
        start[4] = start[7] = np.log(max(0.7 * zeta, 0.005))
        two, cost2 = _fit(f, power, n, start, 2)
        if cost - cost2 > pair_gain:
            pair_gain = cost - cost2
            pair = tuple(sorted((float(np.exp(two[3])), float(np.exp(two[6])))))
    if pair_gain < SPLIT or pair[1] - pair[0] < 0.5:
        pair = ()
    # Blocks of one throttle move hang together: the scatter between flights is about twice Whittle's.
    return ArmMode(
        f0,
        2.0 * f0 * float(np.sqrt(cover[3, 3])),
        zeta,
        2.0 * zeta * float(np.sqrt(cover[4, 4])),
        gain,
        pair,
        pair_gain,
        int(use.sum()),
    )
