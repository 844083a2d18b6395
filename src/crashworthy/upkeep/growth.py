"""Do breaks come more rarely as a build goes on? The power-law process, and tests for a trend.

Breaks up to t: N(t) ~ Poisson(lam·t^beta); beta below 1 means they grow rarer (Crow 1974; MIL-HDBK-189, 1981,
app. C; NIST/SEMATECH e-Handbook 8.1.7.2, 8.2.3.4, 8.4.5). The clock is whatever wears: crashes, or packs of
dose. Changes of the build are known from the journal; none is searched for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from crashworthy.errors import JournalError, Problem

__all__ = [
    "ENOUGH",
    "Growth",
    "PowerLaw",
    "cramer_von_mises",
    "fit_grouped",
    "fit_power_law",
    "growth",
    "growth_mtbf",
    "laplace",
    "mil_hdbk_test",
    "reverse_arrangements",
]

ENOUGH: Final = 8
"""Breaks below which no trend is stated (assumption)."""


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """A fitted power-law process.

    Attributes:
        beta, lam: maximum likelihood; N(t) = lam·t^beta for one system.
        beta_unbiased: beta without its small-sample bias.
        events: how many were used.
        end: clock at the end of observation.
        systems: how many were watched side by side.
    """

    beta: float
    lam: float
    beta_unbiased: float
    events: int
    end: float
    systems: int = 1

    def expected(self, t: float) -> float:
        """Events of one system up to t."""
        return self.lam * math.pow(t, self.beta)

    @property
    def intensity(self) -> float:
        """Events per unit of the clock at the end, one system."""
        return self.lam * self.beta * math.pow(self.end, self.beta - 1.0)

    @property
    def between(self) -> float:
        """Clock between two events at the end (instantaneous mean time between failures)."""
        return 1.0 / self.intensity


def _checked(times: Sequence[float], end: float | None, least: int) -> tuple[list[float], float, bool]:
    t = sorted(times)
    stop = t[-1] if end is None and t else (end or 0.0)
    if len(t) < least or t[0] <= 0.0 or not math.isfinite(stop) or t[-1] > stop:
        raise JournalError(
            Problem(
                f"no trend can be drawn from {len(t)} events",
                f"give at least {least}, all after 0 and up to the end",
            )
        )
    return t, stop, end is None or t[-1] == stop


def fit_power_law(*systems: Sequence[float], end: float | None = None) -> PowerLaw:
    """Fit by maximum likelihood.

    Args:
        *systems: event times of each system; equal ones started and ended together.
        end: clock at the end of observation; the last event when None (failure-terminated).

    Raises:
        JournalError: fewer than two events, a time of 0 or less, or one after the end.
    """
    every = [t for times in systems for t in times]
    t, stop, failed_last = _checked(every, end, 2)
    logs = sum(math.log(stop / x) for x in t)
    n = len(t)
    if logs <= 0.0:
        raise JournalError(Problem("every event fell on the end", "give their times"))
    beta = n / logs
    bias = (n - 2) / n if failed_last and end is None else (n - 1) / n
    return PowerLaw(beta, n / (len(systems) * math.pow(stop, beta)), bias * beta, n, stop, len(systems))


def fit_grouped(ends: Sequence[float], counts: Sequence[int]) -> PowerLaw:
    """Fit counts in adjoining intervals that begin at 0 by maximum likelihood (MIL-HDBK-189, app. C).

    Args:
        ends: rising ends of the intervals.
        counts: events in each.

    Raises:
        JournalError: ends do not rise, or fewer than two intervals hold an event.
    """
    from scipy.optimize import brentq

    starts = [0.0, *ends[:-1]]
    rising = all(b > a for a, b in zip(starts, ends, strict=True))
    if len(ends) != len(counts) or not rising or sum(c > 0 for c in counts) < 2:
        raise JournalError(Problem("these counts show no trend", "give two or more intervals with events"))
    top = ends[-1]

    def score(beta: float) -> float:
        total = 0.0
        for a, b, n in zip(starts, ends, counts, strict=True):
            u, v = a / top, b / top
            low = math.pow(u, beta) * math.log(u) if u > 0.0 else 0.0
            gap = math.pow(v, beta) - (math.pow(u, beta) if u > 0.0 else 0.0)
            total += n * (math.pow(v, beta) * math.log(v) - low) / gap
        return total

    beta = float(brentq(score, 1e-3, 50.0, xtol=1e-13))
    n = sum(counts)
    return PowerLaw(beta, n / math.pow(top, beta), (n - 1) / n * beta, n, top)


def growth_mtbf(times: Sequence[float], end: float, probability: float = 0.8) -> tuple[float, float, float]:
    """Mean time between events at the end with its interval, the growth slope without bias.

    Crow's approximation as printed in NIST/SEMATECH e-Handbook 8.4.5.2, with 1 - slope = (r - 1)/sum ln(T/t).

    Returns:
        (mean, low, high).

    Raises:
        JournalError: fewer than three events or times out of range.
    """
    from scipy.special import ndtri

    t, stop, _ = _checked(times, end, 3)
    r = len(t)
    slope = (r - 1) / sum(math.log(stop / x) for x in t)
    mean = stop / (r * slope)
    z = float(ndtri(0.5 + probability / 2.0))
    wide = r + z * z / 4.0 + math.sqrt(r * z * z / 2.0 + z**4 / 16.0)
    tight = r - z * math.sqrt(r / 2.0)
    high = mean * r * (r - 1) / tight**2 if tight > 0.0 else math.inf
    return mean, mean * r * (r - 1) / wide**2, high


def reverse_arrangements(times: Sequence[float]) -> int:
    """Pairs of gaps of which the later is the longer; many mean improvement (NIST 8.2.3.4)."""
    t = sorted(times)
    gaps = [b - a for a, b in zip([0.0, *t[:-1]], t, strict=True)]
    return sum(gaps[j] > gaps[i] for i in range(len(gaps)) for j in range(i + 1, len(gaps)))


def mil_hdbk_test(times: Sequence[float], end: float) -> tuple[float, float]:
    """Military handbook test: 2·sum ln(T/t) is chi-squared with 2 n degrees when there is no trend.

    Returns:
        (statistic, chance of as large a one without improvement).
    """
    from scipy.special import chdtrc

    t, stop, _ = _checked(times, end, 1)
    statistic = 2.0 * sum(math.log(stop / x) for x in t)
    return statistic, float(chdtrc(2 * len(t), statistic))


def laplace(times: Sequence[float], end: float) -> float:
    """Laplace's test: a standard normal when there is no trend; negative means improvement (NIST 8.2.3.4)."""
    t, stop, _ = _checked(times, end, 1)
    return math.sqrt(12.0 * len(t)) * sum(x - stop / 2.0 for x in t) / (len(t) * stop)


def cramer_von_mises(fit: PowerLaw, times: Sequence[float]) -> float:
    """How far the times are from the fitted process (MIL-HDBK-189, app. C), time-terminated."""
    t = sorted(times)
    n = len(t)
    off = (math.pow(x / fit.end, fit.beta_unbiased) - (2 * i + 1) / (2 * n) for i, x in enumerate(t))
    return 1.0 / (12 * n) + sum(x * x for x in off)


@dataclass(frozen=True, slots=True)
class Growth:
    """Whether breaks grow rarer on one quad.

    Attributes:
        breaks: clock readings of the breaks, crashes.
        end: crashes logged.
        builds: clock readings of the changes of build.
        fit: the process, or None when there are too few breaks.
        between: (mean, low, high) crashes between breaks at the end, 80 % interval, or None.
        p_trend: chance of such a trend when nothing improves.
    """

    breaks: tuple[float, ...]
    end: float
    builds: tuple[float, ...]
    fit: PowerLaw | None
    between: tuple[float, float, float] | None
    p_trend: float

    def summary(self) -> str:
        """One sentence with numbers."""
        if self.fit is None or self.between is None:
            return (
                f"{len(self.breaks)} breaks in {self.end:.0f} crashes: too few for a trend, "
                f"{ENOUGH} are needed."
            )
        mean, low, high = self.between
        word = "rarer" if self.fit.beta_unbiased < 1.0 else "more frequent"
        sure = (
            f"{max(round(200 * min(self.p_trend, 1 - self.p_trend)), 1)} in 100 that chance alone does that"
        )
        return (
            f"Breaks grow {word}: one in {mean:.1f} crashes now ({low:.1f}-{high:.1f}), "
            f"one in {self.end / len(self.breaks):.1f} over all; {sure}."
        )

    def to_json(self) -> dict[str, object]:
        """Plain dict; clock in crashes."""
        return {
            "summary": self.summary(),
            "breaks": list(self.breaks),
            "end": self.end,
            "builds": list(self.builds),
            "beta": None if self.fit is None else self.fit.beta_unbiased,
            "between": None
            if self.between is None
            else [x if math.isfinite(x) else None for x in self.between],
            "p_trend": self.p_trend,
        }


def growth(breaks: Sequence[float], end: float, builds: Sequence[float] = ()) -> Growth:
    """Judge the trend of breaks over crashes.

    Args:
        breaks: number of the crash of each break, from 1; several breaks of one crash are spread over it.
        end: crashes logged.
        builds: number of the last crash before each change of build.
    """
    seen: dict[float, int] = {}
    for b in breaks:
        seen[b] = seen.get(b, 0) + 1
    # k breaks in one crash stand at k equal steps within it, so that no two share a moment.
    times, done = [], dict.fromkeys(seen, 0)
    for b in sorted(breaks):
        done[b] += 1
        times.append(b - 1.0 + done[b] / (seen[b] + 1.0))
    if len(times) < ENOUGH or end <= 0:
        return Growth(tuple(times), end, tuple(builds), None, None, 0.5)
    _, p = mil_hdbk_test(times, end)
    fit = fit_power_law(times, end=end)
    return Growth(tuple(times), end, tuple(builds), fit, growth_mtbf(times, end), p)
