"""Do intervals that learn cost less? Simulated quads with three truths, fixed interval and oracle beside.

Each quad flies 400 packs. Its arm screws loosen by a Weibull law of their own; a check finds and tightens
all. Cost: minutes of checks, and h minutes for every screw-pack flown loose. Fixed: every 4 packs. Oracle:
the best interval for the quad's true law. Run: python bench/self_tuning.py [quads]
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable

import numpy as np

from crashworthy.upkeep.due import learned_interval
from crashworthy.upkeep.history import CheckRow, GroupHistory
from crashworthy.upkeep.loosening import calibrate, weibull_optimum
from crashworthy.upkeep.priors import load_priors

PACKS, SCREWS = 400, 8
TRUTHS = {"as the prior says": 1.0, "three times worse": 1 / 3, "four times better": 4.0}


def season(
    rng: np.random.Generator, eta: float, k: float, h: float, policy: Callable[[list[CheckRow]], float]
) -> tuple[float, float]:
    """Cost in minutes a pack, and the last interval, of one quad."""
    prior = load_priors().group("arm")
    rows: list[CheckRow] = []
    flown, cost, tau = 0, 0.0, policy(rows)
    while flown < PACKS:
        packs = min(max(round(tau), 1), PACKS - flown)
        life = rng.weibull(k, SCREWS) * eta
        cost += prior.check_minutes + h * float(np.maximum(packs - life, 0.0).sum())
        rows.append(CheckRow(0.0, float(packs), SCREWS, int((life <= packs).sum())))
        flown += packs
        tau = policy(rows)
    return cost / PACKS, tau


def main(quads: int) -> None:
    """Print one line for each truth."""
    priors = load_priors()
    prior = priors.group("arm")
    found = calibrate(prior)
    print("truth                  fixed 4   learned    oracle   learned/oracle   last interval")
    for name, factor in TRUTHS.items():
        rng = np.random.Generator(np.random.Philox(11))
        totals, last = np.zeros(3), 0.0
        start = time.perf_counter()
        for quad in range(quads):
            eta = found.eta_median * factor * math.exp(0.5 * rng.standard_normal())
            k = prior.k_median * math.exp(prior.sd_ln_k * rng.standard_normal())
            best = weibull_optimum(eta, k, prior.check_minutes, SCREWS * found.loose_minutes)
            best = min(max(best, prior.tau_min), prior.tau_max)

            def learned(rows: list[CheckRow]) -> float:
                group = GroupHistory("arm", checks=tuple(rows))
                return learned_interval(prior, group, SCREWS, priors.due)[1].tau

            for i, policy in enumerate((lambda _: 4.0, learned, lambda _, best=best: best)):
                # The same luck for all three policies.
                luck = np.random.Generator(np.random.Philox(1000 + quad))
                cost, tau = season(luck, eta, k, found.loose_minutes, policy)
                totals[i] += cost / quads
                last += tau / quads if i == 1 else 0.0
        fixed, own, oracle = totals
        took = time.perf_counter() - start
        costs = f"{fixed:7.3f}   {own:7.3f}   {oracle:7.3f}   {own / oracle:14.3f}"
        print(f"{name:20}   {costs}   {last:13.1f}   ({took:.0f} s)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
