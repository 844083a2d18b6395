"""Paired crashes joined with the journal: what a change saves in packs to come, with all that is not sure.

The crash engine says which share of the breaks a change takes away; the journal says how many there are. In
100 packs a change saves of one kind of part

    100 · c · L(theta) · D / B,   L = sum over severities s of m_s · sum over parts of 1 - exp(-theta·e_s)

with c crashes a pack (Gamma posterior), m the mix of severities (Dirichlet posterior), theta the breaks over
simulated breaks (posterior of ``breakage``, with the hazards e that it was held against), B the simulated
breaks of the build as it is and D their paired difference, both weighed by m and under one opinion of the
strengths. So the *level* is the journal's alone: it is counted once, whichever strengths the crashes were run
with, and the doubt about strengths widens only the share. Each draw takes all of these at once.

Sampling error: the covariance of D - (D/B)·B crash by crash, of all changes and kinds, within severities and
weighed by the mix (ratio of means, first order). Of a kind that the journal knows nothing of, breaks are the
simulated ones times the prior's theta.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.impact.tally import OPINIONS
from crashworthy.upkeep.breakage import crash_rate, severity_counts
from crashworthy.upkeep.theta import gamma_theta

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.impact.tally import Tally
    from crashworthy.upkeep.breakage import BreakRate
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.priors import Priors
    from crashworthy.upkeep.theta import Theta

    Floats = NDArray[np.float64]

__all__ = ["Joined", "Lived", "join", "lived_of"]

_MIDDLE: Final = len(OPINIONS) // 2
_TINY: Final = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Lived:
    """What a journal says of one quad, as posteriors.

    Attributes:
        packs, crashes, breaks: flown, logged and counted.
        shape, rate: Gamma posterior of crashes a pack.
        mix: (3,) Dirichlet posterior of scuff, hit and slam.
        thetas: (hazards it was held against (parts, 3), posterior of theta) of each item, by kind.
        unknown: theta of a kind that the journal does not know.
        floor: hazard of a part that no simulated crash breaks.
    """

    packs: int
    crashes: int
    breaks: int
    shape: float
    rate: float
    mix: Floats
    thetas: Mapping[str, Sequence[tuple[Floats, Theta]]]
    unknown: Theta
    floor: float = 0.0

    def summary(self) -> str:
        """One sentence with numbers."""
        if not self.packs:
            return "No pack is in the journal yet: crashes a pack and breaks are what is assumed beforehand."
        return (
            f"{self.packs} packs, {self.crashes} crashes and {self.breaks} breaks in the journal: "
            f"{self.shape / self.rate:.2f} crashes a pack."
        )


def lived_of(
    history: QuadHistory, rates: Sequence[BreakRate], kinds: Mapping[str, str], priors: Priors
) -> Lived:
    """Take the posteriors together.

    Args:
        history: of the quad.
        rates: how often its items break.
        kinds: kind of part by item.
        priors: crashes a pack and mix of severities assumed beforehand.
    """
    prior = priors.breakage
    shape, rate = crash_rate(history, prior)
    assumed = np.array([prior.mix_scuff, prior.mix_hit, prior.mix_slam])
    thetas: dict[str, list[tuple[Floats, Theta]]] = {}
    for r in rates:
        thetas.setdefault(kinds.get(r.item, r.item), []).append((r.hazards, r.theta))
    return Lived(
        packs=history.packs,
        crashes=len(history.crashes),
        breaks=sum(r.breaks for r in rates),
        shape=shape,
        rate=rate,
        mix=prior.mix_worth * assumed / assumed.sum() + severity_counts(history),
        thetas=thetas,
        unknown=gamma_theta(prior.prior_breaks, 0.0, 0.0),
        floor=prior.hazard_floor,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Joined:
    """Joint draws.

    Attributes:
        crashes: (draws,) crashes a pack.
        saved: (draws, changes, kinds) breaks saved in one crash.
        level: (kinds,) mean of how many times as often as simulated here a kind breaks.
    """

    crashes: Floats
    saved: Floats
    level: Floats


def join(
    lived: Lived,
    kinds: Sequence[str],
    base: Tally,
    breaks: Floats,
    saved: Floats,
    good: NDArray[np.bool_],
    opinion: NDArray[np.int64],
    seed: int,
) -> Joined:
    """Draw from the journal's posteriors and from what the crashes leave open, together.

    Args:
        lived: the journal's word.
        kinds: of parts, as the second axis of ``saved``.
        base: the build as it is.
        breaks: (kinds, opinions, n) its breaks in each crash.
        saved: (changes, kinds, opinions, n) breaks that each change takes away, crash by crash.
        good: which crashes of ``base`` the n are.
        opinion: (draws, kinds) which opinion of the strengths each draw takes.
        seed: of the draws.
    """
    draws, width = len(opinion), len(kinds)
    rng = np.random.default_rng([seed, 2])
    crashes = rng.gamma(lived.shape, 1.0 / lived.rate, draws)
    mix = rng.dirichlet(lived.mix, draws)
    middle = lived.mix / lived.mix.sum()
    shock = base.batch.shock[good].astype(np.float64)
    grade = np.searchsorted(np.quantile(shock, (1 / 3, 2 / 3)), shock)
    groups = [np.flatnonzero(grade == s) for s in range(3)]
    groups = [g if len(g) else np.arange(len(grade)) for g in groups]
    # (3, changes, kinds, opinions) and (3, kinds, opinions): means within a severity.
    by_grade = np.array([saved[..., g].mean(axis=-1) for g in groups])
    at_base = np.array([breaks[..., g].mean(axis=-1) for g in groups])
    floors = lived.floor * np.array([max(base.counts.get(kind, 1), 1) for kind in kinds])
    at_base = np.maximum(at_base, floors[None, :, None])
    error = _noise(saved, breaks, by_grade, at_base, groups, middle, rng, draws)
    out = np.empty((draws, saved.shape[0], width))
    scale = np.empty((draws, width))
    for k, kind in enumerate(kinds):
        theta = None if lived.thetas.get(kind) else lived.unknown.sample(rng, draws)
        here = np.einsum("ds,sd->d", mix, at_base[:, k][:, opinion[:, k]])
        now = mix @ at_base[:, k, _MIDDLE]
        level = now * theta if theta is not None else _level(lived.thetas[kind], mix, rng, draws)
        scale[:, k] = level / np.maximum(now, _TINY)
        picked = by_grade[:, :, k, :][:, :, opinion[:, k]]  # (3, changes, draws)
        out[:, :, k] = np.einsum("ds,sjd->dj", mix, picked) * (level / np.maximum(here, _TINY))[:, None]
    out += error * scale[:, None, :]
    return Joined(crashes, out, scale.mean(axis=0))


def _level(
    items: Sequence[tuple[Floats, Theta]], mix: Floats, rng: np.random.Generator, draws: int
) -> Floats:
    """(draws,) breaks of a kind in one crash, as the journal says."""
    total = np.zeros(draws)
    for hazards, posterior in items:
        theta = posterior.sample(rng, draws)
        total += (mix * -np.expm1(-theta[:, None, None] * hazards).sum(axis=1)).sum(axis=1)
    return total


def _noise(
    saved: Floats,
    breaks: Floats,
    by_grade: Floats,
    at_base: Floats,
    groups: Sequence[NDArray[np.intp]],
    mix: Floats,
    rng: np.random.Generator,
    draws: int,
) -> Floats:
    """(draws, changes, kinds) sampling error of what is saved, at the middle opinion and simulated level."""
    changes, width = saved.shape[:2]
    share = np.tensordot(mix, by_grade[..., _MIDDLE], 1)
    share = share / np.maximum(mix @ at_base[..., _MIDDLE], _TINY)
    rest = saved[:, :, _MIDDLE, :] - share[:, :, None] * breaks[None, :, _MIDDLE, :]
    flat = rest.reshape(changes * width, -1)
    total = np.zeros((len(flat), len(flat)))
    for part, g in zip(mix, groups, strict=True):
        if len(g) > 1:
            total += part**2 * np.atleast_2d(np.cov(flat[:, g])) / len(g)
    size, turn = np.linalg.eigh(total)
    normal = rng.standard_normal((draws, len(flat)))
    error: Floats = normal @ (turn * np.sqrt(np.maximum(size, 0.0))).T
    return error.reshape(draws, changes, width)
