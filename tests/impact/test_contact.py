"""The contact law, alone."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import NotFoundError
from crashworthy.impact.contact import (
    BED,
    HERTZ,
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
    laws, stiffness, crush, st.floats(0.0, 1.0), st.floats(0.0, 0.1), st.floats(-30, 30), st.floats(0.0, 0.1)
)
def test_pressure_stays_between_zero_and_the_crush_plateau(law, k, p_y, alpha, d, rate, stored):
    """No depth or speed pulls, or presses harder than the plateau; indentation only grows."""
    d_y = yield_depth(law, k, p_y)
    p, d_e, d_p = press(law, k, p_y, d_y, alpha, d, rate, stored)[:3]
    assert 0.0 <= p <= p_y
    assert d_p >= stored
    assert 0.0 <= d_e <= d_y * (1 + 1e-12)


@settings(deadline=None)  # the first call may compile
@given(laws, stiffness, crush, st.floats(0.0, 0.5), st.floats(1e-5, 5e-3), st.integers(1, 4))
def test_a_cycle_of_pressing_never_gives_energy_back_for_nothing(law, k, p_y, alpha, deepest, cycles):
    """Work put into a patch by any number of press-and-release cycles is not negative."""
    d_y = yield_depth(law, k, p_y)
    stored, work, n, speed = 0.0, 0.0, 400, 1.0
    for cycle in range(cycles):
        top = deepest * (1 + 0.3 * cycle)
        for i in range(2 * n):
            up = i < n
            depth = top * ((i + 0.5) / n if up else (2 * n - i - 0.5) / n)
            p, _, stored = press(law, k, p_y, d_y, alpha, depth, speed if up else -speed, stored)[:3]
            work += p * (top / n if up else -top / n)
        # The midpoint rule leaves at most one step's worth of the stored energy.
        assert work >= -elastic(law, k, min(d_y, top))[1] * 4 / n


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
