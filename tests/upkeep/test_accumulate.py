"""Damage that crashes and taps add up to."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.impact.learn import damage_sum, weakened
from crashworthy.strength.capacity import Capacity
from crashworthy.upkeep.accumulate import DamageLaw, Tapped, accumulate
from crashworthy.upkeep.crash_loads import CrashLoads

LAW = DamageLaw((8.0, 8.0))


def one_load(ratios, beta=0.25):
    """A part with an arm's mode and these loads over its strength."""
    ratios = np.asarray(ratios, dtype=float)
    n = len(ratios)
    arrays = {"part_peak": 100.0 * ratios[None, :], "shock": np.ones(n), "obstacle": np.zeros(n, dtype=int)}
    mode = Capacity(0, "root", "force", 100.0, beta, 0.3, "N", "", "", "")
    return CrashLoads(("arm",), ("arm",), (), (mode,), arrays, (("grass", "ground"),)), [mode]


def run(ratios, lived, law=LAW, **more):
    """Accumulate over crashes whose draws are named by number."""
    loads, modes = one_load(ratios)
    return accumulate(loads, modes, [np.asarray(x) for x in lived], law, particles=400, **more)


def test_known_loads_give_the_sum_and_the_weakening():
    """With one draw for each crash the damage is the power-law sum, and half of it is lost in strength."""
    ratios = [0.5, 0.7, 0.8]
    got = run(ratios, [[0], [1], [2]])
    told = damage_sum(np.array(ratios), 1.0, 8.0)
    assert got.damage[0] == pytest.approx(told, rel=1e-6)
    assert got.left[0] == pytest.approx(weakened(1.0, told), rel=1e-6)
    assert got.damage[1] == pytest.approx(got.damage[2])
    assert json.dumps(got.to_json(), allow_nan=False)


def test_no_crash_no_damage():
    """A new part has all of its strength."""
    got = run([0.9], [])
    assert got.damage == (0.0, 0.0, 0.0)
    assert (got.left[0], got.p_below, got.weaker) == (1.0, 0.0, 1.0)


@given(st.lists(st.floats(0.05, 0.95), min_size=1, max_size=6), st.integers(1, 12))
@settings(max_examples=25, deadline=None)
def test_more_crashes_never_heal(ratios, n):
    """Damage rises with crashes, strength left falls, both within their ends."""
    few = run(ratios, [list(range(len(ratios)))] * n)
    more = run(ratios, [[int(np.argmax(ratios))]] * 2 + [list(range(len(ratios)))] * n)
    for got in (few, more):
        assert 0.0 <= got.damage[1] <= got.damage[0] <= got.damage[2] <= 1.0
        assert 0.5 <= got.left[1] <= got.left[0] <= got.left[2] <= 1.0
        assert got.weaker >= 1.0
    assert more.left[2] <= few.left[2] + 1e-9


def test_a_survivor_was_hit_less_hard_than_chance_says():
    """That the part is still there speaks against the loads that would have broken it."""
    ratios = [0.3, 1.3]
    got = run(ratios, [[0, 1]] * 3)
    # Chance alone: 7 of 8 survivors-to-be met a load past the strength at least once.
    assert got.damage[0] < 0.05
    assert got.hardest[0] < 1.0


def test_metal_dents_by_a_lower_power():
    """The same hits use up more of a metal part than of a laminate below the strength."""
    soft = run([0.6], [[0]] * 5, DamageLaw.assumed("metal"))
    hard = run([0.6], [[0]] * 5, DamageLaw.assumed("carbon"))
    assert soft.damage[0] > 3.0 * hard.damage[0]


def taps(*notes):
    """Tests of five taps at these notes, before the first and after the last crash."""
    return [Tapped((f,) * 5, crashes) for f, crashes in notes]


def test_a_dull_ring_speaks_for_damage_and_a_clear_one_against():
    """The same crashes: lower notes raise the damage and lower the strength left, steady ones not."""
    lived = [[0, 1]] * 8
    told = {"ratios": [0.2, 0.75], "lived": lived, "seed": 3}
    plain = run(**told)
    dull = run(**told, taps=taps((180.0, 0), (166.0, 8)))
    clear = run(**told, taps=taps((180.0, 0), (180.0, 8)))
    assert clear.damage[0] < plain.damage[0] < dull.damage[0]
    assert dull.left[0] < clear.left[0]
    assert dull.stiffness[0] < 0.9 < clear.stiffness[0]
    assert dull.p_soft > 0.5 > clear.p_soft
    assert dull.slope[0] > clear.slope[0]


def test_the_slope_is_fitted_when_damage_is_known():
    """Known damage and its notes give the slope they were made with, whatever was assumed."""
    ratios = [0.5 ** (1 / 8)]  # damage 1/2 a crash
    law = DamageLaw((8.0, 8.0), slope=0.1, slope_sd=0.3, tap_error=0.001)
    notes = [(180.0 * np.exp(-0.25 * d), k) for k, d in ((0, 0.0), (1, 0.5), (2, 1.0))]
    got = run(ratios, [[0], [0]], law, taps=taps(*notes))
    assert got.slope[0] == pytest.approx(0.25, abs=0.005)
    assert got.stiffness[0] == pytest.approx(np.exp(-0.5), rel=0.02)
    assert abs(got.misfit) < 1.0


def test_a_drop_without_damage_is_called_a_misfit():
    """No crash to speak of and a much lower note: the damage does not explain it."""
    got = run([0.1], [[0]], taps=taps((180.0, 0), (165.0, 1)))
    assert got.misfit < -3.0
    assert got.damage[0] < 0.01


def test_the_same_seed_gives_the_same_answer():
    """Answers repeat."""
    lived = [[0, 1, 2]] * 10
    assert run([0.2, 0.6, 0.9], lived, seed=7) == run([0.2, 0.6, 0.9], lived, seed=7)
