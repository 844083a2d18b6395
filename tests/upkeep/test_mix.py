"""The mix of obstacles follows the journal once it says enough."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crashworthy.impact.scenario import Scenario
from crashworthy.upkeep.mix import ENOUGH, WORTH, fitted_mix


def journal(*words: str) -> Any:
    """A history with nothing but crashes."""
    return SimpleNamespace(crashes=tuple(SimpleNamespace(obstacle=w) for w in words))


def share(scenario: Scenario, name: str) -> float:
    """Share of an obstacle."""
    return dict(zip((o.name for o in scenario.obstacles), scenario.shares, strict=True))[name]


def test_too_few_words_change_nothing() -> None:
    """Below the threshold the prior stays, and the sentence says how many are there."""
    prior = Scenario.default()
    got = fitted_mix(journal("grass", "", "moon", "rail"), prior)
    assert got.scenario is prior
    assert (got.known, got.unknown, got.fitted) == (2, ("moon",), False)
    assert got.summary().startswith("2 crashes")


def test_counts_and_prior_are_weighed() -> None:
    """Ten rails against a prior of twenty: exactly the Dirichlet mean."""
    prior = Scenario.default()
    got = fitted_mix(journal(*["Steel rail"] * 10), prior)
    assert share(got.scenario, "rail") == pytest.approx((WORTH * 0.03 + 10) / (WORTH + 10))
    assert share(got.scenario, "grass") == pytest.approx(WORTH * 0.2 / (WORTH + 10))
    assert got.to_json()["fitted"]


def test_a_word_for_several_is_shared() -> None:
    """A tree is a trunk or a branch, by the prior; two quads count together."""
    prior = Scenario.default()
    got = fitted_mix([journal(*["tree"] * 4), journal(*["branches"] * 2)], prior)
    assert got.counts["tree trunk"] == pytest.approx(2.0)
    assert got.counts["branch"] == pytest.approx(4.0)


def test_the_thing_wins_over_what_it_is_made_of() -> None:
    """A concrete wall is a wall, not a floor of concrete."""
    got = fitted_mix(journal(*["hit a concrete wall"] * ENOUGH), Scenario.default())
    assert got.counts["concrete wall"] == pytest.approx(ENOUGH)


@given(st.lists(st.text(max_size=20), max_size=12))
def test_any_words_leave_shares_that_add_up(words: list[str]) -> None:
    """Whatever is written, weights stay shares."""
    got = fitted_mix(journal(*words), Scenario.default())
    assert sum(got.scenario.shares) == pytest.approx(1.0)
    assert all(s >= 0.0 for s in got.scenario.shares)
