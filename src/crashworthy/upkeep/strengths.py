"""Strengths learned from the journal: the crash test predicts each logged crash, its outcome corrects.

A logged crash i says severity, obstacle and part; the simulated crashes C_i that fit it (``alike``) are the
distribution of its loads. With delta the shift of ln S50 of all modes of a kind of part, parts p of that
kind, y what broke:

    L_i(delta) = mean over j in C_i of  prod_p  P_jp^y (1 - P_jp)^(1 - y)
    P_jp       = 1 - (1 - floor) prod over modes of Phi(-(ln L - ln S50 - delta) / beta)

Parts of a kind are taken together draw by draw, since it is the same draw that struck one corner and spared
the others. Survivals count as much as breaks. With lognormal loads this is the closed form of
``impact.learn.learn_strength``. Quads of one fleet share delta up to a build effect N(0, tau). Only load over
strength is learned: see ``IDENTIFIABLE``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.strength.capacity import Capacity
    from crashworthy.strength.correction import Correction
    from crashworthy.upkeep.alike import Matcher
    from crashworthy.upkeep.crash_loads import CrashLoads
    from crashworthy.upkeep.history import CrashRow

    Floats = NDArray[np.float64]

__all__ = ["GRID", "IDENTIFIABLE", "TAU", "Curve", "Shift", "curves", "pooled_shift", "spreads"]

GRID: Final[tuple[float, ...]] = tuple(np.linspace(-1.8, 1.8, 121).tolist())
"""Nodes of delta, ln of a factor: 1/6 to 6 times the tabled strength."""

TAU: Final = 0.15
"""Standard deviation of ln S50 of one kind between builds of a fleet (assumption)."""

FAR: Final = 4.5
"""Standard deviations below every strength of the grid at which a load is taken as harmless (4e-6)."""

IDENTIFIABLE: Final = (
    "breaks teach load over strength only: if every load of the model were twice too high, every learned "
    "strength would be twice too high as well and all break chances the same; newtons and newton metres are "
    "model values until a bench test says otherwise"
)
"""What can be learned from breaks, and what cannot."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """What the crashes of one quad say of one kind.

    Attributes:
        kind: of the parts.
        loglik: (grid,) log likelihood of delta.
        crashes: logged crashes behind it.
        breaks: parts of the kind that broke in them.
        loaded: part-crashes in which the part was loaded at all, as simulated.
        expected: breaks the tabled strengths expect.
    """

    kind: str
    loglik: Floats
    crashes: int
    breaks: int
    loaded: float
    expected: float


class _Kind:
    """Chances of one kind over the grid, draw by draw."""

    def __init__(self, loads: CrashLoads, modes: Sequence[Capacity], floor: float) -> None:
        self.grid = np.array(GRID)
        n = len(loads.arrays["shock"])
        self.whole = np.zeros((len(self.grid), n))  # log of all parts surviving
        self.alone: dict[str, tuple[NDArray[np.int64], Floats]] = {}
        self.tabled = np.zeros(n)
        self.loaded = np.zeros(n)
        self.floor = floor
        for part in dict.fromkeys(m.part for m in modes):
            own = [m for m in modes if m.part == part]
            columns, log_s = self._survival(loads, own)
            self.whole += np.log1p(-floor)
            self.whole[:, columns] += log_s
            self.alone[loads.names[part]] = (columns, log_s)
            middle = log_s[len(self.grid) // 2]
            self.tabled[columns] += -np.expm1(middle)
            self.loaded += loads.ratio(part) > 0.0

    def _survival(self, loads: CrashLoads, modes: Sequence[Capacity]) -> tuple[NDArray[np.int64], Floats]:
        """Draws that may break the part at any delta, and its log survival there, (grid, draws)."""
        from scipy.special import log_ndtr

        with np.errstate(divide="ignore"):
            zs = [(np.log(loads.load(m) / m.median), m.beta) for m in modes]
        near = np.zeros(len(zs[0][0]), dtype=bool)
        for z, beta in zs:
            near |= z > self.grid[0] - FAR * beta
        columns = np.flatnonzero(near)
        total = np.zeros((len(self.grid), len(columns)))
        for z, beta in zs:
            x = -(z[columns][None, :] - self.grid[:, None]) / beta
            total += log_ndtr(np.minimum(x, 40.0))
        return columns, total

    def broke(self, name: str, draws: NDArray[np.int64]) -> Floats:
        """Ln P/(1 - P) of one part in some draws, (grid, draws)."""
        columns, log_s = self.alone[name]
        mine = np.full((len(self.grid), len(draws)), np.log1p(-self.floor))
        at = np.searchsorted(columns, draws)
        found = (
            (at < len(columns)) & (columns[np.minimum(at, max(len(columns) - 1, 0))] == draws)
            if len(columns)
            else np.zeros(len(draws), dtype=bool)
        )
        mine[:, found] += log_s[:, at[found]]
        return np.asarray(np.log(-np.expm1(mine)) - mine, dtype=np.float64)


def curves(
    loads: CrashLoads,
    kinds: Sequence[str],
    crashes: Sequence[CrashRow],
    matcher: Matcher,
    floor: float = 1e-4,
) -> dict[str, Curve]:
    """Log likelihoods of every kind that can break, over ``GRID``.

    Args:
        loads: a campaign, with the tabled strengths.
        kinds: kind of each part, by its index.
        crashes: logged; only those of this very build.
        matcher: over the same campaign.
        floor: chance of a break in one crash that no simulated crash shows.
    """
    found: dict[str, Curve] = {}
    alike = matcher.all(crashes)
    for kind in dict.fromkeys(kinds[c.part] for c in loads.capacities):
        modes = [c for c in loads.capacities if kinds[c.part] == kind]
        table = _Kind(loads, modes, floor)
        known: dict[tuple[object, ...], tuple[Floats, float, float]] = {}
        loglik, breaks, loaded, expected = np.zeros(len(GRID)), 0, 0.0, 0.0
        for crash, like in zip(crashes, alike, strict=True):
            broken = tuple(sorted({b for b in crash.broke if b in table.alone}))
            key = (crash.severity, crash.obstacle, crash.hit, broken)
            if key not in known:
                log_p = table.whole[:, like.draws]
                for name in broken:
                    log_p = log_p + table.broke(name, like.draws)
                top = log_p.max(axis=1, keepdims=True)
                mean = np.log(np.exp(log_p - top).mean(axis=1)) + top[:, 0]
                known[key] = (
                    mean,
                    float(table.loaded[like.draws].mean()),
                    float(table.tabled[like.draws].mean()),
                )
            curve, hits, chance = known[key]
            loglik += curve
            breaks += len(broken)
            loaded += hits
            expected += chance
        found[kind] = Curve(kind, loglik, len(crashes), breaks, loaded, expected)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Shift:
    """What is believed of delta of one kind on one quad.

    Attributes:
        kind: of the parts.
        weights: (grid,) posterior, sums to 1.
        median, low, high: of the factor exp(delta) on the tabled strength, 5-95 %.
        sd: of delta.
    """

    kind: str
    weights: Floats
    median: float
    low: float
    high: float
    sd: float

    def correction(self, crashes: int) -> Correction:
        """For ``strength.correction``."""
        from crashworthy.strength.correction import Correction

        return Correction(self.median, self.sd, crashes)


def _shift(kind: str, log_w: Floats) -> Shift:
    grid = np.array(GRID)
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    # Trapezoids, so that a quantile falls between nodes.
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (w[1:] + w[:-1]))])
    low, middle, high = np.exp(np.interp((0.05, 0.5, 0.95), cumulative / cumulative[-1], grid))
    mean = float(w @ grid)
    return Shift(kind, w, float(middle), float(low), float(high), float(np.sqrt(w @ (grid - mean) ** 2)))


def pooled_shift(
    kind: str,
    spread: float,
    own: Curve | None = None,
    others: Sequence[Curve] = (),
    tau: float = TAU,
) -> Shift:
    """Posterior of delta on one quad.

    delta = common + build, common ~ N(0, spread² - tau²), build ~ N(0, tau²): with no other quad the prior is
    N(0, spread²).

    Args:
        kind: of the parts.
        spread: standard deviation of ln S50 beforehand.
        own: what this quad's crashes say; None leaves them out.
        others: what other quads' say.
        tau: spread between builds.
    """
    grid = np.array(GRID)
    between = min(tau, 0.99 * spread)
    step = -0.5 * ((grid[:, None] - grid[None, :]) / between) ** 2
    common = -0.5 * grid**2 / (spread**2 - between**2)
    for curve in others:
        common = common + _log_mix(step, curve.loglik)
    log_w = _log_mix(step, common)
    if own is not None:
        log_w = log_w + own.loglik
    return _shift(kind, log_w)


def _log_mix(step: Floats, log_f: Floats) -> Floats:
    """Ln of the sum over the grid of exp(step + f): f spread by the build effect."""
    total = step + log_f[None, :]
    top = total.max(axis=1, keepdims=True)
    mixed: Floats = np.log(np.exp(total - top).sum(axis=1)) + top[:, 0]
    return mixed


def spreads(modes: Sequence[Capacity], kinds: Sequence[str]) -> Mapping[str, float]:
    """Standard deviation of ln S50 of each kind beforehand: the widest of its modes."""
    found: dict[str, float] = {}
    for mode in modes:
        found[kinds[mode.part]] = max(mode.spread, found.get(kinds[mode.part], 0.0))
    return found
