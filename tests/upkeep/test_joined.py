"""Savings in packs to come: the journal's posterior joined with the paired crashes, with honest intervals."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from crashworthy.build.assemble import load
from crashworthy.errors import ScenarioError
from crashworthy.impact.tally import OPINIONS
from crashworthy.upkeep.improve import improve
from crashworthy.upkeep.joined import Lived, join, lived_of
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.ranking import InPacks
from crashworthy.upkeep.theta import gamma_theta

N, DRAWS = 900, 3000
SHOCK = np.linspace(1.0, 2.0, N)


def toy(chance, keep=0.5):
    """One arm that breaks with ``chance`` by opinion, and a change that leaves ``keep`` of it."""
    arm = np.repeat(np.asarray(chance, dtype=float)[:, None], N, axis=1)
    batch = SimpleNamespace(shock=SHOCK, parts=(("arm_fl", "arm", "arm"),))
    base = SimpleNamespace(batch=batch, parts={"arm_fl": arm}, counts={"arm": 1})
    return base, arm[None], ((1.0 - keep) * arm)[None, None]


def drawn(lived, chance, keep=0.5, seed=1):
    """Breaks saved in a pack, (draws,)."""
    base, breaks, saved = toy(chance, keep)
    opinion = np.random.default_rng(seed).integers(0, len(OPINIONS), (DRAWS, 1))
    joined = join(lived, ("arm",), base, breaks, saved, np.ones(N, dtype=bool), opinion, seed)
    return joined.crashes * joined.saved[:, 0, 0]


def lived_with(packs, crashes, breaks, expected, hazard=0.01):
    """Posterior after so much, under the packaged priors; every severity alike."""
    prior = load_priors().breakage
    theta = gamma_theta(prior.prior_breaks, breaks, expected)
    shape = prior.crashes_per_pack * prior.crash_rate_worth + crashes
    mix = np.full(3, 1.0 + crashes / 3.0)
    rate = prior.crash_rate_worth + packs
    items = {"arm": [(np.full((1, 3), hazard), theta)]}
    return Lived(packs, crashes, breaks, shape, rate, mix, items, gamma_theta(2.0, 0, 0))


def test_a_long_journal_decides_how_much_is_saved():
    """Half the arms saved, 0.8 crashes a pack, three breaks for each simulated one: 0.8·3·0.01/2 a pack."""
    got = drawn(lived_with(10**6, 8 * 10**5, 24_000, 8_000.0), [0.01] * 7)
    assert got.mean() == pytest.approx(0.8 * 3.0 * 0.01 / 2.0, rel=0.02)
    assert got.std() / got.mean() < 0.03


def test_the_level_of_an_opinion_is_not_doubted_twice():
    """Opinions that agree on the share a change saves do not widen it: the journal knows how many break."""
    lived = lived_with(10**6, 8 * 10**5, 24_000, 8_000.0)
    apart = drawn(lived, [0.04, 0.02, 0.014, 0.01, 0.007, 0.005, 0.0025])
    assert apart.std() / apart.mean() < 0.03
    assert apart.mean() == pytest.approx(0.8 * 3.0 * 0.01 / 2.0, rel=0.02)


def test_strengths_that_were_corrected_are_not_counted_twice():
    """Crashes run with weaker arms, three times the breaks, change nothing of what the journal counted."""
    lived = lived_with(10**6, 8 * 10**5, 24_000, 8_000.0)
    assert drawn(lived, [0.03] * 7).mean() == pytest.approx(drawn(lived, [0.01] * 7).mean(), rel=1e-6)


def test_a_frequent_part_cannot_break_more_often_than_always():
    """At theta 3 a part that breaks in half of the crashes breaks in 1 - 0.5^3 of them, not in 1.5."""
    got = drawn(lived_with(10**6, 10**6, 3 * 10**5, 10**5, -np.log(0.5)), [0.5] * 7, keep=0.0)
    assert got.mean() == pytest.approx(1.0 - 0.5**3, rel=0.02)


def test_without_a_journal_the_prior_speaks():
    """A kind that the journal does not know has the prior's theta, with all its doubt."""
    lived = lived_with(0, 0, 0, 0.0)
    bare = Lived(0, 0, 0, lived.shape, lived.rate, lived.mix, {}, lived.unknown)
    got = drawn(bare, [0.01] * 7)
    low, high = np.quantile(got, (0.05, 0.95))
    assert high / low > 5.0
    assert "No pack" in bare.summary()


def test_intervals_hold_the_truth_as_often_as_they_say():
    """Worlds from the priors, journals from the worlds: 90 % intervals hold the saving in 90 of 100."""
    prior, rng, inside, worlds = load_priors().breakage, np.random.default_rng(11), 0, 300
    for _ in range(worlds):
        worth = prior.crash_rate_worth
        rate = rng.gamma(prior.crashes_per_pack * worth, 1.0 / worth)
        theta = rng.gamma(prior.prior_breaks, 1.0 / prior.prior_breaks)
        packs = int(rng.integers(5, 400))
        crashes = rng.poisson(rate * packs)
        breaks = rng.poisson(theta * 0.01 * crashes)
        got = drawn(
            lived_with(packs, crashes, breaks, 0.01 * crashes), [0.01] * 7, seed=int(rng.integers(2**31))
        )
        low, high = np.quantile(got, (0.05, 0.95))
        inside += low <= rate * theta * 0.005 <= high
    assert 0.85 <= inside / worlds <= 0.95  # binomial error 0.017


def test_an_empty_journal_has_no_break_rates(gannet_history):
    """The posteriors of a quad without crash test hold crashes a pack alone."""
    lived = lived_of(gannet_history, (), {}, load_priors())
    assert lived.packs == 3
    assert not lived.thetas
    assert "3 packs" in lived.summary()


@pytest.fixture
def gannet_history():
    """Three packs without a crash."""
    from crashworthy.upkeep.history import QuadHistory

    return QuadHistory("gannet", packs=3, dose=3.0)


def test_words_say_what_a_gram_and_a_coin_bring():
    """Nothing added is said so; else minutes a gram and a coin stand in the sentence."""
    row = InPacks(12.0, 4.0, 25.0, 30.0, 10.0, 60.0, 0.97, 40.0, -3.2, 4.0, 8.0)
    assert row.per_gram == (3.0, 1.0, 6.25)
    assert "3 a gram, 1.5 a coin, 3.2 s of hover less a pack, 40 g of spares less" in row.sentence()
    free = InPacks(12.0, 4.0, 25.0, 30.0, 10.0, 60.0, 0.97, 0.0, 0.0, 0.5, 0.5)
    assert free.sentence().endswith("no mass added, nothing to buy")


def test_packs_need_a_journal():
    """Ranking in packs a build that has no journal is refused with what to do, before any crash is run."""
    quad = load(Path(__file__).parents[2] / "examples" / "dunlin.toml")
    with pytest.raises(ScenarioError, match="need a journal"):
        improve(quad.sheet, None, 64, by="packs_per_gram")
