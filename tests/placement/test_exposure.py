"""Exposure: shares of first touch and reach radii keep their promises."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.build.solids import box, rotation
from crashworthy.placement.hits import OBSTACLES, Approaches, Obstacle, hit_shares
from crashworthy.placement.ranking import rank
from crashworthy.placement.reach import reach, reach_of
from crashworthy.placement.skin import FACES, Skin, skin_of

sizes = st.floats(0.01, 0.08)
places = st.tuples(*[st.floats(-0.05, 0.05)] * 3)
angles = st.tuples(*[st.floats(-3.0, 3.0)] * 3)


def two_boxes(size: float, other: float, place: tuple[float, float, float]) -> Skin:
    """Two boxes in one skin."""
    return Skin.of([("a", box((size, 0.03, 0.02))), ("b", box((0.02, other, 0.03), place))])


@settings(max_examples=15, deadline=None)
@given(sizes, sizes, places, angles)
def test_turning_everything_changes_nothing(size, other, place, angle):
    """Turning quad and directions together leaves every hit share as it was."""
    skin, turn = two_boxes(size, other, place), rotation(*angle)
    from crashworthy.build.points import fibonacci

    towards = fibonacci(60)
    for kind, radius in (("spike", 0.0), ("ball", 0.015), ("flat", 0.0)):
        obstacle = Obstacle(kind, kind, radius, 1e-3, 2 if radius else 1)
        before = hit_shares(skin, obstacle, Approaches(towards, np.ones(60)))
        after = hit_shares(skin.moved(turn), obstacle, Approaches(towards @ turn.T, np.ones(60)))
        np.testing.assert_allclose(before.shares, after.shares, atol=0.02)


@settings(max_examples=15, deadline=None)
@given(sizes, sizes, places)
def test_a_mirror_image_is_hit_alike(size, other, place):
    """Mirroring quad and directions leaves every hit share as it was."""
    from crashworthy.build.points import fibonacci

    skin, mirror = two_boxes(size, other, place), np.diag([1.0, -1.0, 1.0])
    towards = fibonacci(60)
    obstacle = Obstacle("ball", "ball", 0.01, 1e-3, 2)
    before = hit_shares(skin, obstacle, Approaches(towards, np.ones(60)))
    after = hit_shares(skin.moved(mirror), obstacle, Approaches(towards @ mirror, np.ones(60)))
    np.testing.assert_allclose(before.shares, after.shares, atol=0.02)


@settings(max_examples=30, deadline=None)
@given(sizes, st.integers(1, 60))
def test_more_skin_in_the_way_never_widens_the_reach(size, count):
    """A ball that fits among more points fits among fewer: the reach radius falls as parts are added."""
    rng = np.random.default_rng(count)
    points = rng.normal(0, size, (count + 20, 3))
    place, normal = np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]])
    few, _ = reach_of(place, normal, points[:count])
    more, _ = reach_of(place, normal, points)
    assert more[0] <= few[0] + 1e-12


@settings(max_examples=30, deadline=None)
@given(angles, st.integers(0, 1000))
def test_reach_does_not_depend_on_the_frame(angle, seed):
    """Turning contact and surroundings together leaves the largest ball as it was."""
    points = np.random.default_rng(seed).normal(0, 0.03, (50, 3))
    turn = rotation(*angle)
    place, normal = np.zeros((1, 3)), np.array([[0.0, 0.6, 0.8]])
    before, _ = reach_of(place, normal, points)
    after, _ = reach_of(place, normal @ turn.T, points @ turn.T)
    np.testing.assert_allclose(before, after, rtol=1e-9)


def test_shares_sum_to_one_and_do_not_depend_on_threads(gannet):
    """Every hit is somebody's, and one thread finds the same as three, to the last bit."""
    skin = skin_of(gannet)
    for obstacle in OBSTACLES:
        few = Approaches.uniform(40)
        one, three = hit_shares(skin, obstacle, few, 1), hit_shares(skin, obstacle, few, 3)
        assert one.shares.sum() == pytest.approx(1.0, abs=1e-12)
        assert np.array_equal(one.shares, three.shares)


def test_no_spike_slips_through_a_plate():
    """A spike never finds a gap between the triangles of a closed plate."""
    plate = box((0.1, 0.1, 0.002))
    skin = Skin.of([("plate", plate), ("below", box((0.08, 0.08, 0.01), (0, 0, -0.02)))])
    down = Approaches(np.array([[0.01, 0.003, 1.0], [-0.02, 0.01, 1.0]]), np.ones(2))
    down.directions[:] /= np.linalg.norm(down.directions, axis=1, keepdims=True)
    for pixel in (0.37e-3, 1e-3, 2.3e-3):
        assert hit_shares(skin, Obstacle("spike", "spike", 0.0, pixel), down)["below"] == 0.0


def test_balls_reach_less_deep_the_larger_they_are(gannet):
    """The share of directions open to an obstacle falls as the obstacle grows."""
    for found in reach(skin_of(gannet), ["lens", "fc", "video", "main_plug"], axes=0):
        assert found.open[0] >= found.open[1] >= found.open[2] >= found.flat


def test_spinning_props_shield_what_stopped_ones_do_not(gannet):
    """A disc is touched first more often than blades, and the battery less."""
    disc, blades = (hit_shares(skin_of(gannet, p), OBSTACLES[0]) for p in ("disc", "blades"))
    assert disc["prop_fl"] > 2 * blades["prop_fl"]
    assert disc["battery"] < blades["battery"]


def test_pack_faces_add_up_to_the_pack(gannet):
    """The six faces together are touched as often as the pack."""
    whole = hit_shares(skin_of(gannet), OBSTACLES[0])["battery"]
    split = hit_shares(skin_of(gannet, pack_faces=True), OBSTACLES[0])
    assert sum(split[f"battery:{face}"] for face in FACES) == pytest.approx(whole, rel=1e-9)


COINS = {"board": 55.0, "box": 25.0, "camera": 30.0, "antenna": 6.0, "lens": 6.0, "battery": 32.0}
MINUTES = {"board": 50.0, "box": 6.0, "camera": 15.0, "antenna": 6.0, "lens": 6.0, "battery": 1.0}


@pytest.fixture(scope="module")
def looked_at(gannet):
    """Shares and reaches of Gannet's fragile parts, few directions."""
    towards = Approaches.uniform(60)
    shares = tuple(hit_shares(skin_of(gannet, "blades"), o, towards) for o in OBSTACLES[:3])
    names = [p.name for p in gannet.parts if p.kind in COINS and len(p.faces)]
    return shares, reach(skin_of(gannet), names)


def test_a_board_in_the_stack_does_not_lead(gannet, looked_at):
    """What is exposed and dear comes before a board buried in the stack, though the board costs most."""
    shares, reaches = looked_at
    order = [e.part for e in rank(gannet, shares, shares, reaches, COINS, MINUTES)]
    assert order[0] == "hd_cam"
    assert order.index("video") < min(order.index("fc"), order.index("esc"))


def test_a_crash_test_orders_by_what_touches_cost(gannet, looked_at):
    """With breaks at hand the order is breaks x cost, and parts without breaks follow by exposure."""
    shares, reaches = looked_at
    breaks = {"lens": 0.02, "video": 0.01, "hd_cam": 0.001}
    found = rank(gannet, shares, shares, reaches, COINS, MINUTES, worth=0.5, breaks=breaks)
    assert [e.part for e in found[:3]] == ["lens", "video", "hd_cam"]
    assert found[0].loss == pytest.approx(100 * 0.02 * (6.0 + 0.5 * 6.0))
    assert found[0].score == 1.0
    assert {e.loss for e in found[3:]} == {0.0}
    without = [e.part for e in rank(gannet, shares, shares, reaches, COINS, MINUTES, worth=0.5)]
    rest = [p for p in without if p not in breaks]
    assert [e.part for e in found[3:]] == rest


def test_a_worthless_minute_leaves_time_out(gannet, looked_at):
    """With a minute worth nothing, a part's bench time does not move it."""
    shares, reaches = looked_at
    one = rank(gannet, shares, shares, reaches, COINS, MINUTES, worth=0.0)
    two = rank(gannet, shares, shares, reaches, COINS, {k: 7 * v for k, v in MINUTES.items()}, worth=0.0)
    assert [e.score for e in one] == [e.score for e in two]


def test_price_moves_a_part_up_the_ranking(gannet):
    """A part that costs more ranks higher, all else alike."""
    skin = skin_of(gannet)
    shares = (hit_shares(skin, OBSTACLES[0]),)
    reaches = reach(skin, ["video", "hd_cam", "lens"], axes=0)
    cheap = rank(gannet, shares, shares, reaches, {"antenna": 1.0, "box": 1.0, "lens": 1.0}, {})
    dear = rank(gannet, shares, shares, reaches, {"antenna": 1.0, "box": 1.0, "lens": 1e6}, {})
    assert dear[0].part == "lens"
    assert dear[0].score == 1.0
    assert cheap[0].part != "lens"
