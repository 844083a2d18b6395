"""Two builds, the same crashes: differences, their intervals, and what is said of them."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from boxes import make_quad
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import ScenarioError
from crashworthy.impact.campaign import CampaignCancelled, simulate
from crashworthy.impact.cases import Crasher, case_of
from crashworthy.impact.compare import compare
from crashworthy.impact.differences import Difference
from crashworthy.impact.matching import matched
from crashworthy.impact.sensitivity import tornado
from crashworthy.impact.tally import belief, tally
from crashworthy.impact.uncertain import parameters, same_beds

N = 192


@pytest.fixture(scope="module")
def thick():
    """The same quad with arms a fifth thicker."""
    return replace(make_quad(0.02, thickness=0.006), name="Thick", slug="thick")


@pytest.fixture(scope="module")
def pair(quad, thick):
    """One comparison, shared."""
    return compare(quad, thick, N, 3, mesh=False)


def test_a_build_against_itself_has_no_difference(quad):
    """Equal builds differ by nothing at all, not merely by little."""
    found = compare(quad, quad, 64, 1)
    assert all(d.change == d.low == d.high == 0.0 for d in (*found.kinds, *found.parts))
    assert found.arms is not None
    assert found.arms.factor == 1.0
    assert "no change" in " ".join(found.sentences())


def test_the_difference_is_that_of_two_campaigns(quad, thick, pair):
    """The change of each kind is the difference of the two campaigns' own averages."""
    a, b = (tally(simulate(q, N, 3)) for q in (quad, matched(quad, thick)[0]))
    for kind, chances in a.kinds.items():
        want = 100 * (b.kinds[kind] - chances).mean()
        np.testing.assert_allclose(pair.kind(kind).change, want, rtol=1e-9, atol=1e-9)


def test_swapping_the_builds_swaps_the_signs(quad, thick, pair):
    """Build a against b is minus b against a when both are touched at their own places."""
    back = compare(thick, quad, N, 3, mesh=False)
    for d in pair.kinds:
        other = back.kind(d.name)
        np.testing.assert_allclose(other.a, d.b, rtol=0.35, atol=3.0)
        np.testing.assert_allclose(other.b, d.a, rtol=0.35, atol=3.0)


def test_thicker_arms_break_less_and_say_so(pair):
    """Arms a fifth thicker work further from their strength, and the sentence has numbers first."""
    assert pair.arms is not None
    assert pair.arms.high < 1.0
    arms = pair.kind("arm")
    assert arms.change < 0
    assert arms.low <= arms.change <= arms.high
    said = arms.sentence("Thick")
    assert ("fewer arms per 100 crashes" in said) == arms.known
    assert json.loads(json.dumps(pair.to_json()))["summary"] == pair.summary()


def test_common_crashes_make_the_interval_narrower_than_two_campaigns(quad, thick):
    """The paired sampling error is far below that of independent campaigns."""
    a, b = (tally(simulate(q, N, 3)) for q in (quad, matched(quad, thick)[0]))
    one, two = a.kinds["arm"][3], b.kinds["arm"][3]
    assert (two - one).std() < 0.6 * np.hypot(one.std(), two.std())


def test_a_part_of_one_build_only_is_counted_by_its_kind(quad):
    """A build without an antenna is compared; its kind says who has none."""
    gone = quad.index("video")
    keep = quad.points.part != gone
    p = quad.points
    bare = replace(quad, name="Bare", points=replace(p, **{k: getattr(p, k)[keep] for k in p.__slots__}))
    parts = list(bare.parts)
    parts[gone] = replace(parts[gone], name="stub", kind="loose", label="stub")
    found = compare(quad, replace(bare, parts=tuple(parts)), 64, 1, mesh=False)
    row = found.kind("antenna")
    assert (row.count_a, row.count_b) == (1, 0)
    assert row.b == 0.0
    assert "has no antennas" in row.sentence("Bare")


def test_an_early_stop_leaves_the_first_crashes_as_they_are(quad, thick):
    """With a wide interval allowed fewer crashes are run, and they are the first ones of the longer run."""
    short = compare(quad, thick, 2000, 3, width=60.0, mesh=False)
    assert short.n < short.asked == 2000
    full = compare(quad, thick, short.n, 3, mesh=False)
    assert [d.change for d in short.kinds] == [d.change for d in full.kinds]


def test_a_comparison_can_be_cancelled_and_refuses_odd_numbers(quad, thick):
    """Cancel stops it; a width or a number that cannot be is named."""
    with pytest.raises(CampaignCancelled):
        compare(quad, thick, 64, 1, cancelled=lambda: True)
    with pytest.raises(ScenarioError, match="nothing about a difference"):
        compare(quad, thick, 3)
    with pytest.raises(ScenarioError, match="too many"):
        compare(quad, thick, 10**9)
    with pytest.raises(ScenarioError, match="cannot be -1 wide"):
        compare(quad, thick, 64, width=-1.0)


def test_only_altered_parts_are_touched_at_other_places(quad, thick):
    """Parts that are the same in both builds keep their contact points, to the last bit."""
    twin, altered = matched(quad, thick)
    assert {"arm_0", "arm_1", "arm_2", "arm_3"} <= altered
    assert "battery" not in altered
    for name in ("battery", "lens", "top_plate"):
        i, j = quad.index(name), twin.index(name)
        assert np.array_equal(
            quad.points.position[quad.points.part == i], twin.points.position[twin.points.part == j]
        )
    assert np.all(np.diff(twin.points.part) >= 0)


@settings(max_examples=40, deadline=None)
@given(
    mean=st.floats(-0.5, 0.5),
    spread=st.floats(0.01, 0.5),
    n=st.integers(20, 400),
    fixed=st.floats(0.0, 0.05),
)
def test_beliefs_are_distributions(mean, spread, n, fixed):
    """Quantiles are in order and undo ``below``; more crashes never make the sign less sure."""
    rng = np.random.default_rng(n)
    found = belief(mean + spread * rng.standard_normal((7, n)), fixed)
    low, middle, high = (found.quantile(q) for q in (0.05, 0.5, 0.95))
    assert low <= middle <= high
    assert found.below(high) == pytest.approx(0.95, abs=1e-6)
    more = found.more(0.95, 10**6)
    if more is not None and more > 0:
        sure = found.below(0.0, found.n + more)
        assert max(sure, 1 - sure) >= 0.95


def test_more_crashes_is_said_as_a_number_or_not_at_all():
    """A change that more crashes would settle says how many; one that they cannot says why."""
    row = Difference("arm", "arms", 4, 4, 3.0, 2.9, -0.1, -0.4, 0.2, 0.7, 1234, 9.0, 9.0, 0.0, 0.0, 0.0)
    assert "about 1200 more crashes" in row.sentence("B")
    assert "will not settle it" in replace(row, more=-1).sentence("B")


def test_contact_beds_built_again_are_the_same(quad):
    """Rebuilding the beds with nothing moved gives the model's own: an override moves only what it names."""
    case = case_of(quad)
    assert same_beds(case).digest == case.digest


def test_every_parameter_moves_something_and_nothing_else(quad):
    """Each end of each parameter gives another case, and the case it started from is untouched."""
    case = case_of(quad)
    before = case.digest
    for p in parameters({"arm": "arms", "prop": "props"}, case):
        for side in ("low", "high"):
            moved = p.at(case, side)
            if p.key == "narrow" and moved.scenario == case.scenario:
                continue  # this scenario has none of these obstacles
            assert (moved.digest != before) == p.loads, p.key
            assert p.loads or moved.capacities != case.capacities
    assert case.digest == before


def test_a_tornado_ranks_its_bars_and_stronger_breaks_less(quad, thick):
    """Bars are longest first; weaker parts break more; strengths cost no further crash."""
    crasher = Crasher(5)
    case = case_of(quad)
    found = tornado(case, 48, crasher=crasher, only=("strength_prop", "strength_arm"))
    assert crasher.done == 48
    assert [b.span for b in found.bars] == sorted((b.span for b in found.bars), reverse=True)
    for bar in found.bars:
        assert bar.low > found.base > bar.high
    others = [("thick", case_of(thick)), ("as it is", case)]
    order = tornado(
        case, 48, crasher=crasher, others=others, only=("speed",), cost={"arm": 14.0}, unit="minutes"
    )
    assert order.saved[1] == 0.0
    assert order.order()
    with pytest.raises(ScenarioError, match="no parameter"):
        tornado(case, 48, crasher=crasher, only=("colour",))
