"""Intervals hold the truth as often as they say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom

from crashworthy.upkeep.compare import share_interval
from crashworthy.upkeep.history import CheckRow
from crashworthy.upkeep.loosening import calibrate, fit
from crashworthy.upkeep.pooling import pool_counts
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.theta import gamma_theta


@pytest.mark.parametrize(
    ("p", "exact", "jeffreys"),
    [(0.0033, 0.982, 0.982), (0.0067, 0.983, 0.983), (0.02, 0.964, 0.964), (0.1, 0.966, 0.946)],
)
def test_intervals_of_a_share_cover_it(p, exact, jeffreys):
    """Over all outcomes of 300 crashes, summed exactly, the coverage is what a separate calculation gave."""
    for expected, kind in ((exact, False), (jeffreys, True)):
        ends = [share_interval(k, 300, jeffreys=kind) for k in range(90)]
        inside = np.array([low <= p <= high for low, high in ends])
        assert float(binom.pmf(np.arange(90), 300, p) @ inside) == pytest.approx(expected, abs=1e-3)


def test_break_rates_cover_what_they_were_drawn_from():
    """Theta drawn from its prior lies in the 90 % interval of its posterior nine times in ten."""
    rng = np.random.Generator(np.random.Philox(11))
    theta = rng.gamma(2.0, 0.5, 2000)
    inside = 0
    for t, breaks in zip(theta, rng.poisson(theta * 6.0), strict=True):
        low, high = gamma_theta(2.0, float(breaks), 6.0).interval(0.9)
        inside += low <= t <= high
    assert inside / 2000 == pytest.approx(0.9, abs=0.02)


def test_screw_lives_cover_what_they_were_drawn_from():
    """Characteristic lives drawn from the prior lie in the 90 % interval after ten simulated checks."""
    prior = load_priors().group("arm")
    median = calibrate(prior).eta_median
    rng = np.random.Generator(np.random.Philox(12))
    inside = 0
    for _ in range(150):
        eta = median * math.exp(prior.sd_ln_eta * rng.standard_normal())
        k = prior.k_median * math.exp(prior.sd_ln_k * rng.standard_normal())
        loose = (rng.weibull(k, (10, 8)) * eta <= 5.0).sum(axis=1)
        low, _, high = fit(prior, [CheckRow(0.0, 5.0, 8, int(m)) for m in loose]).eta_interval(0.9)
        inside += low <= eta <= high
    assert inside / 150 == pytest.approx(0.9, abs=0.06)


def test_pooled_rates_cover_their_quads():
    """Rates of a simulated crew lie in their pooled 90 % intervals about nine times in ten."""
    rng = np.random.Generator(np.random.Philox(13))
    inside, quads = 0, 0
    for _ in range(25):
        theta = math.exp(rng.standard_normal()) * rng.gamma(3.0, 1 / 3.0, 5)
        exposure = rng.uniform(1.0, 15.0, 5)
        pool = pool_counts(rng.poisson(theta * exposure), exposure)
        inside += int(((pool.low <= theta) & (theta <= pool.high)).sum())
        quads += 5
    assert inside / quads == pytest.approx(0.9, abs=0.07)
