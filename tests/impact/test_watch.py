"""Rare hits: many drawn, few simulated, nothing biased; campaigns that stop when enough is known."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from crashworthy.errors import ScenarioError
from crashworthy.impact import CampaignCancelled, CrashBatch, Scenario, replay, simulate, worst
from crashworthy.impact.damage import interval
from crashworthy.impact.estimate import effective, mean_error, share, weighted_mean, weighted_quantiles
from crashworthy.impact.model import model_of
from crashworthy.impact.start import sample
from crashworthy.impact.watch import POOL, keep_chances, pick, read_watch

N = 1500


@pytest.fixture(scope="module")
def rare(quad: Any) -> tuple[str, CrashBatch]:
    """The part that 2000 plain crashes touch least (but at least 15 times), and those crashes."""
    plain = simulate(quad, 2000, 3)
    hits = (plain.part_peak > 0.0).sum(axis=1)
    part = min((i for i in range(len(hits)) if hits[i] >= 15), key=lambda i: hits[i])
    return plain.parts[part][0], plain


@pytest.fixture(scope="module")
def watched(quad: Any, rare: tuple[str, CrashBatch]) -> CrashBatch:
    """A campaign that watches that part."""
    return simulate(quad, N, 11, watch=(rare[0],))


def test_watched_and_plain_campaigns_agree(rare: tuple[str, CrashBatch], watched: CrashBatch) -> None:
    """Shares of every part, breaks and loads agree within what chance allows (4 standard errors)."""
    _, plain = rare
    for index in range(len(plain.parts)):
        a, b = (share(x.part_peak[index] > 0.0, x.weight) for x in (plain, watched))
        assert abs(a.value - b.value) <= 4.0 * np.hypot(a.error, b.error) + 2e-3, plain.parts[index]
    a_shock, b_shock = (weighted_mean(x.shock, x.weight) for x in (plain, watched))
    assert abs(a_shock - b_shock) < 4.0 * np.hypot(*(mean_error(x.shock, x.weight) for x in (plain, watched)))
    mix = [np.bincount(x.obstacle, weights=x.weight, minlength=13) / x.weight.sum() for x in (plain, watched)]
    assert np.abs(mix[0] - mix[1]).max() < 0.05


def test_watching_makes_the_rare_hit_better_known(quad: Any, watched: CrashBatch) -> None:
    """The share of a rare hit is known as from four times as many plain crashes, or better."""
    (told,) = watched.summarise().watched
    assert told.low < told.share < told.high
    (spike,) = simulate(quad, N, 11, watch=("lens by spike",)).summarise().watched
    assert spike.share < 0.01
    assert spike.effective > 4.0 * N
    s = watched.summarise()
    assert 0.2 * N < s.effective < N
    assert s.drawn == POOL * N
    assert watched.weight.mean() == pytest.approx(1.0)
    assert watched.weighted


def test_threads_change_no_bit_of_a_watched_campaign(
    quad: Any, rare: tuple[str, CrashBatch], watched: CrashBatch
) -> None:
    """Forecasts are learnt from whole rounds, so two threads give the same bytes, and bytes come back."""
    with ThreadPoolExecutor(2) as pool:
        again = simulate(quad, N, 11, watch=(rare[0],), map_chunks=pool.map)
    assert again.save() == watched.save()
    back = CrashBatch.load(again.save())
    assert back.watched == watched.watched
    assert back.summarise().to_json() == watched.summarise().to_json()


def test_a_watched_crash_is_the_plain_crash_of_its_number(quad: Any, watched: CrashBatch) -> None:
    """Watching chooses among the crashes of the seed and changes none, so builds stay comparable."""
    starts = sample(Scenario.default(), model_of(quad).craft, 11, watched.crash)
    np.testing.assert_array_equal(starts.obstacle, watched.obstacle)
    np.testing.assert_allclose(np.linalg.norm(starts.state[3:6], axis=0), watched.speed, rtol=1e-6)
    assert len(set(watched.crash.tolist())) == N
    number = worst(watched)
    assert number in watched.crash
    assert replay(quad, watched, number).crash == number
    missing = next(i for i in range(POOL) if i not in watched.crash)
    with pytest.raises(ScenarioError, match=f"no crash {missing}"):
        replay(quad, watched, missing)


def test_kept_crashes_stand_for_the_drawn_ones() -> None:
    """Chances add up, none exceeds one, and weighted sums over many draws give the true total."""
    rng = np.random.default_rng(5)
    n, count = 2048, 64
    forecast = rng.random(n) ** 8
    obstacle = rng.integers(0, 3, n).astype(np.int32)
    chances = keep_chances([forecast, np.where(np.arange(n) < 20, 1.0, 0.0)], n, count)
    assert chances.sum() == pytest.approx(count)
    assert chances.min() > 0.0
    assert chances.max() <= 1.0
    truth = rng.random(n) + forecast
    totals = []
    for first in range(300):
        kept = pick(chances, obstacle, count, 9, first * n)
        assert len(np.unique(kept)) == count
        totals.append((truth[kept] / chances[kept]).sum())
    error = np.std(totals, ddof=1) / np.sqrt(len(totals))
    assert np.mean(totals) == pytest.approx(truth.sum(), abs=4.0 * error)


def test_estimators_honour_weights() -> None:
    """A crash of weight two counts as two crashes; equal weights are the plain formulas."""
    rng = np.random.default_rng(1)
    x = rng.normal(size=50)
    twice = np.where(np.arange(50) % 5 == 0, 2.0, 1.0)
    long = np.repeat(x, twice.astype(int))
    assert weighted_mean(x, twice) == pytest.approx(long.mean())
    assert weighted_quantiles(x, twice, (0.5,))[0] == pytest.approx(np.median(long), abs=0.1)
    assert weighted_quantiles(x, np.ones(50), (0.9,))[0] == np.quantile(x, 0.9)
    assert mean_error(x, np.ones(50)) == pytest.approx(x.std(ddof=1) / np.sqrt(50))
    assert effective(np.ones(50)) == pytest.approx(50.0)
    assert interval(x + 9, x + 9.5, x + 8.5, np.ones(50)) == pytest.approx(interval(x + 9, x + 9.5, x + 8.5))
    assert interval(x + 9, x + 9, x + 9, twice)[0] == pytest.approx(long.mean() + 9)
    assert share(np.zeros(50, dtype=bool), twice).low == 0.0
    assert share(np.zeros(50, dtype=bool), twice).high < 0.12


def test_weighted_intervals_cover_the_truth() -> None:
    """95 % intervals of a share of 1 %, from weighted crashes, hold it in 91 to 99 of 100 campaigns."""
    rng = np.random.default_rng(2)
    inside = 0
    for _ in range(400):
        likely = rng.random(1500) < 0.3
        weight = np.where(likely, 0.2, 0.8 / 0.7 * (1 + 0.06 / 0.8))
        told = share(rng.random(1500) < np.where(likely, 0.12, 0.003), weight)
        truth = (0.3 * 0.2 * 0.12 + 0.7 * weight.max() * 0.003) / (0.3 * 0.2 + 0.7 * weight.max())
        inside += told.low <= truth <= told.high
    assert 0.91 <= inside / 400 <= 0.99


def test_what_is_watched_is_named_in_words(quad: Any) -> None:
    """A part, a kind, one by one obstacle; what does not exist is refused with what there is."""
    parts = tuple((p.name, p.label, p.kind) for p in quad.parts)
    mix = Scenario.default()
    (arms,), rare = read_watch(("Arms",), parts, mix)
    assert not rare
    assert len(arms.parts) == 4
    (one,), rare = read_watch((f"{parts[0][0]} by spike", "rare"), parts, mix)
    assert rare
    assert [mix.obstacles[i].kind for i in one.obstacles] == ["spike"]
    with pytest.raises(ScenarioError) as caught:
        read_watch(("wheel by moon",), parts, mix)
    part, obstacle = caught.value.problems
    assert "'wheel'" in part.what
    assert "board" in part.remedy
    assert "'moon'" in obstacle.what
    assert "spike" in obstacle.remedy


def test_rare_picks_fragile_parts_itself(quad: Any) -> None:
    """``rare`` watches fragile parts that are seldom touched, and says so."""
    kinds = {p.kind for p in quad.parts} & {"lens", "camera", "antenna", "plug", "lead", "board", "box"}
    if not kinds:
        with pytest.raises(ScenarioError, match="no lens"):
            simulate(quad, 64, 1, watch=("rare",))
    else:
        assert simulate(quad, 64, 1, watch=("rare",)).watched


def test_a_campaign_stops_when_enough_is_known(quad: Any) -> None:
    """It ends after a whole chunk, at the same crash for any number of workers, with narrow intervals."""
    seen: list[tuple[int, int]] = []
    batch = simulate(quad, 3000, 5, until=0.3, chunk=250, progress=lambda d, t: seen.append((d, t)))
    with ThreadPoolExecutor(2) as pool:
        again = simulate(quad, 3000, 5, until=0.3, chunk=250, map_chunks=pool.map)
    assert batch.save() == again.save()
    assert 1000 <= batch.n < 3000
    assert batch.n % 250 == 0
    assert seen[-1] == (batch.n, batch.n)
    s = batch.summarise()
    assert (s.n, s.asked, s.until) == (batch.n, 3000, 0.3)
    assert "30 %" in s.until_words
    plain = simulate(quad, batch.n, 5, chunk=250)
    np.testing.assert_array_equal(plain.part_peak, batch.part_peak)
    assert plain.digest != batch.digest
    assert json.dumps(s.to_json(), allow_nan=False)


def test_an_early_stop_can_be_cancelled_and_a_wrong_one_is_refused(quad: Any) -> None:
    """Cancel works as ever; a precision that makes no sense is refused with its field."""
    with pytest.raises(CampaignCancelled):
        simulate(quad, 64, 1, until=0.1, chunk=8, cancelled=lambda: True)
    for wrong in (-0.1, float("nan"), 2.0):
        with pytest.raises(ScenarioError) as caught:
            simulate(quad, 64, 1, until=wrong)
        assert caught.value.problems[0].field == "until"
