"""What a trip of N packs will use up: spares by the break rates, screws by what checks find.

Claimed: each item's count has its own distribution and the number of crashes is its expectation. Simulated:
whole trips are drawn, so that one bad day uses up several items at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.quantities import MM
from crashworthy.upkeep.breakage import BreakRate, break_rates, crash_rate, severity_counts, severity_mix
from crashworthy.upkeep.due import group_history, learned_interval
from crashworthy.upkeep.kernel import cumulative_hazard
from crashworthy.upkeep.spares import Spare, spare_items
from crashworthy.upkeep.theta import negative_binomial_pmf

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Joint, Quad
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.priors import Priors

    Floats = NDArray[np.float64]

__all__ = ["Demand", "ScrewUse", "Trip", "screw_use", "trip_of"]


@dataclass(frozen=True, slots=True)
class ScrewUse:
    """Screws of one size that a trip needs.

    Attributes:
        item: "screw_m3_12" for an M3 screw of 12 mm.
        label: in words.
        mass: of one, kg.
        mean: expected pieces.
        variance: of that expectation, from what is not known about the screws.
    """

    item: str
    label: str
    mass: float
    mean: float
    variance: float


@dataclass(frozen=True, slots=True, eq=False)
class Demand:
    """What a trip may need of one item.

    Attributes:
        item, label, kind: of the spare; kind "screw" for screws.
        mass: of one, kg.
        cdf: (n + 1,) probability that 0..n are enough, n where it passes "enough" of the priors.
        mean: expected pieces.
        why: in words with numbers.
        rate: break rate behind it, or None for screws.
        screws: screw use behind it, or None for parts.
    """

    item: str
    label: str
    kind: str
    mass: float
    cdf: Floats
    mean: float
    why: str
    rate: BreakRate | None
    screws: ScrewUse | None


@dataclass(frozen=True, slots=True, eq=False)
class Trip:
    """A trip and all that it may need.

    Attributes:
        packs: packs to be flown.
        crashes: expected crashes.
        crash_shape, crash_rate: Gamma posterior of crashes a pack.
        mix_counts: (3,) Dirichlet posterior of the severities.
        demands: one per item that may be needed at all.
    """

    packs: int
    crashes: float
    crash_shape: float
    crash_rate: float
    mix_counts: Floats
    demands: tuple[Demand, ...]

    def simulate(self, trips: int, seed: int) -> NDArray[np.int64]:
        """Draw whole trips.

        Each draws crashes a pack, the mix of severities and every theta from its posterior, then crashes,
        then breaks part by part.

        Args:
            trips: how many.
            seed: of the Philox stream.

        Returns:
            (trips, demands) pieces used.
        """
        rng = np.random.Generator(np.random.Philox(seed))
        rates = rng.gamma(self.crash_shape, 1.0 / self.crash_rate, trips)
        crashes = rng.poisson(rates * self.packs)
        by_severity = rng.multinomial(crashes, rng.dirichlet(self.mix_counts, trips))
        used = np.zeros((trips, len(self.demands)), dtype=np.int64)
        for column, demand in enumerate(self.demands):
            if demand.rate is not None:
                theta = demand.rate.theta.sample(rng, trips)
                p = -np.expm1(-theta[:, None, None] * demand.rate.hazards)
                used[:, column] = rng.binomial(by_severity[:, None, :], p).sum(axis=(1, 2))
            elif demand.screws is not None:
                shape, rate = _gamma_of(demand.screws)
                used[:, column] = rng.poisson(rng.gamma(shape, 1.0 / rate, trips))
        return used


def _gamma_of(use: ScrewUse) -> tuple[float, float]:
    """Shape and rate of the Gamma with the mean and variance of the expectation."""
    variance = max(use.variance, 1e-12 * use.mean**2)
    return use.mean**2 / variance, use.mean / variance


def screw_use(quad: Quad, history: QuadHistory, priors: Priors, packs: int) -> tuple[ScrewUse, ...]:
    """Screws a trip needs, by size: checks in the trip · screws · P(loose) · share that are gone.

    Args:
        quad: its joint groups, and screw masses.
        history: checks so far.
        priors: loosening, and the share of loose screws that need a new one.
        packs: packs of the trip.
    """
    rate = 1.0
    if history.packs > 0 and history.dose > 0:
        rate = min(max(history.dose / history.packs, priors.dose.low), priors.dose.high)
    sizes: dict[str, list[tuple[Joint, float, float]]] = {}
    for joint in quad.joints:
        if joint.count == 0:
            continue
        posterior, span = learned_interval(
            priors.group(joint.upkeep), group_history(history, joint, priors), joint.count, priors.due
        )
        step = cumulative_hazard(span.tau, posterior.ln_eta[:, None], posterior.k[None, :])
        F = -np.expm1(-step)
        factor = priors.kit.missing_share * packs * rate / span.tau * joint.count
        mean = float(np.sum(posterior.weights * F))
        spread = float(np.sum(posterior.weights * (F - mean) ** 2))
        size = f"screw_{joint.thread.lower()}_{joint.screw_length / MM:g}"
        sizes.setdefault(size, []).append((joint, factor * mean, factor**2 * spread))
    return tuple(
        ScrewUse(
            item=size,
            label=f"{rows[0][0].thread} x {rows[0][0].screw_length / MM:g} screw",
            mass=_screw_mass(quad, rows[0][0]),
            mean=sum(r[1] for r in rows),
            variance=sum(r[2] for r in rows),
        )
        for size, rows in sizes.items()
    )


def _screw_mass(quad: Quad, joint: Joint) -> float:
    """Mass of one screw of a joint, kg, from the quad; from its size in steel when the quad has none."""
    parts = [p for p in quad.parts if p.kind == "screw" and p.joint == joint.name]
    total = sum(p.mass for p in parts)
    if total > 0:
        return total / joint.count
    d = float(joint.thread.lstrip("Mm")) * MM
    # Shank plus a head 1.5 d wide and d high (ISO 4762 proportions, from memory), steel 7850 kg/m³.
    return 7850.0 * np.pi / 4.0 * (d**2 * joint.screw_length + (1.5 * d) ** 2 * d)


def trip_of(
    quad: Quad,
    history: QuadHistory,
    hazards: Mapping[str, Sequence[float]],
    priors: Priors,
    packs: int,
) -> Trip:
    """Work out what a trip may need; items that will surely not be needed are left out.

    Raises:
        JournalError: a hazard or a check is impossible.
    """
    shape, rate = crash_rate(history, priors.breakage)
    crashes = shape / rate * packs
    mix = severity_mix(history, priors.breakage)
    spares = {s.item: s for s in spare_items(quad.parts)}
    rates = break_rates(history, hazards, priors, {s.item: s.parts for s in spares.values()})
    demands = [_part_demand(spares[r.item], r, crashes * mix, packs) for r in rates]
    demands += [_screw_demand(use, packs) for use in screw_use(quad, history, priors, packs) if use.mean > 0]
    prior = priors.breakage
    assumed = np.array([prior.mix_scuff, prior.mix_hit, prior.mix_slam])
    return Trip(
        packs=packs,
        crashes=crashes,
        crash_shape=shape,
        crash_rate=rate,
        mix_counts=prior.mix_worth * assumed / assumed.sum() + severity_counts(history),
        demands=tuple(d for d in (_cut(d, priors.kit.enough) for d in demands) if len(d.cdf) > 1),
    )


def _cut(demand: Demand, enough: float) -> Demand:
    top = int(np.searchsorted(demand.cdf, enough))
    cdf = demand.cdf[: top + 1]
    return Demand(
        demand.item,
        demand.label,
        demand.kind,
        demand.mass,
        cdf,
        demand.mean,
        demand.why,
        demand.rate,
        demand.screws,
    )


def _part_demand(spare: Spare, rate: BreakRate, crashes: Floats, packs: int) -> Demand:
    mean = rate.theta.mean_breaks(rate.hazards, crashes)
    top = int(mean + 12.0 * np.sqrt(mean * (1.0 + mean / rate.theta.shape)) + 12.0)
    cdf = np.minimum(np.cumsum(rate.theta.demand(rate.hazards, crashes, top)), 1.0)
    why = f"{mean:.1f} expected in {packs} packs and {crashes.sum():.0f} crashes"
    if rate.crashes:
        why += f"; so far {rate.breaks} broken where the simulation expected {rate.expected:.1f}"
    return Demand(spare.item, spare.label, spare.kind, spare.mass, cdf, mean, why, rate, None)


def _screw_demand(use: ScrewUse, packs: int) -> Demand:
    shape, rate = _gamma_of(use)
    top = int(use.mean + 12.0 * np.sqrt(use.mean + use.variance) + 12.0)
    cdf = np.minimum(np.cumsum(negative_binomial_pmf(shape, rate, 1.0, top)), 1.0)
    why = f"{use.mean:.1f} expected to be gone or spoilt in {packs} packs"
    return Demand(use.item, use.label, "screw", use.mass, cdf, use.mean, why, None, use)
