"""Trade-off, trim files, links, places, before and after: what the pages of placement promise."""

from __future__ import annotations

import io
import math

import ezdxf
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import SheetError
from crashworthy.pictures.exploded import joints_map
from crashworthy.pictures.places import cage_plot, margin_map, protection_plot, range_plot, spot_chart
from crashworthy.placement.antennas import Losses, Radio
from crashworthy.placement.budget import LinkSettings, better_of, link_map, link_of
from crashworthy.placement.camera import CameraBench, Pose
from crashworthy.placement.hits import OBSTACLES, Approaches, hit_shares
from crashworthy.placement.link import polarisation_match
from crashworthy.placement.look import lines, look
from crashworthy.placement.moves import candidate_moves, edited
from crashworthy.placement.pupil import GUESS_SD, corners
from crashworthy.placement.skin import shapes_of, skin_of
from crashworthy.placement.spots import best_pair, pairs, spots
from crashworthy.placement.tradeoff import trade_off
from crashworthy.placement.trim import trim_dxf_file, trim_svg_file, trims


@pytest.fixture(scope="module")
def traded(gannet):
    """Return a small trade-off of the deep-camera example."""
    return trade_off(gannet, (20.0,), (0.0, 4.0))


def test_the_trade_off_holds_the_present_place_and_the_limit(traded, gannet):
    """The sheet's own recess and tilt are among the rows, and each deepest recess keeps the limit."""
    at = gannet.sheet.camera.at
    assert (traded.now.tilt, traded.now.recess) == (at.tilt, at.recess)
    assert all(d.row.cage <= traded.limit + 0.004 for d in traded.deepest if d.row is not None)
    assert traded.pupil_sd == GUESS_SD
    assert not traded.measured
    assert "recess" in cage_plot(traded)
    assert "mm thick" in protection_plot(traded)


def test_a_narrower_limit_is_never_deeper(gannet):
    """The deepest recess grows with the share of the picture that is allowed to the cage."""
    found = [trade_off(gannet, (30.0,), (2.0,), limit).best.recess for limit in (0.005, 0.02, 0.08)]
    assert found[0] < found[1] < found[2]


def test_numbers_out_of_range_are_refused(gannet):
    """A tilt of 100 degrees and a limit above one are refused."""
    for tilts, limit in (((100.0,), 0.01), ((20.0,), 2.0)):
        with pytest.raises(SheetError, match="out of range"):
            trade_off(gannet, tilts, (0.0,), limit)


def test_trim_files_hold_the_outline_true_to_size(gannet):
    """The DXF's cut has the area that is told, in mm, and the SVG is as large as the plate."""
    bench = CameraBench(gannet)
    trim = trims(bench, Pose.of(bench.camera))[0]
    doc = ezdxf.read(io.StringIO(trim_dxf_file(trim).decode()))
    assert doc.units == ezdxf.units.MM
    area = 0.0
    for ring in doc.modelspace().query('LWPOLYLINE[layer=="CUT"]'):
        x, y = np.array([p[:2] for p in ring.get_points()]).T
        area += abs(float(x @ np.roll(y, 1) - y @ np.roll(x, 1))) / 2
    assert area == pytest.approx(trim.area, rel=0.02)
    wide = max(x for x, _ in trim.plate) - min(x for x, _ in trim.plate)
    assert f'width="{wide + 10:.3f}mm"' in trim_svg_file(trim).decode()


def test_corners_worth_marking_are_in_the_picture(gannet):
    """Every corner offered stands inside the picture, and the pupil moves it."""
    bench = CameraBench(gannet)
    found = corners(bench)
    assert found
    for c in found:
        assert abs(c.place[0]) <= 1
        assert abs(c.place[1]) <= 1 / bench.lens.aspect
        assert c.shift > 0


@given(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1))
def test_polarisation_is_between_its_floor_and_one(x, y, z):
    """Whatever the axis, the match lies between the floor and one, and one hand meets itself whole."""
    axis = np.array([x, y, z + 1.5])
    ways = np.array([[1.0, 0, 0], [0.3, -0.9, 0.2], [0.0, 0.6, -0.8]])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    for ground in ("vertical", "horizontal", "lhcp", "rhcp"):
        share = polarisation_match("linear", axis, ground, ways)
        assert ((share >= 0.0099) & (share <= 1 + 1e-9)).all()
    np.testing.assert_allclose(polarisation_match("rhcp", axis, "rhcp", ways), 1.0, atol=1e-9)
    upright = polarisation_match("linear", axis, "vertical", ways, cross_loss=90.0)
    level = polarisation_match("linear", axis, "horizontal", ways, cross_loss=90.0)
    np.testing.assert_allclose(upright + level, 1.0, atol=1e-8)


def test_more_loss_and_more_reserve_never_reach_farther(gannet):
    """Range falls with loss through parts and with the reserve, by the square law for the reserve."""
    row = gannet.sheet.antennas["video"]
    base = LinkSettings.of(row)
    ranges = [
        link_of(
            Radio(gannet, Losses(carbon=c, metal=c)), "video", None, LinkSettings.of(row, Losses(c, c))
        ).tenth
        for c in (0.0, 10.0, 20.0)
    ]
    assert ranges[0] >= ranges[1] >= ranges[2]
    near, far = (
        link_of(Radio(gannet), "video", None, LinkSettings(base.power, base.sensitivity, reserve=r)).median
        for r in (16.0, 10.0)
    )
    assert far / near == pytest.approx(10 ** (6 / 20))


def test_a_link_that_cannot_be_is_refused():
    """Settings out of range and a ground antenna of no kind are refused, field by field."""
    with pytest.raises(SheetError) as caught:
        LinkSettings(200.0, -85.0, losses=Losses(carbon=-1.0, ground="up"))
    assert {p.field for p in caught.value.problems} == {"power", "carbon", "ground"}


def test_places_are_scored_on_both_axes(gannet):
    """No place marked best is beaten on both axes by one that fits, and every other is."""
    found = spots(gannet, "control_l")
    fitting = [s for s in found if s.fits]
    assert found[0].words == "as it is"
    for s in fitting:
        beaten = any(
            o.share <= s.share
            and o.link.tenth >= s.link.tenth
            and (o.share, o.link.tenth) != (s.share, s.link.tenth)
            for o in fitting
        )
        assert s.best == (not beaten)
    assert not any(s.best for s in found if not s.fits)
    assert "1 as it is" in spot_chart(found)
    second = best_pair(found)
    assert second is None or second.both >= second.one
    pair = pairs(gannet, "control_l")
    assert [d.names[1] for d in pair] == ["control_r"]


def test_the_map_agrees_with_the_link(gannet):
    """The map's margins span those of the sphere, and its pictures draw."""
    radio = Radio(gannet)
    link, other = link_of(radio, "control_l"), link_of(radio, "control_r")
    found = link_map(radio, "control_l")
    margins = link.settings.margins(link.gain, link.mhz)
    assert found.margin.max() == pytest.approx(margins.max(), abs=0.3)
    assert found.azimuth[0] > found.azimuth[-1]
    assert "dB at 500 m" in margin_map(found, link)
    both = better_of(link, other)
    assert (both.gain >= link.gain).all()
    reached = both.reached(np.array([1.0, both.tenth, both.median]))
    assert reached[0] == pytest.approx(1.0, abs=0.02)
    assert reached[1] == pytest.approx(0.9, abs=0.01)
    assert reached[2] == pytest.approx(0.5, abs=0.01)
    assert "better of two" in range_plot([("a", link), ("b", other)], both)


def test_a_skin_with_one_part_swapped_is_the_skin_of_the_new_build(gannet):
    """Swapping a part gives the same shares as making the skin anew."""
    _, _, field, value = candidate_moves(gannet, "main")[0]
    moved = edited(gannet, field, value)
    fresh = skin_of(moved)
    swapped = skin_of(gannet).swapped([s for s in shapes_of(moved) if s[0] in ("main", "main_plug")])
    ways = Approaches.uniform(20)
    for obstacle in (OBSTACLES[0], OBSTACLES[2], OBSTACLES[4]):
        one, two = hit_shares(fresh, obstacle, ways), hit_shares(swapped, obstacle, ways)
        for name in fresh.names:
            assert one[name] == pytest.approx(two[name], abs=1e-9)


def test_before_and_after_shows_what_moved(gannet):
    """A camera 2 mm deeper has more cage in its picture; the table says so, and says worse."""
    deeper = edited(gannet, "camera.at.recess", 4.0)
    rows = {x.what: x for x in lines(look(gannet), look(deeper), ("lens",))}
    assert rows["cage in the picture"].better == -1
    assert rows["camera lens, touched first"].before.endswith("% of hits")
    assert rows["mass"].change == "same"


def test_every_screw_group_has_a_balloon(gannet):
    """The joints map numbers every screw group once."""
    picture, balloons = joints_map(gannet, width=80)
    assert [b.number for b in balloons] == list(range(1, len(gannet.joints) + 1))
    assert {b.joint.name for b in balloons} == {j.name for j in gannet.joints}
    assert picture.count("<circle") > len(balloons)


@settings(max_examples=20, deadline=None)
@given(st.floats(-4, 5), st.floats(0.5, 3.0))
def test_recess_is_monotone_in_protection(bench_dunlin, recess, step):
    """Deeper never opens a direction to a stub, never lets a wall nearer, never clears the picture."""
    one, two = (bench_dunlin.row(r, 25.0, 60) for r in (recess, recess + step))
    assert two.flat_gap >= one.flat_gap - 1e-9
    assert two.cage >= one.cage - 0.01
    # The contacts are sampled, so one direction of 600 may flip.
    assert two.open <= one.open + 1.1 / 600 or math.isclose(two.open, one.open)


@pytest.fixture(scope="module")
def bench_dunlin(dunlin):
    """Return the exposed example without its camera."""
    return CameraBench(dunlin)
