"""Every check against the outside passes, has a source, and can fail."""

from __future__ import annotations

from dataclasses import replace

import pytest

from crashworthy.evidence.registry import ROOMS, all_checks, run_check

CHECKS = all_checks()


@pytest.mark.parametrize("check", CHECKS, ids=[c.id for c in CHECKS])
def test_check_passes(check):
    """Our number agrees with the outside number within its tolerance."""
    outcome = run_check(check)
    assert outcome.passed, f"expected {outcome.expected!r}, got {outcome.got!r}. {outcome.problem}"


def test_there_are_checks_for_every_room():
    """Each room is held against the outside, and there are at least forty checks."""
    assert len(CHECKS) >= 40
    assert {c.room for c in CHECKS} == set(ROOMS)


@pytest.mark.parametrize("check", CHECKS, ids=[c.id for c in CHECKS])
def test_check_says_where_its_number_comes_from(check):
    """Each check names inputs, a source, and how the expected value was obtained."""
    assert check.title
    assert check.inputs
    assert check.source.strip()
    assert check.access in ("read", "recalled", "derived", "computed")
    assert 0 <= check.tolerance < 0.5 or not check.relative


def test_a_wrong_number_fails():
    """A check whose answer is off by ten tolerances is reported as failed, and so is one that breaks."""
    check = CHECKS[0]
    expected, _ = check.run()
    off = 10 * check.tolerance * (abs(expected) if check.relative else 1) + 1e-9
    assert not run_check(replace(check, run=lambda: (expected, expected + off))).passed
    broken = run_check(replace(check, run=lambda: 1 / 0))
    assert not broken.passed
    assert "ZeroDivisionError" in broken.problem
    assert not run_check(replace(check, run=lambda: (expected, float("nan")))).passed
