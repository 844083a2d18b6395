"""The contact law, alone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import NotFoundError
from crashworthy.impact.contact import (
    BED,
    HERTZ,
    UNTOUCHED,
    Bed,
    bed_of,
    combine,
    combine_hertz,
    damping_number,
    elastic,
    friction,
    press,
    restitution,
    yield_depth,
)
from crashworthy.impact.obstacle import SURFACES

laws = st.sampled_from((BED, HERTZ))
stiffness = st.floats(1e6, 1e12)
crush = st.floats(1e4, 1e9)
beds = st.builds(Bed, stiffness, crush, st.floats(0.05, 1.0), st.floats(0.0, 1.5))


@settings(deadline=None)  # the first call may compile
@given(
    laws,
    stiffness,
    crush,
    st.floats(0.0, 1.0),
    st.floats(-0.1, 0.1),
    st.floats(-30, 30),
    st.floats(0.0, 0.01),
    st.floats(-1.0, 0.1),
)
def test_pressure_stays_between_zero_and_the_crush_plateau(law, k, p_y, alpha, d, rate, spread, deepest):
    """No depth or speed pulls, or presses harder than the plateau; indentation only grows."""
    d_y = yield_depth(law, k, p_y)
    p, share, now, undamped, _, _, crushed = press(law, k, p_y, d_y, alpha, d, rate, spread, deepest)
    assert 0.0 <= p <= p_y * (1 + 1e-6)
    assert 0.0 <= undamped <= p_y * (1 + 1e-6)
    assert 0.0 <= share <= 1.0 + 1e-6
    assert now >= deepest
    assert crushed >= -1e-9 * p_y * max(spread, abs(d))


@settings(deadline=None)  # the first call may compile
@given(
    laws,
    stiffness,
    crush,
    st.floats(0.0, 0.5),
    st.floats(1e-5, 5e-3),
    st.floats(0.0, 5e-3),
    st.integers(1, 4),
)
def test_a_cycle_of_pressing_never_gives_energy_back_for_nothing(law, k, p_y, alpha, top, spread, cycles):
    """Work put into a patch by any number of press-and-release cycles is not negative."""
    d_y = yield_depth(law, k, p_y)
    deepest, work, n, speed = UNTOUCHED, 0.0, 400, 1.0
    for cycle in range(cycles):
        way = top * (1 + 0.3 * cycle) + spread
        for i in range(2 * n):
            up = i < n
            depth = way * ((i + 0.5) / n if up else (2 * n - i - 0.5) / n) - spread
            p, _, deepest, *_ = press(
                law, k, p_y, d_y, alpha, depth, speed if up else -speed, spread, deepest
            )
            work += p * (way / n if up else -way / n)
        # The midpoint rule leaves at most one step's worth of the stored energy.
        assert work >= -elastic(law, k, min(d_y, way + spread))[1] * 4 / n


class Slices:
    """A patch as many separate springs, each with an indentation of its own: the law taken at its word."""

    def __init__(self, k, p_y, spread, number=4000):
        self.k, self.p_y = k, p_y
        self.offset = spread * ((np.arange(number) + 0.5) / number * 2.0 - 1.0)
        self.dent = np.zeros(number)

    def press(self, alpha, d, rate):
        """Mean pressure, damped and undamped, energy and crushing work of one step."""
        depth, d_y = d + self.offset, self.p_y / self.k
        dent = np.maximum(self.dent, depth - d_y)
        work = self.p_y * (dent - self.dent).mean()
        self.dent = dent
        d_e = np.clip(depth - dent, 0.0, d_y)
        p = self.k * d_e
        damped = np.clip(p * (1.0 + alpha * rate), 0.0, self.p_y)
        return damped.mean(), p.mean(), 0.5 * self.k * (d_e**2).mean(), work


@settings(deadline=None, max_examples=50)
@given(
    st.floats(1e8, 1e11),
    st.floats(1e5, 3e8),
    st.floats(1e-5, 5e-3),
    st.floats(0.0, 0.3),
    st.lists(st.floats(-1.5, 4.0), min_size=1, max_size=12),
)
def test_a_patch_presses_like_the_springs_it_stands_for(k, p_y, spread, alpha, way):
    """The closed form is the mean over separate springs, whatever the way in and out; energy and work too."""
    d_y, deepest, springs = p_y / k, UNTOUCHED, Slices(k, p_y, spread)
    before = -2.0 * spread
    for there in way:
        d = there * spread
        rate = 20.0 * (1.0 if d > before else -1.0)
        p, _, deepest, undamped, energy, _, crushed = press(BED, k, p_y, d_y, alpha, d, rate, spread, deepest)
        before = d
        want = springs.press(alpha, d, rate)
        np.testing.assert_allclose((p, undamped), want[:2], rtol=2e-3, atol=2e-3 * p_y)
        np.testing.assert_allclose(energy, want[2], rtol=2e-3, atol=2e-3 * p_y * d_y)
        np.testing.assert_allclose(crushed, want[3], rtol=2e-3, atol=2e-3 * p_y * spread)


@settings(deadline=None)
@given(
    st.floats(1e8, 1e11), st.floats(1e5, 3e8), st.floats(1e-4, 5e-3), st.floats(-1.0, 2.0), st.integers(2, 6)
)
def test_a_patch_cut_in_pieces_presses_alike(k, p_y, spread, depth, pieces):
    """Pieces of a tilted patch sum up to the whole: the load does not depend on how finely skin is cut."""
    d_y, d, w = p_y / k, depth * spread, spread / pieces
    whole = press(BED, k, p_y, d_y, 0.0, d, 0.0, spread, UNTOUCHED)
    parts = [
        press(BED, k, p_y, d_y, 0.0, d + spread * ((2 * i + 1) / pieces - 1.0), 0.0, w, UNTOUCHED)
        for i in range(pieces)
    ]
    for name, at in (("pressure", 0), ("energy", 4), ("crushed", 6)):
        total = sum(p[at] for p in parts) / pieces
        assert total == pytest.approx(whole[at], rel=1e-6, abs=1e-9 * p_y * max(d_y, spread)), name


@settings(deadline=None)  # the first call may compile
@given(st.floats(0.0, 2.0), st.floats(0.0, 1e5), st.floats(1e-9, 100.0), st.floats(0.0, 1e5))
def test_friction_is_at_most_coulombs_and_never_reverses(mu, normal, sliding, cap):
    """Friction takes the smaller of Coulomb's force and what a step can stop."""
    force = friction(mu, normal, sliding, cap) * sliding
    assert 0.0 <= force <= mu * normal * (1 + 1e-12) + 1e-300
    assert force <= cap * sliding


@given(st.floats(0.02, 0.999))
def test_damping_reproduces_the_wanted_rebound(e):
    """The root finding inverts the exact relation between damping and restitution."""
    assert restitution(damping_number(e)) == pytest.approx(e, abs=1e-9)


def test_limits_of_restitution():
    """No damping gives full rebound; dead contacts are taken as nearly dead; nonsense is refused."""
    assert damping_number(1.0) == 0.0
    assert restitution(0.0) == 1.0
    assert damping_number(0.0) == damping_number(0.02)
    with pytest.raises(ValueError, match="restitution"):
        damping_number(1.2)


@given(beds, beds)
def test_two_beds_in_series_are_softer_and_weaker_than_either(a, b):
    """Combining is symmetric, softens, takes the smaller plateau and the lossier rebound."""
    both = combine(a, b)
    assert both == combine(b, a)
    assert both.stiffness <= min(a.stiffness, b.stiffness)
    assert both.crush == min(a.crush, b.crush)
    assert both.restitution == min(a.restitution, b.restitution)
    assert min(a.friction, b.friction) - 1e-12 <= both.friction <= max(a.friction, b.friction) + 1e-12


@given(st.floats(1e5, 1e10), st.floats(1e5, 1e10), st.floats(1.0, 1e4))
def test_hertz_contacts_in_series_share_one_force(a, b, force):
    """Depths of the two contacts at one force add up to the depth of the combined one."""
    depth = (force / combine_hertz(a, b)) ** (2 / 3)
    assert depth == pytest.approx((force / a) ** (2 / 3) + (force / b) ** (2 / 3), rel=1e-9)


def test_every_surface_and_the_last_resort_are_tabled():
    """A scenario can name every surface, and a part of unknown make still has a bed."""
    for surface in SURFACES:
        assert bed_of(f"surface_{surface}").stiffness > 0.0
    assert bed_of("part_unheard_of", "unobtainium", "part_default") == bed_of("part_default")
    with pytest.raises(NotFoundError):
        bed_of("nothing")
    assert math.isfinite(bed_of("part_motor").crush)
