"""Who calls what a slam: each pilot's grading of severities, taken out before quads are compared.

Pilot j, quad q, item k: breaks x over breaks e that the simulation expects at the severities the pilot named,

    x ~ Poisson(e c g_j t_k u_qk)   ln g ~ N(0, tau²), tau ~ half-normal(0.5)
                                    ln c ~ N(0, 1), ln t ~ N(0, 1), ln u ~ N(0, 0.5²)

c is the crew against the simulation; g is told against the crew's mean, weighed by expected breaks. g_j
over 1: things break oftener than at the grades this pilot gives, as if slams were called hits. It is what
is common to all items of a pilot (u is what a build does to one item), so it is known only as far as pilots
fly the same quads. tau stays whole on a grid; given tau the rest is a penalised Poisson regression, one
mode (log-concave), taken as normal about it (Laplace; Gelman et al., Bayesian Data Analysis, 3rd ed. 2013,
ch. 13; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import JournalError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Grading", "PilotCount", "PilotGrade", "fit_grading"]

TAU_SD: Final = 0.5
"""Of the half-normal prior of the spread between pilots, in ln (assumption)."""

CREW_SD, ITEM_SD, BUILD_SD = 1.0, 1.0, 0.5
"""Spread of ln rate over simulation: of a crew, of an item, of an item between builds (assumptions)."""

_TAUS: Final = 24


@dataclass(frozen=True, slots=True)
class PilotCount:
    """Breaks of one item on one quad under one pilot.

    Attributes:
        pilot, quad, item: who, on what, which.
        breaks: seen.
        expected: by the simulation, at the severities this pilot named.
    """

    pilot: str
    quad: str
    item: str
    breaks: int
    expected: float


@dataclass(frozen=True, slots=True)
class PilotGrade:
    """How a pilot grades.

    Attributes:
        pilot: who.
        crashes: entered.
        mix: shares of scuffs, hits and slams named.
        raw: breaks over expected breaks, all items together; None without exposure.
        factor, low, high: g, median and 5-95 %.
    """

    pilot: str
    crashes: int
    mix: tuple[float, float, float]
    raw: float | None
    factor: float
    low: float
    high: float

    def summary(self) -> str:
        """One sentence with numbers."""
        way = "more lightly" if self.factor >= 1.0 else "more severely"
        size = max(self.factor, 1.0 / self.factor)
        sure = "" if self.low > 1.0 or self.high < 1.0 else ", which may be chance"
        return (
            f"{self.pilot} grades {size:.2f} times {way} than the crew "
            f"({self.low:.2f}-{self.high:.2f}; {self.crashes} crashes){sure}"
        )


@dataclass(frozen=True, slots=True)
class Grading:
    """How the pilots of a crew grade.

    Attributes:
        pilots: most crashes first.
        tau: posterior mean of the spread between them.
        moved: largest factor by which the exposure of a quad changed, by taking the grading out.
    """

    pilots: tuple[PilotGrade, ...]
    tau: float
    moved: float = 1.0

    def factor(self, pilot: str) -> float:
        """G of a pilot; 1 for one who is not known."""
        return next((p.factor for p in self.pilots if p.pilot == pilot), 1.0)

    def summary(self) -> str:
        """One sentence with numbers."""
        if len(self.pilots) < 2:
            return "One pilot's grading has nothing to be held against."
        far = max(self.pilots, key=lambda p: abs(math.log(p.factor)))
        change = 100.0 * (self.moved - 1.0)
        return (
            f"{far.summary()}; taking the pilots' grading out moved expected breaks of a quad by "
            f"up to {change:.0f} %."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "tau": self.tau,
            "moved": self.moved,
            "pilots": [
                {**{n: getattr(p, n) for n in p.__slots__}, "mix": list(p.mix), "summary": p.summary()}
                for p in self.pilots
            ],
        }


def _regression(X: Floats, x: Floats, e: Floats, precision: Floats) -> tuple[Floats, Floats, float]:
    """Mode, covariance and log evidence, to a constant, of a Poisson regression; normal priors about 0."""
    b = np.zeros(X.shape[1])

    def value(b: Floats) -> float:
        eta = X @ b
        return float(x @ eta - e @ np.exp(eta) - 0.5 * precision @ b**2)

    now = value(b)
    for _ in range(100):
        mu = e * np.exp(X @ b)
        gradient = X.T @ (x - mu) - precision * b
        hessian = (X.T * mu) @ X + np.diag(precision)
        step = np.linalg.solve(hessian, gradient)
        size = 1.0
        while (then := value(b + size * step)) < now and size > 1e-8:
            size *= 0.5
        b, now = b + size * step, max(then, now)
        if float(np.abs(step).max()) < 1e-9:
            break
    _, logdet = np.linalg.slogdet(hessian)
    evidence = now + 0.5 * float(np.log(precision).sum()) - 0.5 * float(logdet)
    cov: Floats = np.asarray(np.linalg.inv(hessian), dtype=np.float64)
    return b, cov, evidence


def fit_grading(
    counts: Sequence[PilotCount], crashes: dict[str, tuple[int, int, int]], tau_sd: float = TAU_SD
) -> Grading:
    """Learn every pilot's factor.

    Args:
        counts: breaks by pilot, quad and item.
        crashes: (scuffs, hits, slams) that each pilot named.
        tau_sd: of the prior of the spread.

    Raises:
        JournalError: a number is negative or not finite.
    """
    if any(c.breaks < 0 or not 0.0 <= c.expected < math.inf for c in counts):
        raise JournalError(Problem("breaks and expected breaks must be 0 or more", "mend the counts"))
    rows = [c for c in counts if c.expected > 0.0]
    names = sorted(crashes, key=lambda p: (-sum(crashes[p]), p))
    if not rows or len(names) < 2:
        none = [_grade(p, crashes[p], counts, 0.0, 0.0) for p in names]
        return Grading(tuple(none), 0.0)
    items = list(dict.fromkeys(c.item for c in rows))
    builds = list(dict.fromkeys((c.quad, c.item) for c in rows))
    X = np.zeros((len(rows), len(names) + len(items) + len(builds) + 1))
    X[:, -1] = 1.0
    for i, c in enumerate(rows):
        X[i, names.index(c.pilot)] = 1.0
        X[i, len(names) + items.index(c.item)] = 1.0
        X[i, len(names) + len(items) + builds.index((c.quad, c.item))] = 1.0
    x, e = (np.array([getattr(c, n) for c in rows], dtype=np.float64) for n in ("breaks", "expected"))
    taus = (np.arange(_TAUS) + 0.5) / _TAUS * 3.0 * tau_sd
    log_w, modes, variances = [], [], []
    share = np.array([e[[c.pilot == p for c in rows]].sum() for p in names]) / e.sum()
    against = np.eye(len(names)) - share[None, :]
    for tau in taus:
        precision = np.concatenate(
            [
                np.full(len(names), tau**-2),
                np.full(len(items), ITEM_SD**-2),
                np.full(len(builds), BUILD_SD**-2),
                [CREW_SD**-2],
            ]
        )
        b, cov, evidence = _regression(X, x, e, precision)
        log_w.append(evidence - 0.5 * (tau / tau_sd) ** 2)
        modes.append(against @ b[: len(names)])
        variances.append(np.diag(against @ cov[: len(names), : len(names)] @ against.T))
    w = np.exp(np.array(log_w) - max(log_w))
    w /= w.sum()
    mean = w @ np.array(modes)
    sd = np.sqrt(w @ (np.array(variances) + (np.array(modes) - mean) ** 2))
    grades = tuple(
        _grade(p, crashes[p], counts, float(m), float(s)) for p, m, s in zip(names, mean, sd, strict=True)
    )
    return Grading(grades, float(w @ taus))


def _grade(
    pilot: str, crashes: tuple[int, int, int], counts: Sequence[PilotCount], mean: float, sd: float
) -> PilotGrade:
    own = [c for c in counts if c.pilot == pilot]
    expected, n = sum(c.expected for c in own), sum(crashes)
    scuffs, hits, slams = (k / n if n else 0.0 for k in crashes)
    return PilotGrade(
        pilot,
        n,
        (scuffs, hits, slams),
        sum(c.breaks for c in own) / expected if expected > 0.0 else None,
        math.exp(mean),
        math.exp(mean - 1.6449 * sd),
        math.exp(mean + 1.6449 * sd),
    )
