"""Scenarios: read, refused with field and line, drawn as they say."""

from __future__ import annotations

import contextlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kstest, norm

from crashworthy.errors import ScenarioError
from crashworthy.impact.model import model_of
from crashworthy.impact.obstacle import CYLINDER, PLANE, SHAPES, Shape, gap_normal
from crashworthy.impact.press_parts import half_width
from crashworthy.impact.sampler import Draws
from crashworthy.impact.scenario import Obstacle, Scenario, Speed
from crashworthy.impact.start import sample

GOOD = """
name = "Quarry"

[speed]
median = 9

[obstacles.rubble_floor]
kind = "ground"
surface = "concrete"
weight = 3

[obstacles.rail]
kind = "pole"
surface = "steel"
weight = 1
radius = [0.02, 0.03]
"""


def test_a_file_is_read_and_the_rest_keeps_its_prior(tmp_path):
    """What a file leaves out stays as assumed; what it says is used."""
    file = tmp_path / "quarry.toml"
    file.write_text(GOOD)
    s = Scenario.load(file)
    assert s.name == "Quarry"
    assert s.speed == Speed(median=9)
    assert s.attitude == Scenario.default().attitude
    assert s.shares == (0.75, 0.25)
    assert "rubble_floor 75 %" in s.summary()
    assert s.digest != Scenario.default().digest
    assert Scenario.parse(GOOD).digest == s.digest


@pytest.mark.parametrize(
    ("old", "new", "field", "line"),
    [
        ("median = 9", "median = -9", "speed.median", 5),
        ("median = 9", 'median = "fast"', "speed.median", 5),
        ("median = 9", "median = nan", "speed.median", 5),
        ("median = 9", "median = 60", "speed.median", 5),
        ("median = 9", "medium = 9", "speed.medium", 5),
        ('kind = "ground"', 'kind = "cliff"', "obstacles.rubble_floor.kind", 8),
        ('surface = "steel"', 'surface = "cheese"', "obstacles.rail.surface", 14),
        ("weight = 3", "weight = -3", "obstacles.rubble_floor.weight", 10),
        ("radius = [0.02, 0.03]", "radius = [0.03, 0.02]", "obstacles.rail.radius", 16),
        ("radius = [0.02, 0.03]", "radius = 0.03", "obstacles.rail.radius", 16),
        ("weight = 1\n", "", "obstacles.rail", 12),
        ('name = "Quarry"', "mood = 1", "mood", 2),
    ],
)
def test_a_wrong_field_is_named_with_its_line(old, new, field, line):
    """Each mistake is one message: file, line, field and remedy."""
    with pytest.raises(ScenarioError) as caught:
        Scenario.parse(GOOD.replace(old, new), file="quarry.toml")
    problem = caught.value.problems[0]
    assert (problem.file, problem.field, problem.line) == ("quarry.toml", field, line)
    assert problem.remedy


def test_files_that_cannot_be_read_say_so(tmp_path):
    """Missing file, not TOML, not text, nothing to hit."""
    with pytest.raises(ScenarioError, match="cannot be read"):
        Scenario.load(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ScenarioError, match="cannot be read"):
        Scenario.load(tmp_path / "bytes.toml")
    with pytest.raises(ScenarioError, match="not TOML"):
        Scenario.parse("speed = = 3")
    with pytest.raises(ScenarioError, match="no obstacle"):
        Scenario.parse("[obstacles]")
    with pytest.raises(ScenarioError, match="table"):
        Scenario.parse("speed = 3")
    with pytest.raises(ScenarioError, match="weights are zero"):
        Scenario(obstacles=(Obstacle("x", "ground", "soil", 0.0),))


@given(st.text(max_size=80))
@settings(max_examples=60, deadline=None)
def test_no_text_brings_it_down(text):
    """Whatever is typed gives a scenario or a message."""
    with contextlib.suppress(ScenarioError):
        Scenario.parse(text)


def test_draws_depend_on_name_seed_and_number_only():
    """The same crash draws the same number in any company."""
    every = Draws(5, np.arange(100)).uniform("speed")
    some = Draws(5, np.array([17, 3])).uniform("speed")
    np.testing.assert_array_equal(some, every[[17, 3]])
    assert not np.array_equal(Draws(6, np.arange(100)).uniform("speed"), every)
    assert not np.array_equal(Draws(5, np.arange(100)).uniform("offset"), every)
    big = Draws(2**64 - 1, np.array([2**40]))
    assert 0.0 < big.uniform("speed")[0] < 1.0


def test_draws_are_uniform_and_normal():
    """Twenty thousand numbers fit their laws (Kolmogorov and Smirnov, 0.1 %)."""
    draws = Draws(1, np.arange(20000))
    assert kstest(draws.uniform("a"), "uniform").pvalue > 1e-3
    assert kstest(draws.normal("b"), norm.cdf).pvalue > 1e-3


@pytest.fixture(scope="module")
def many(quad):
    """Six hundred starts."""
    craft = model_of(quad).craft
    return craft, sample(Scenario.default(), craft, 9, np.arange(600))


def test_every_crash_starts_in_touch_and_outside(many):
    """At the start no patch is inside the obstacle and one is within a hair of it: no miss, no overlap."""
    craft, s = many
    for c in range(600):
        w, x, y, z = s.state[6:10, c]
        R = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
            ]
        )
        p = craft.position @ R.T + s.state[0:3, c]
        point, axis, across = (tuple(s.rows[i : i + 3, c]) for i in (0, 3, 7))
        third = tuple(np.cross(axis, across))
        shape = Shape(point, axis, across, third, s.rows[6, c], s.rows[10, c], s.rows[11, c])
        met = [gap_normal(s.kinds[c], shape, tuple(q)) for q in p]
        gaps = np.array([gap - half_width(craft, i, tuple(n @ R)) for i, (gap, n) in enumerate(met)])
        assert -1e-12 <= gaps.min() < 1e-7
        part = np.searchsorted(craft.start, gaps.argmin(), side="right") - 1
        assert part == s.first[c]


def test_draws_follow_the_scenario(many):
    """Shares, speeds and attitudes are those of the scenario."""
    _, s = many
    scenario = Scenario.default()
    found = np.bincount(s.obstacle, minlength=len(scenario.obstacles)) / 600
    np.testing.assert_allclose(found, scenario.shares, atol=0.05)
    speed = np.linalg.norm(s.state[3:6], axis=0)
    assert speed.min() >= scenario.speed.low
    assert speed.max() <= scenario.speed.high
    assert np.median(speed) == pytest.approx(8.0, rel=0.1)
    np.testing.assert_allclose(np.linalg.norm(s.state[6:10], axis=0), 1.0, rtol=1e-12)
    towards = np.sum(s.state[3:6] * s.rows[3:6], axis=0)
    assert (towards[s.kinds == PLANE] < 0.0).all()
    assert (s.rows[6, s.kinds == CYLINDER] >= 0.01).all()
    assert set(s.kinds.tolist()) == {SHAPES[o.kind] for o in scenario.obstacles}


def test_a_fixed_speed_is_fixed(quad):
    """No spread means the median, always."""
    s = sample(Scenario(speed=Speed(median=7.0, sd_ln=0.0)), model_of(quad).craft, 1, np.arange(5))
    np.testing.assert_allclose(np.linalg.norm(s.state[3:6], axis=0), 7.0, rtol=1e-12)
