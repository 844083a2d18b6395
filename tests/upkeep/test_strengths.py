"""Strengths learned from logged crashes, and what is said of them."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.impact.learn import learn_strength
from crashworthy.impact.scenario import Scenario
from crashworthy.strength.capacity import Capacity
from crashworthy.strength.correction import Correction, corrected
from crashworthy.upkeep.alike import FEWEST, Matcher
from crashworthy.upkeep.crash_loads import CrashLoads
from crashworthy.upkeep.history import CrashRow
from crashworthy.upkeep.strengths import GRID, Curve, curves, pooled_shift

NOW = datetime(2026, 5, 1, tzinfo=UTC)
PROPS = ("prop_fl", "prop_fr", "prop_rl", "prop_rr")
BETA, SPREAD, MEDIAN = 0.3, 0.3, 100.0
CORNERS = len(PROPS)


def loads_of(n=900, seed=3, sd=0.6):
    """Invented crashes: harder ones load one corner harder, two corners are spared."""
    rng = np.random.Generator(np.random.Philox(seed))
    shock = np.sort(np.exp(rng.normal(0.0, 0.7, n)))
    force = 60.0 * shock[None, :] * np.exp(rng.normal(0.0, sd, (CORNERS, n)))
    force *= rng.random((CORNERS, n)) < 0.5
    mode = [
        Capacity(p, "blade broken", "force", MEDIAN, BETA, SPREAD, "N", "", "invented", "assumption")
        for p in range(CORNERS)
    ]
    arrays = {
        "part_peak": force,
        "shock": shock,
        "obstacle": np.arange(n) % len(Scenario.default().obstacles),
        "pseudo_velocity": shock,
    }
    pairs = tuple((o.name, o.kind) for o in Scenario.default().obstacles)
    return CrashLoads(PROPS, PROPS, (), tuple(mode), arrays, pairs)


LOADS = loads_of()
KINDS = ["prop"] * CORNERS


def journal(rng, delta, crashes, *, told=True, loads=LOADS):
    """A journal of that strength: each crash is one of the simulated ones, its breaks are drawn."""
    from scipy.special import ndtr

    picked = rng.integers(0, len(loads.arrays["shock"]), crashes)
    grade = loads.severity
    with np.errstate(divide="ignore"):
        z = np.log(loads.arrays["part_peak"][:, picked] / MEDIAN) - delta
    broke = rng.random(z.shape) < ndtr(z / BETA)
    return [
        CrashRow(
            NOW,
            ("scuff", "hit", "slam")[grade[i]] if told else "hit",
            "",
            tuple(p for p, b in zip(PROPS, broke[:, k], strict=True) if b),
        )
        for k, i in enumerate(picked)
    ]


def learned(rows, loads=LOADS, **more):
    """Posterior of the props' strength factor."""
    matcher = Matcher(loads, Scenario.default())
    curve = curves(loads, KINDS, rows, matcher, floor=1e-6)["prop"]
    return pooled_shift("prop", SPREAD, curve, **more)


def test_ninety_in_a_hundred_intervals_hold_the_truth():
    """Over 200 simulated journals with strengths drawn from the prior, nine in ten intervals hold them."""
    rng = np.random.Generator(np.random.Philox(11))
    inside, ranks = 0, []
    for _ in range(200):
        delta = rng.normal(0.0, SPREAD)
        found = learned(journal(rng, delta, 30))
        inside += found.low <= np.exp(delta) <= found.high
        ranks.append(found.weights[np.array(GRID) < delta].sum())
    # Binomial(200, 0.9): 167...192 holds 99.8 %.
    assert 167 <= inside <= 192
    # Calibration ranks are even: each fifth holds 40, sd 5.7; four of them on either side.
    counts = np.histogram(ranks, bins=5, range=(0.0, 1.0))[0]
    assert np.all((counts >= 17) & (counts <= 63)), counts


def test_more_crashes_close_in_on_the_truth():
    """With 600 crashes the factor is known to about a twentieth, wherever it lies."""
    rng = np.random.Generator(np.random.Philox(2))
    for delta in (-0.4, 0.0, 0.4):
        found = learned(journal(rng, delta, 600))
        assert found.median == pytest.approx(np.exp(delta), rel=0.15)
        assert found.high / found.low < 1.25


def test_no_crash_leaves_the_prior():
    """Without a crash the posterior is the table with its own spread."""
    found = learned([])
    assert found.median == pytest.approx(1.0)
    assert found.sd == pytest.approx(SPREAD, rel=0.01)
    assert found.high == pytest.approx(np.exp(1.6449 * SPREAD), rel=0.01)


@given(st.integers(0, 2), st.integers(1, 20))
@settings(max_examples=20, deadline=None)
def test_a_survival_never_weakens_and_a_break_never_strengthens(grade, n):
    """One more crash without a break moves the median up or not at all, one with a break down."""
    severity = ("scuff", "hit", "slam")[grade]
    some = [CrashRow(NOW, "hit")] * n
    before = learned(some).median
    assert learned([*some, CrashRow(NOW, severity)]).median >= before - 1e-9
    assert learned([*some, CrashRow(NOW, severity, "", ("prop_fl",))]).median <= before + 1e-9


def test_the_order_of_crashes_does_not_matter():
    """The same crashes in another order teach the same."""
    rng = np.random.Generator(np.random.Philox(5))
    rows = journal(rng, 0.2, 40)
    assert learned(rows[::-1]).weights == pytest.approx(learned(rows).weights, abs=1e-12)


def test_lognormal_loads_give_the_closed_form():
    """With one part and lognormal loads the mixture over draws is the closed form of the one-hit update."""
    rng = np.random.Generator(np.random.Philox(8))
    n, s_l = 12_000, 0.4
    z = np.exp(s_l * rng.standard_normal(n))
    logs = [(20.0, False), (30.0, False), (40.0, False), (38.0, False), (55.0, True), (60.0, True)]
    total = np.zeros(len(GRID))
    for load, broke in logs:
        mode = Capacity(0, "", "force", 45.0, 0.15, 0.3, "N", "", "", "")
        arrays = {"part_peak": load * z[None, :], "shock": np.ones(n), "obstacle": np.zeros(n, dtype=int)}
        one = CrashLoads(("prop_fl",), ("",), (), (mode,), arrays, (("grass", "ground"),))
        row = CrashRow(NOW, "scuff", "", ("prop_fl",) if broke else ())
        total += curves(one, ["prop"], [row], Matcher(one, Scenario.default()), floor=1e-9)["prop"].loglik
    found = pooled_shift("prop", 0.3, Curve("prop", total, 6, 2, 6.0, 0.0))
    told = learn_strength(45.0, 0.3, 0.15, [x for x, _ in logs], [b for _, b in logs], s_l)
    assert 45.0 * found.median == pytest.approx(told.median, rel=0.01)
    assert 45.0 * found.low == pytest.approx(told.low, rel=0.02)
    assert 45.0 * found.high == pytest.approx(told.high, rel=0.02)


@given(st.floats(0.5, 2.0))
@settings(max_examples=10, deadline=None)
def test_only_load_over_strength_is_learned(scale):
    """All loads and tabled strengths times a factor: the learned factor stays what it was."""
    rng = np.random.Generator(np.random.Philox(4))
    rows = journal(rng, 0.1, 25)
    arrays = dict(LOADS.arrays) | {"part_peak": scale * LOADS.arrays["part_peak"]}
    modes = tuple(
        Capacity(c.part, c.mode, c.load, scale * c.median, c.beta, c.spread, "N", "", "", "")
        for c in LOADS.capacities
    )
    other = CrashLoads(PROPS, PROPS, (), modes, arrays, LOADS.obstacles)
    assert learned(rows, other).median == pytest.approx(learned(rows).median, rel=1e-9)


def test_other_quads_inform_and_do_not_decide():
    """A fleet mate's crashes pull a quad without crashes part of the way; own crashes overrule them."""
    rng = np.random.Generator(np.random.Philox(6))
    matcher = Matcher(LOADS, Scenario.default())
    strong = curves(LOADS, KINDS, journal(rng, 0.5, 300), matcher, 1e-6)["prop"]
    weak = curves(LOADS, KINDS, journal(rng, -0.3, 300), matcher, 1e-6)["prop"]
    alone = pooled_shift("prop", SPREAD, None, [strong])
    assert 1.1 < alone.median < np.exp(0.5)
    assert alone.low < np.exp(0.5) < alone.high
    both = pooled_shift("prop", SPREAD, weak, [strong])
    own = pooled_shift("prop", SPREAD, weak)
    assert own.median < both.median < 0.9


def test_a_log_that_says_more_picks_fewer_crashes():
    """Severity, obstacle and part narrow the simulated crashes down; too few, and a condition is dropped."""
    matcher = Matcher(LOADS, Scenario.default())
    wide = matcher.like(CrashRow(NOW, "slam"))
    near = matcher.like(CrashRow(NOW, "slam", "", (), "prop_fl"))
    assert set(near.draws) < set(wide.draws)
    assert near.told == ("severity", "part")
    assert np.all(LOADS.severity[wide.draws] == 2)
    rare = matcher.like(CrashRow(NOW, "slam", "spike"))
    assert len(rare.draws) >= FEWEST
    assert rare.told == ("severity",)
    assert matcher.like(CrashRow(NOW, "hit", "moon", (), "wing")).told == ("severity",)


def test_a_break_that_no_draw_explains_is_taken_as_chance():
    """A part that no simulated crash loads can still break once; the posterior stays near the prior."""
    arrays = dict(LOADS.arrays) | {"part_peak": np.zeros_like(LOADS.arrays["part_peak"])}
    none = CrashLoads(PROPS, PROPS, (), LOADS.capacities, arrays, LOADS.obstacles)
    found = learned([CrashRow(NOW, "hit", "", ("prop_fl",))], none)
    assert found.median == pytest.approx(1.0, rel=1e-6)


def test_corrected_modes_keep_what_was_not_learned():
    """Medians of a learned kind are multiplied, its spread replaced, and the source says so; others stay."""
    modes = LOADS.capacities
    kinds = ["prop", "prop", "arm", "arm"]
    got = corrected(modes, kinds, {"prop": Correction(1.2, 0.1, 40)})
    assert [c.median for c in got] == pytest.approx([120.0, 120.0, 100.0, 100.0])
    assert got[0].spread == 0.1
    assert "40 crashes" in got[0].source
    assert got[2] is modes[2]
