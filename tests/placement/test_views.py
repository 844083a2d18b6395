"""Camera, antennas, leads and pack keep their promises."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crashworthy.errors import SheetError
from crashworthy.pictures.exploded import exploded_png
from crashworthy.pictures.render import camera_png, camera_svg, quad_png, trim_svg
from crashworthy.placement.antennas import Radio, coverage
from crashworthy.placement.budget import diversity, link_of
from crashworthy.placement.camera import CameraBench, Pose
from crashworthy.placement.leads import pack_faces, snags
from crashworthy.placement.lens import PROJECTIONS, Lens
from crashworthy.placement.link import fspl, polarisation_loss, range_factor
from crashworthy.placement.pupil import Mark, fit_pupil
from crashworthy.placement.spots import positions
from crashworthy.placement.strap import strap_demand
from crashworthy.placement.trim import trims


@pytest.fixture(scope="module")
def bench(gannet):
    """Return the deep-camera example without its camera."""
    return CameraBench(gannet)


@given(st.sampled_from(PROJECTIONS), st.floats(20, 110), st.sampled_from("hvd"), st.floats(1.0, 2.0))
def test_a_field_of_view_comes_back(projection, fov, of, aspect):
    """A lens made from a field of view has that field of view, for every projection and side."""
    lens = Lens.from_fov(math.radians(fov), of, aspect, projection)
    assert math.degrees(lens.fov(of)) == pytest.approx(fov, rel=1e-9)


@given(st.sampled_from(PROJECTIONS), st.floats(-0.9, 0.9), st.floats(-0.6, 0.6))
def test_a_point_of_the_picture_comes_back(projection, right, up):
    """Picture to direction and back ends at the same point."""
    lens = Lens.from_fov(math.radians(100), "d", 4 / 3, projection)
    np.testing.assert_allclose(lens.picture(lens.direction(right, up)), [right, up], atol=1e-6)


def test_a_lens_that_cannot_be_is_refused():
    """A rectilinear lens of 200 degrees is refused with a reason."""
    with pytest.raises(SheetError, match="cannot see"):
        Lens.from_fov(math.radians(200), "h", 4 / 3, "rectilinear")


def test_deeper_is_safer_and_sees_less(bench):
    """Going deeper covers more of the picture and lets only smaller obstacles reach the glass."""
    rows = bench.trade_off((20.0,), (-4.0, 0.0, 4.0))
    assert rows[0].cage <= rows[1].cage <= rows[2].cage
    assert rows[0].ball >= rows[1].ball >= rows[2].ball
    assert rows[0].open >= rows[1].open >= rows[2].open
    assert rows[0].flat_gap <= rows[1].flat_gap


def test_the_deepest_recess_keeps_the_limit(bench):
    """At the deepest recess the cage covers no more than asked, half a millimetre deeper more."""
    deepest = bench.deepest(20.0, 0.01)
    assert bench.cage_share(deepest, 20.0) <= 0.01
    assert bench.cage_share(deepest + 0.5, 20.0) > 0.01
    assert bench.deepest(20.0, 0.05) > deepest


def test_a_freestyle_camera_sits_where_common_practice_puts_it(bench):
    """At 20 degrees with the frame out of the picture, no wall and no trunk over 50 mm touches the glass."""
    row = bench.row(bench.deepest(20.0), 20.0)
    assert row.flat_gap > 5e-3
    assert 2 * row.pole < 0.1
    assert "wall" in row.summary()


def test_filing_off_the_trim_is_told_with_its_outline(bench):
    """What stands in the picture gets an outline to take off, smaller than the plate."""
    cuts = trims(bench, Pose.of(bench.camera, 6.0, 20.0))
    assert cuts
    assert all(0 < c.share < 1 for c in cuts)
    assert "mm²" in trim_svg(cuts[0])


def _mark(lens, camera, corner, size=(1280, 960)):
    """Where a camera would see a corner (mm), as a mark in a picture."""
    pose = Pose.of(camera)
    right, up = lens.picture((np.array(corner) * 1e-3 - pose.pupil) @ pose.turn)
    column = (right + 1) / 2 * size[0] - 0.5
    return Mark(corner, (float(column), float((size[1] - up * size[0]) / 2 - 0.5)), size)


def test_a_marked_corner_finds_the_pupil(gannet, bench):
    """The pupil is found from one marked corner, and the marked pixel alone moves it by what its sd says."""
    camera = gannet.sheet.camera
    mark = _mark(bench.lens, camera.model_copy(update={"pupil": 3.7}), (79.0, 10.0, 32.0))
    found = fit_pupil(bench.lens, camera, [mark])
    assert found.pupil == pytest.approx(3.7, abs=1e-6)
    assert found.miss < 1e-6
    assert 0.1 < found.sd < 1.5
    assert dict(found.causes)["mark in the picture"] < found.sd


def test_two_marks_leave_less_doubt_than_one(gannet, bench):
    """A second corner on the other side lowers what the marks leave open."""
    marks = [_mark(bench.lens, gannet.sheet.camera, (79.0, y, 32.0)) for y in (10.0, -10.0)]
    one, two = (fit_pupil(bench.lens, gannet.sheet.camera, m) for m in (marks[:1], marks))
    assert dict(two.causes)["place of the corner"] < dict(one.causes)["place of the corner"]
    assert two.miss < 1e-6


def test_marks_that_cannot_be_are_refused(gannet, bench):
    """No mark, one outside its picture, a cropped picture or a pupil outside the camera is refused."""
    lens, camera = bench.lens, gannet.sheet.camera
    for marks, word in (
        ([], "no corner"),
        ([Mark((79.0, 10.0, 32.0), (2000.0, 10.0), (1280, 960))], "outside"),
        ([Mark((79.0, 10.0, 32.0), (100.0, 180.0), (1280, 720))], "wide to high"),
        ([Mark((79.0, 10.0, 32.0), (600.0, 470.0), (1280, 960))], "where no lens is"),
    ):
        with pytest.raises(SheetError, match=word):
            fit_pupil(lens, camera, marks)


def test_pictures_are_the_same_bytes_each_time(gannet, bench):
    """The renderer is deterministic and writes PNG."""
    view = bench.view(Pose.of(bench.camera))
    for make in (
        lambda: camera_png(view),
        lambda: quad_png(gannet, {"lens": 1.0}, width=60),
        lambda: exploded_png(gannet, width=60),
    ):
        assert make()[:4] == b"\x89PNG"
        assert make() == make()
    assert "<svg" in camera_svg(view, "test")


def test_an_antenna_out_in_the_open_is_blocked_less(gannet):
    """A place inside the frame is blocked more than one above it."""
    spots = positions(gannet, "video")
    inside, rear = (coverage(gannet, "video", spots[s]) for s in ("inside", "rear, upright"))
    assert inside.blocked > 2 * rear.blocked


def test_two_antennas_are_never_worse_than_the_better(gannet):
    """Selection diversity gains, and more than nothing is left when a lead is cut."""
    radio = Radio(gannet)
    both = diversity(link_of(radio, "control_l"), link_of(radio, "control_r"), shares=(0.01, 0.02))
    assert both.both >= both.one
    assert both.range >= 1
    assert 0 < both.left <= both.one
    assert both.cut[0] in (0.01, 0.02)


@given(st.floats(100, 6000), st.floats(10, 5000), st.floats(1.01, 10))
def test_loss_grows_by_the_square_law(mhz, distance, times):
    """Times the distance loses 20 log of it, and that gain gives it back as range."""
    more = fspl(mhz, distance * times) - fspl(mhz, distance)
    assert range_factor(more) == pytest.approx(times, rel=1e-9)


def test_polarisation():
    """Same hand loses nothing, opposite hands 15 dB, linear against circular half."""
    assert polarisation_loss("rhcp", "rhcp") == 0
    assert polarisation_loss("rhcp", "lhcp") == 15
    assert polarisation_loss("linear", "rhcp") == pytest.approx(3.01, abs=0.001)
    assert polarisation_loss("linear", "linear", math.pi / 2) == 20


def test_leads_and_pack_say_what_is_outside(gannet):
    """Loops outside the hull are told with the load that tears them; pack results carry the fire caution."""
    first = snags(gannet)[0]
    assert first.depth > 0
    assert first.pull == 60
    faces = pack_faces(gannet, 40)
    assert faces.worst not in ("front", "rear")
    assert "fire" in faces.caution
    assert len(faces.orientations) == 2


def test_a_tighter_strap_is_asked_for_more_less_often(gannet):
    """Friction grows with tension; the tension asked for fails one crash in ten; more pull throws more."""
    from crashworthy.strength.capacity import capacities

    strength = next(c for c in capacities(gannet) if c.load == "strap")
    pulls = np.linspace(1.0, 500.0, 1000)
    loose = strap_demand(gannet, pulls, strength)
    tight = strap_demand(gannet, pulls, strength, loose.tension)
    assert tight.friction == pytest.approx(loose.quantiles[1])
    assert tight.beyond == pytest.approx(0.1, abs=0.002)
    assert tight.beyond < loose.beyond
    assert strap_demand(gannet, 2 * pulls, strength).thrown > loose.thrown > 0
    assert "burn" in loose.caution
