"""Threads, joints and the torque card."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crashworthy.build.assemble import load
from crashworthy.errors import CrashworthyError
from crashworthy.strength.joint import (
    Joint,
    Layer,
    cone_stiffness,
    preload_at_yield,
    preload_from,
    torque_for,
)
from crashworthy.strength.slip import slip_shares
from crashworthy.strength.thread import COARSE, formula_limits, limits_6g6h, strength_class, thread
from crashworthy.strength.torque import torque_card

names = st.sampled_from(sorted(COARSE))


@pytest.fixture(scope="module")
def gannet(gannet_sheet):
    """The example quad."""
    return load(gannet_sheet)


def changed(quad, group, **fields):
    """The quad with one joint group changed."""
    joints = tuple(dataclasses.replace(j, **fields) if j.name == group else j for j in quad.joints)
    return dataclasses.replace(quad, joints=joints)


@given(names)
def test_diameters_stand_in_order(name):
    """Core, minor, pitch and outer diameter rise; the stress area lies between core and shank."""
    t = thread(name)
    assert 0 < t.core_diameter < t.minor_diameter < t.pitch_diameter < t.diameter < t.hole < t.head
    assert t.core_area < t.stress_area < t.nominal_area


@pytest.mark.parametrize("name", ["M2", "M2.5", "M3"])
def test_limits_by_formula_come_near_the_table(name):
    """The formulas used for sizes without a table row agree with the table to 5 um."""
    by_table, by_formula = limits_6g6h(thread(name)), formula_limits(thread(name))
    assert by_formula.d_min == pytest.approx(by_table.d_min, abs=5e-6)
    assert by_formula.d2_max == pytest.approx(by_table.d2_max, abs=5e-6)


@given(names, st.floats(10, 5000), st.floats(0.05, 0.3))
def test_torque_and_preload_are_inverse(name, preload, friction):
    """Preload to torque and back is the same preload; more friction needs more torque."""
    t = thread(name)
    torque = torque_for(t, preload, friction)
    assert preload_from(t, torque, friction) == pytest.approx(preload, rel=1e-12)
    assert torque_for(t, preload, friction * 1.1) > torque


@given(names, st.floats(0.05, 0.3))
def test_friction_lowers_the_preload_a_screw_can_take(name, friction):
    """Twist from thread friction leaves less for pull."""
    t, y = thread(name), strength_class("8.8").yield_
    assert preload_at_yield(t, y, friction * 1.1) < preload_at_yield(t, y, friction) < 0.9 * y * t.stress_area


@given(st.floats(5e-4, 0.02), st.floats(1e9, 2e11), st.floats(0.1, 0.9))
def test_layers_in_series_are_one_layer(grip, modulus, cut):
    """Cutting a layer in two changes nothing: the cone goes on."""
    t = thread("M3")
    whole = cone_stiffness(t.head, t.hole, [Layer(grip, modulus)])
    parts = [Layer(grip * cut, modulus), Layer(grip * (1 - cut), modulus)]
    assert cone_stiffness(t.head, t.hole, parts) == pytest.approx(whole, rel=1e-9)


def test_a_loose_joint_loses_one_minus_phi_of_its_vibration_margin():
    """Metal on metal loses about nine tenths, carbon about seven tenths, and it is 1 - phi."""

    def joint(modulus):
        return Joint(thread("M3"), (Layer(5e-3, modulus),), 205e9, 69e9)

    metal, carbon = joint(70e9), joint(9e9)
    assert metal.margin_lost == pytest.approx(0.92, abs=0.01)
    assert carbon.margin_lost == pytest.approx(0.70, abs=0.01)
    assert metal.margin_lost == 1.0 - metal.introduction * metal.phi_k
    assert carbon.life_ratio(3.0) == pytest.approx(0.3**3, rel=0.06)


def test_all_preload_is_gone_after_the_turn_that_says_so():
    """The back-turn to zero shortens the screw by exactly its own and the plates' spring."""
    joint = Joint(thread("M3"), (Layer(5e-3, 9e9),), 205e9, 71e9)
    travel = joint.turn_to_zero(1500.0) / (2 * math.pi) * joint.thread.pitch
    assert joint.embedding_loss(travel) == pytest.approx(1500.0, rel=1e-12)


def test_the_card_names_what_decides(gannet):
    """A 12.9 screw in 3 mm of motor base is held back by the thread, not by the screw."""
    row = {r.group: r for r in torque_card(gannet).rows}["motor"]
    assert row.grip == pytest.approx(5e-3)
    assert row.engaged == pytest.approx(3e-3)
    assert row.limit.startswith("stripping")
    assert row.preload[1] == min(row.limits.values())
    assert row.torque[0] < row.torque[1] < 2.0
    assert "vibration margin" not in row.summary()


def test_grip_runs_through_every_layer_that_touches(gannet):
    """Arm screws clamp bottom plate, arm and clamp plate."""
    row = {r.group: r for r in torque_card(gannet).rows}["arm"]
    assert row.grip == pytest.approx(2.5e-3 + 5e-3 + 2e-3)


def test_a_screw_that_is_too_short_or_too_long_gets_no_torque(gannet):
    """Instead of a number it gets the reason and what to do."""
    for length, word in ((5.2e-3, "too short"), (11e-3, "too long")):
        row = {r.group: r for r in torque_card(changed(gannet, "motor", screw_length=length)).rows}["motor"]
        assert row.torque is None
        assert word in row.summary()


def test_soft_grommets_get_no_torque(gannet):
    """What stands on rubber is never preloaded."""
    row = {r.group: r for r in torque_card(gannet).rows}["stack"]
    assert row.torque is None
    assert "grommets" in row.limit


def test_a_measured_depth_replaces_the_assumption(gannet):
    """A deeper thread changes nothing for this screw, a shallower one takes the torque away."""
    row = {r.group: r for r in torque_card(gannet, {"motor": 2.5e-3}).rows}["motor"]
    assert row.torque is None
    with pytest.raises(CrashworthyError, match="no joint group"):
        torque_card(gannet, {"moter": 2.5e-3})


def test_a_stronger_screw_never_lowers_the_torque(gannet):
    """From 8.8 to 12.9 the card rises or stays where the thread decides."""
    cards = [torque_card(changed(gannet, "standoff", grade=g)) for g in ("4.8", "8.8", "12.9")]
    tops = [{r.group: r for r in c.rows}["standoff"].preload[1] for c in cards]
    assert tops == sorted(tops)


def test_slips_grow_with_the_load(gannet):
    """No force slips nothing; a force above the friction of every screw slips all that it pushes."""
    card = torque_card(gannet)
    none = np.zeros((len(gannet.parts), 10))
    assert set(slip_shares(gannet, card, none).values()) == {0.0}
    assert set(slip_shares(gannet, card, none + 1e5).values()) == {1.0}
    part = np.zeros_like(none)
    part[gannet.index("motor_fl"), :3] = 1e5
    assert slip_shares(gannet, card, part)["motor"] == pytest.approx(0.3)
    shear = np.zeros((len(gannet.arms), 2, part.shape[1]))
    assert slip_shares(gannet, card, part, shear)["motor"] == 0.0
    shear[1, 1, :5] = 1e6
    found = slip_shares(gannet, card, none, shear)
    assert found["motor"] == pytest.approx(5 / part.shape[1])
    assert found["arm"] == 0.0


def test_the_card_is_plain_data_with_its_assumptions(gannet):
    """JSON holds every row and every number that was assumed."""
    import json

    plain = json.loads(json.dumps(torque_card(gannet).to_json(), allow_nan=False))
    assert len(plain["rows"]) == len(gannet.joints)
    assert any(a["name"] == "joint.head_factor" for a in plain["assumptions"])


def test_unknown_threads_are_refused():
    """A thread that is not tabled gets a message."""
    for name in ("M7", "x", ""):
        with pytest.raises(CrashworthyError):
            thread(name)
