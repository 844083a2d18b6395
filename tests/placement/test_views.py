"""Camera, antennas, leads and pack keep their promises."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crashworthy.errors import SheetError
from crashworthy.pictures.render import camera_png, camera_svg, exploded_png, quad_png, trim_svg
from crashworthy.placement.antennas import coverage, diversity, positions
from crashworthy.placement.camera import CameraBench, Pose, calibrate_pupil
from crashworthy.placement.leads import pack_faces, snags, strap_hold
from crashworthy.placement.lens import PROJECTIONS, Lens
from crashworthy.placement.link import fspl, polarisation_loss, range_factor
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


def test_a_marked_corner_finds_the_pupil(gannet, bench):
    """The pupil is found from one marked corner to a hundredth of a millimetre."""
    camera = gannet.sheet.camera
    true = camera.model_copy(update={"pupil": 3.7})
    pose, corner = Pose.of(true), np.array([82.0, 14.0, 30.0])
    seen = bench.lens.picture((corner * 1e-3 - pose.pupil) @ pose.turn)
    pupil, miss = calibrate_pupil(bench.lens, camera, [(tuple(corner), tuple(seen))])
    assert pupil == pytest.approx(3.7, abs=0.01)
    assert miss < 0.01


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
    both = diversity(coverage(gannet, "control_l"), coverage(gannet, "control_r"))
    assert both.gain >= 0
    assert both.insurance >= both.gain
    assert both.range == pytest.approx(range_factor(both.gain))


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


def test_a_tighter_strap_holds_more(gannet):
    """Friction grows with tension, and the tension asked for holds just that."""
    need = strap_hold(gannet, 800.0).tension
    assert strap_hold(gannet, 800.0, need).holds == pytest.approx(800.0, rel=1e-9)
    assert strap_hold(gannet, 800.0, 2 * need).holds == pytest.approx(1600.0, rel=1e-9)
