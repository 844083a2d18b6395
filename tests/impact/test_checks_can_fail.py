"""The outside checks notice a wrong constant."""

from __future__ import annotations

import math

import pytest

from crashworthy.evidence import crash_scenes as scenes
from crashworthy.evidence.impact import CHECKS
from crashworthy.evidence.registry import run_check
from crashworthy.impact.contact import HERTZ
from crashworthy.impact.scene import run, single_bed


def _broken_drop(mass, speed, stiffness, crush=scenes.HUGE, y=0.0):
    """The Hertz scene with 2 % too stiff a contact."""
    dt = scenes.hertz_duration(mass, speed, stiffness) / 2000.0
    beds = single_bed(1.02 * stiffness, crush, y, law=HERTZ)
    state = scenes.start((0.0, 0.0, -speed))
    return run(scenes.ball(mass), beds, state, law=HERTZ, dt=dt, steps=4000)


def test_two_per_cent_of_stiffness_is_noticed(monkeypatch):
    """A stiffness wrong by 2 % fails the checks of peak force and contact time, not that of impulse."""
    monkeypatch.setattr(scenes, "hertz_drop", _broken_drop)
    outcome = {c.id: run_check(c).passed for c in CHECKS if c.id.startswith("impact.V1.1.")}
    assert not outcome["impact.V1.1.peak_force"]
    assert not outcome["impact.V1.1.duration"]
    assert outcome["impact.V1.1.impulse"]


def test_the_formula_often_quoted_for_contact_time_fails():
    """2.943 (m²/(K² v))^0.2 is 9 % short: 3.218 is right, and the check can tell."""
    check = next(c for c in CHECKS if c.id == "impact.V1.1.duration")
    _, got = check.run()
    right = scenes.hertz_duration(0.05, 5.0, 1e8)
    wrong = 2.9432 * (0.05**2 / (1e8**2 * 5.0)) ** 0.2
    assert got == pytest.approx(right, rel=1e-3)
    assert abs(got / wrong - 1.0) > 50 * check.tolerance
    assert pytest.approx(2.9432, abs=1e-4) == scenes.HERTZ_TIME
    assert math.isclose(right, 3.2180 * (0.05**2 / (1e8**2 * 5.0)) ** 0.2, rel_tol=1e-4)
