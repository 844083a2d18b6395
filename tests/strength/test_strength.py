"""Arms as beams, parts as capacities."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1] / "impact"))

from boxes import make_quad

from crashworthy.errors import CrashworthyError
from crashworthy.materials.table import ACCESS, datum
from crashworthy.strength.beam import arm_beam, deflection_shape, tip_stiffness
from crashworthy.strength.capacity import (
    LOADS,
    arm_root_moments,
    capacities,
    shaft_bend_force,
    standoff_side_force,
)

sizes = st.floats(0.005, 0.03)


@given(sizes, sizes, st.floats(0.002, 0.008), st.floats(0.04, 0.15))
def test_a_taper_lies_between_its_two_widths(root, tip, thickness, length):
    """A tapered arm is as stiff as something between the narrow and the wide uniform arm."""
    k = tip_stiffness(50e9, length, root, tip, thickness)
    low, high = sorted(tip_stiffness(50e9, length, b, b, thickness) for b in (root, tip))
    assert low * (1 - 1e-9) <= k <= high * (1 + 1e-9)


@given(sizes, st.floats(0.002, 0.008), st.floats(0.04, 0.15))
def test_shear_only_softens(width, thickness, length):
    """Shear flexibility lowers the stiffness, most where the beam is stocky."""
    for in_plane in (False, True):
        stiff = tip_stiffness(50e9, length, width, width, thickness, in_plane=in_plane)
        soft = tip_stiffness(50e9, length, width, width, thickness, in_plane=in_plane, shear_modulus=4e9)
        assert soft < stiff


@pytest.mark.parametrize(
    "bad", [{"length": 0.0}, {"thickness": -1.0}, {"width_tip": 0.0}, {"modulus": math.nan}]
)
def test_impossible_sizes_are_refused(bad):
    """Zero, negative or missing sizes get a message."""
    good = {"modulus": 5e10, "length": 0.08, "width_root": 0.016, "width_tip": 0.012, "thickness": 0.005}
    with pytest.raises(CrashworthyError):
        tip_stiffness(**(good | bad))


def test_root_factors_and_their_origin_are_carried():
    """The spring of an arm is the ideal beam times the assumed root factor, and says so."""
    beam = arm_beam(make_quad(0.02).arms[0])
    roots = [datum("arm_root", f"factor_{d}").value for d in ("in_plane", "out_of_plane")]
    np.testing.assert_allclose(beam.stiffness, np.array(beam.ideal) * roots, rtol=1e-12)
    assert {d.access for d in beam.origin} >= {"assumption"}
    assert all(d.source for d in beam.origin)
    assert beam.tip_mass == pytest.approx(0.040 + 33 / 140 * 0.011, rel=1e-12)


def test_deflection_shape_runs_from_root_to_tip():
    """Nothing moves at the root, all at the tip, and stations beyond are held."""
    np.testing.assert_allclose(deflection_shape(np.array([-1.0, 0.0, 0.5, 1.0, 2.0])), [0, 0, 0.3125, 1, 1])


def test_a_hole_costs_strength():
    """The net section and the notch factor both count; no hole, no cost."""
    from dataclasses import replace

    arm = make_quad(0.02).arms[0]
    plain, holed = arm_root_moments(replace(arm, hole=0.0)), arm_root_moments(arm)
    notch = datum("part_arm", "notch").value
    assert holed[0] == pytest.approx(plain[0] * (1 - 0.0032 / 0.016) * notch, rel=1e-12)
    assert holed[1] < plain[1]
    assert arm_root_moments(replace(arm, hole=1.0))[0] > 0.0


@given(st.floats(0.002, 0.006), st.floats(0.0, 0.9))
def test_bores_weaken_shafts_and_standoffs(diameter, share):
    """A hollow bar never bears more than a solid one."""
    bore = share * diameter
    assert shaft_bend_force(diameter, 1e9, 0.01, 0.3, bore) <= shaft_bend_force(diameter, 1e9, 0.01, 0.3)
    assert standoff_side_force(diameter, 0.03, 3e8, bore) <= standoff_side_force(diameter, 0.03, 3e8)


def test_every_capacity_is_complete():
    """Each mode has a load, a positive median, a spread and an origin."""
    quad = make_quad(0.02)
    found = capacities(quad)
    assert {quad.parts[c.part].kind for c in found} >= {"arm", "motor", "prop", "battery", "board", "lens"}
    for c in found:
        assert c.load in LOADS
        assert c.median > 0.0
        assert c.beta >= 0.2
        assert c.spread > 0.0
        assert c.source
        assert c.access in ACCESS
        assert c.unit in ("N", "m/s", "")
    assert [c.part for c in found] == sorted(c.part for c in found)


def test_thicker_arms_bear_more():
    """Root moment goes with the square of the thickness, stiffness nearly with the cube."""
    thin, thick = (make_quad(0.02, thickness=t).arms[0] for t in (0.004, 0.006))
    assert arm_root_moments(thick)[0] == pytest.approx(2.25 * arm_root_moments(thin)[0], rel=1e-12)
    assert arm_beam(thick).stiffness[1] > 3.0 * arm_beam(thin).stiffness[1]
