"""The flight budget and the air it flies in."""

from __future__ import annotations

import dataclasses
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crashworthy.build.assemble import load
from crashworthy.errors import CrashworthyError
from crashworthy.strength.atmosphere import air
from crashworthy.strength.flight import flight_budget, hover_power


@pytest.fixture(scope="module")
def gannet(gannet_sheet):
    """The example quad."""
    return load(gannet_sheet)


@given(st.floats(-900, 10_900))
def test_air_thins_with_height_and_obeys_the_gas_law(height):
    """Higher is thinner, and p = rho R T holds."""
    here, above = air(height), air(height + 50)
    assert above.density < here.density
    assert here.pressure == pytest.approx(here.density * 287.05287 * here.temperature, rel=1e-12)


@given(st.floats(0.1, 100), st.floats(0.01, 1), st.floats(0.5, 2), st.floats(1.01, 4))
def test_power_goes_with_thrust_to_the_power_of_one_and_a_half(thrust, area, density, factor):
    """Twice the thrust takes 2.83 times the power; twice the disk takes 0.71 times."""
    power = hover_power(thrust, area, density)
    assert hover_power(factor * thrust, area, density) == pytest.approx(factor**1.5 * power, rel=1e-9)
    assert hover_power(thrust, factor * area, density) == pytest.approx(factor**-0.5 * power, rel=1e-9)


def test_a_gram_costs_what_weighing_a_gram_more_costs(gannet):
    """The cost of a gram is the difference between two budgets."""
    budget = flight_budget(gannet)
    heavier = flight_budget(dataclasses.replace(gannet, weighed=gannet.weighed + 1e-3))
    seconds = 60 * (budget.figure("hover time").value - heavier.figure("hover time").value)
    watts = heavier.figure("hover power").value - budget.figure("hover power").value
    assert budget.gram == pytest.approx(seconds, rel=5e-3)
    assert budget.power_per_gram == pytest.approx(watts, rel=5e-3)


def test_what_you_measured_has_no_range(gannet):
    """Given figures replace the table's and its range; what is still missing is named."""
    known = {"merit": 0.6, "efficiency": 0.75, "usable": 0.8, "energy": 104e3, "freestyle": 3.0}
    budget = flight_budget(gannet, **known)
    assert budget.figure("hover time").low == budget.figure("hover time").high
    assert any("--thrust" in text for text in budget.missing)
    full = flight_budget(gannet, thrust=13.0, speed=3000.0, **known)
    assert full.missing == ()
    assert full.figure("thrust to weight").value == pytest.approx(52 / (0.7 * 9.80665), rel=1e-6)


def test_figures_lie_within_their_ranges(gannet):
    """Every low is at most the value, every high at least; JSON has no nan."""
    budget = flight_budget(gannet, height=1500, temperature=300, thrust=13.0)
    assert all(f.low <= f.value <= f.high for f in budget.figures)
    json.dumps(budget.to_json(), allow_nan=False)
    assert "700 g" in budget.summary()


@pytest.mark.parametrize(
    "bad",
    [{"merit": 0.0}, {"merit": 1.2}, {"efficiency": -1}, {"energy": 0.0}, {"thrust": -1}, {"height": 2e4},
     {"temperature": 0.0}],
)  # fmt: skip
def test_impossible_numbers_are_refused(gannet, bad):
    """Each gets a message with a remedy."""
    with pytest.raises(CrashworthyError, match="give"):
        flight_budget(gannet, **bad)
