"""Lives, wear, retirement, and where to look first."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import CrashworthyError, JournalError
from crashworthy.strength.capacity import Capacity
from crashworthy.upkeep.crash_loads import CrashLoads, damage_by_part, look_first
from crashworthy.upkeep.history import Clock, FindingRow, QuadHistory, SwapRow, TapRow
from crashworthy.upkeep.lives import part_lives
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.retire import wear_report
from crashworthy.upkeep.wear import age_replacement, crash_damage, p_wearing_out, sn_cycles, stiffness
from crashworthy.upkeep.wear_priors import load_wear

START = datetime(2026, 5, 1, tzinfo=UTC)
WEAR = load_wear()
EMPTY = {"value": {}, "low": {}, "high": {}}


def clock(packs, slams=0):
    """A quad's clock."""
    return Clock(packs, float(packs), (0, 0, slams))


def history(packs, slams=0, **more):
    """A quad after so many packs and slams."""
    from crashworthy.upkeep.history import CrashRow

    rows = tuple(CrashRow(START, "slam") for _ in range(slams))
    return QuadHistory("q", packs, float(packs), rows, **more)


def swap(day, part, at, serial="", why="upgrade"):
    """A swap."""
    return SwapRow(START + timedelta(days=day), part, why, serial, at)


def test_a_part_with_a_mark_carries_its_life_to_another_frame():
    """An arm moved from one quad to the other goes on where it stopped; both frames are named."""
    a = history(
        100, 50, changes=(swap(1, "arm_fl", clock(10, 4), "A1"), swap(5, "arm_fl", clock(60, 30), "A2"))
    )
    b = history(40, 20, changes=(swap(6, "arm_rr", clock(5, 2), "A1"),))
    lives = part_lives({"a": a, "b": b}, {"a": ["arm_fl", "arm_fr"], "b": ["arm_rr"]})
    moved = lives.now["b", "arm_rr"]
    assert (moved.lived.packs, moved.crashes) == (50 + 35, 26 + 18)
    assert moved.summary() == "85 packs, 44 crashes, 2 frames"
    assert lives.now["a", "arm_fr"].summary() == "100 packs, 50 crashes"
    assert lives.now["a", "arm_fl"].lived.packs == 40
    assert [e.lived.packs for e in lives.ended] == [10, 50, 5]


def test_a_broken_part_does_not_come_back_from_the_shelf():
    """A mark that broke is gone: the next part of that mark is new."""
    a = history(100, changes=(swap(1, "arm_fl", clock(0), "A1"), swap(2, "arm_fl", clock(50), "A2", "broke")))
    b = history(10, changes=(swap(3, "arm_fl", clock(0), "A1"),))
    lives = part_lives({"a": a, "b": b}, {"b": ["arm_fl"], "a": []})
    assert lives.now["b", "arm_fl"].lived.packs == 10
    assert lives.shelf == {}


@given(st.lists(st.integers(0, 30), min_size=1, max_size=8))
@settings(max_examples=50, deadline=None)
def test_no_life_is_lost_between_swaps(packs):
    """Lives of one place add up to the quad's packs however often the part was swapped."""
    total, rows = 0, []
    for day, n in enumerate(packs):
        total += n
        rows.append(swap(day, "prop_fl", clock(total)))
    lives = part_lives({"q": history(total + 3, changes=tuple(rows))}, {"q": ["prop_fl"]})
    assert sum(e.lived.packs for e in lives.ended) + lives.now["q", "prop_fl"].lived.packs == total + 3


def test_one_hard_hit_outweighs_hundreds_of_light_ones():
    """Nine tenths of the strength once is seven tenths some 720 times."""
    assert sn_cycles(0.7, 0.07) / sn_cycles(0.9, 0.07) == pytest.approx(720, rel=0.01)
    scuff, hit, slam = crash_damage([0.0, 0.7, 0.9], [0, 1, 2], 0.07)
    assert scuff == 0.0
    assert slam / hit == pytest.approx(720, rel=0.01)


@given(st.floats(50, 400), st.integers(1, 10))
@settings(deadline=None)
def test_tapping_the_same_note_is_the_same_stiffness(f, taps):
    """Equal frequencies give ratio 1 and no crack; more taps are surer."""
    rows = [TapRow(START, "arm", (f,) * taps, clock(0))] * 2
    found = stiffness(rows)
    assert found.ratio == 1.0
    assert not found.cracked
    more = stiffness([TapRow(START, "arm", (f,) * (taps + 1), clock(0))] * 2)
    assert more.error < found.error
    assert stiffness(rows[:1]) is None


@given(st.floats(1.05, 6.0), st.floats(1.5, 50.0))
@settings(max_examples=40, deadline=None)
def test_early_replacement_never_costs_more_than_waiting(k, failed):
    """The best age is at least as cheap as waiting, and comes earlier when failures are dearer."""
    plan = age_replacement(100.0, k, 1.0, failed)
    assert plan.rate <= plan.wait * (1 + 1e-9)
    assert age_replacement(100.0, k, 1.0, 1.2 * failed).age <= plan.age * (1 + 1e-9)
    assert age_replacement(1.0, 0.8, 1.0, failed).age == math.inf


def test_early_replacement_needs_a_dearer_failure():
    """Equal costs are refused."""
    with pytest.raises(JournalError):
        age_replacement(10.0, 2.0, 1.0, 1.0)


def test_wear_out_is_seen_and_its_absence_too():
    """Lives that end close together mean wear-out, those of constant hazard do not; no break is even."""
    rng = np.random.Generator(np.random.Philox(4))
    old = np.ceil(40 * rng.weibull(4.0, 25)).astype(int).tolist()
    even = np.ceil(40 * rng.exponential(1.0, 25)).astype(int).tolist()
    assert p_wearing_out(old, [10] * 4)[0] > 0.99
    assert p_wearing_out(even, [10] * 4)[0] < 0.9
    assert p_wearing_out([], [100, 200])[0] == 0.5


def test_even_lives_are_called_wearing_out_in_about_one_of_ten():
    """With constant hazard P(k > 1) passes 0.9 in at most about one trial of ten."""
    rng = np.random.Generator(np.random.Philox(9))
    calls = [p_wearing_out(rng.geometric(0.05, 12).tolist(), [20] * 4)[0] > 0.9 for _ in range(100)]
    assert np.mean(calls) <= 0.17


def part(name, kind):
    """A part as the report needs it."""
    return SimpleNamespace(name=name, label=name, kind=kind)


def judged(past, damage=EMPTY, **kinds):
    """Verdicts by part for one quad."""
    parts = [part(n, k) for n, k in kinds.items()]
    lives = part_lives({"q": past}, {"q": list(kinds)})
    report = wear_report(
        "Q", "q", parts, past, lives, {("q", n): k for n, k in kinds.items()}, (), damage, load_priors(), WEAR
    )
    json.dumps(report.to_json(), allow_nan=False)
    return report, {p.name: p for p in report.parts}


def test_what_was_seen_decides():
    """A part that looked damaged is to retire, one that looked worn to watch, until it is swapped."""
    look = tuple(
        FindingRow(START, n, s, "white edge", clock(0))
        for n, s in (("arm_fl", "damaged"), ("arm_fr", "worn"))
    )
    report, rows = judged(history(10, findings=look), arm_fl="arm", arm_fr="arm", arm_rl="arm")
    assert [rows[n].verdict for n in ("arm_fl", "arm_fr", "arm_rl")] == ["retire", "watch", "keep"]
    assert report.summary().startswith("Q: retire 1, watch 1. Arm_fl:")
    after = history(10, findings=look, changes=(swap(1, "arm_fl", clock(5)),))
    assert judged(after, arm_fl="arm")[1]["arm_fl"].verdict == "keep"


def test_a_softened_arm_is_retired_and_a_sudden_drop_is_a_crack():
    """Below nine tenths it goes; a drop between two tests beyond all scatter is called a crack."""

    def taps(*notes):
        return tuple(
            TapRow(START + timedelta(days=i), "arm_fl", (f,) * 5, clock(i)) for i, f in enumerate(notes)
        )

    assert judged(history(9, taps=taps(182, 181.5)), arm_fl="arm")[1]["arm_fl"].verdict == "keep"
    slow = judged(history(9, taps=taps(182, 179, 176, 173, 170)), arm_fl="arm")[1]["arm_fl"]
    assert slow.verdict == "retire"
    assert "softer" in slow.why[0]
    assert "crack" in judged(history(9, taps=taps(182, 172)), arm_fl="arm")[1]["arm_fl"].why[0]


def test_use_and_crashes_count_by_kind():
    """A strap tires by packs; an arm by damage, retired only when even the low end is past 1."""
    past = history(120, 10)
    many = {"value": {"arm": (0, 0, 0.3)}, "low": {"arm": (0, 0, 0.2)}, "high": {"arm": (0, 0, 0.4)}}
    few = {"value": {"arm": (0, 0, 0.06)}, "low": {"arm": (0, 0, 0.01)}, "high": {"arm": (0, 0, 0.1)}}
    assert judged(past, strap="strap")[1]["strap"].verdict == "watch"
    assert judged(past, many, arm="arm")[1]["arm"].verdict == "retire"
    assert judged(past, few, arm="arm")[1]["arm"].verdict == "watch"
    assert judged(past, many, arm="antenna")[1]["arm"].damage is None


def loads():
    """Six crashes of two parts: pole and ground, rising severity."""
    arrays = {
        "part_peak": np.array([[0.0, 50, 90, 120, 0, 10], [5.0, 0, 0, 0, 300, 0]]),
        "arm_moment": np.zeros((0, 3, 6)),
        "pseudo_velocity": np.zeros(6),
        "shock": np.arange(6.0),
        "obstacle": np.array([0, 0, 1, 1, 0, 1]),
    }
    modes = tuple(
        Capacity(i, "bent", "force", 100.0, 0.3, 0.3, "N", "", "test", "assumption") for i in (0, 1)
    )
    return CrashLoads(
        ("a", "b"), ("part a", "part b"), (), modes, arrays, (("quarry", "ground"), ("mast", "pole"))
    )


def test_the_likeliest_broken_part_comes_first():
    """Order is by broken, then near to it, then hit; severity and obstacle choose the crashes."""
    rows = look_first(loads())
    assert [r.part for r in rows] == ["a", "b"]  # as often broken, and oftener near it
    assert look_first(loads(), "slam", "ground")[0].part == "b"
    assert [r.part for r in look_first(loads(), "", "mast")] == ["a"]
    assert look_first(loads(), "hit")[0].hit == 1.0
    for bad in (("bang", ""), ("", "moon")):
        with pytest.raises(CrashworthyError):
            look_first(loads(), *bad)


def test_crashes_that_broke_a_part_are_not_in_its_life():
    """Damage per crash counts only crashes that the part survived."""
    slam = damage_by_part(loads(), 0.07)["b"][2]
    assert slam == 0.0


def test_own_rows_replace_the_packaged_ones(tmp_path):
    """A bare number stands for a row; unknown names and nonsense are refused."""
    own = tmp_path / "wear.toml"
    own.write_text("[tap]\nlimit = 0.8\n", encoding="utf-8")
    assert load_wear(own)["tap.limit"] == 0.8
    assert load_wear(own)["tap.error"] == WEAR["tap.error"]
    for text in ("[tap]\nlimits = 0.8", "[tap]\nlimit = -1", "[tap]\nlimit = true", "[tap"):
        own.write_text(text, encoding="utf-8")
        with pytest.raises(CrashworthyError):
            load_wear(own)


def test_the_page_states_the_assumptions_as_they_are():
    """Every row of wear.toml stands in the documentation with its value."""
    from pathlib import Path

    text = (Path(__file__).parents[2] / "docs" / "wear.md").read_text(encoding="utf-8")
    for name, row in WEAR.rows.items():
        assert f"| `{name}` | {row.value:g}" in text
