"""Whatever a crash test takes for granted is listed with its number, unit, range and source."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

from crashworthy.errors import ScenarioError
from crashworthy.impact import Scenario, assumed
from crashworthy.impact.contact import bed_of
from crashworthy.impact.scenario_file import from_plain, to_toml
from crashworthy.materials.table import datum

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad


def test_shares_are_those_that_are_drawn_and_each_row_has_a_source() -> None:
    """The mix sums to one, in the order of the shares, and says "assumption" where nothing else is known."""
    told = assumed()
    assert math.isclose(sum(r.share for r in told.mix), 1.0)
    assert [r.share for r in told.mix] == sorted((r.share for r in told.mix), reverse=True)
    assert {r.source for r in told.mix} == {"assumption"}
    grass = next(r for r in told.mix if r.name == "grass")
    assert grass.share == pytest.approx(0.20)
    branch = next(r for r in told.mix if r.name == "branch")
    assert branch.sizes == "radius 10–40 mm, hit 0.4–1.5 m from its root"


def test_numbers_are_those_that_the_contact_law_takes(quad: Quad) -> None:
    """Stiffness, crush, rebound and friction of surfaces and skins equal the beds of the model."""
    told = assumed(quad=quad)
    for surface in told.surfaces:
        bed = bed_of(f"surface_{surface.name}")
        numbers = [n.value for n in surface.numbers]
        assert numbers == [bed.stiffness, bed.crush, bed.restitution, bed.friction]
    kinds = {quad.parts[i].kind for i in set(quad.points.part.tolist())}
    motors = next(s for s in told.skins if s.of == ("motors",))
    assert motors.numbers[1].value == datum("part_motor", "crush_pressure").value
    assert motors.numbers[1].figures == "22 (11–44)"
    assert motors.numbers[1].shown_in == "MPa"
    assert len([k for s in told.skins for k in s.of]) == len(kinds)


def test_only_what_is_met_is_listed() -> None:
    """Surfaces and rules of obstacles without a share are left out; counts and order follow the file."""
    scenario = Scenario.parse(
        "[speed]\nmedian = 6\nsource = 'log of 40 flights'\n"
        "[obstacles.floor]\nkind='ground'\nsurface='soil'\nweight=3\nsource='counted at the quarry'\n"
        "[obstacles.post]\nkind='pole'\nsurface='steel'\nweight=0\n"
    )
    told = assumed(scenario)
    assert [s.name for s in told.surfaces] == ["soil"]
    assert [(r.name, r.share, r.source) for r in told.mix] == [("floor", 1.0, "counted at the quarry")]
    assert told.flight[0].source == "log of 40 flights"
    assert "half above 6 m/s" in told.flight[0].how
    assert not any("bar" in g.what for g in told.flight)
    assert told.skins == ()


def test_a_source_decides_nothing_and_is_kept() -> None:
    """Words about where numbers come from change no draw's digest, and survive file and plain data."""
    plain = "[obstacles.floor]\nkind='ground'\nsurface='soil'\nweight=1\n"
    bare, told = Scenario.parse(plain), Scenario.parse(plain + "source='seen'\n")
    assert bare.digest == told.digest
    assert bare != told
    assert from_plain(told.to_json()) == told
    assert Scenario.parse(to_toml(told)) == told
    older = told.to_json()
    for row in (*older["obstacles"], older["speed"], older["attitude"], older["spin"], older["approach"]):
        del row["source"]
    assert from_plain(older).obstacles[0].source == "assumption"


def test_a_source_that_is_no_words_is_refused() -> None:
    """A number, nothing, or a whole essay as a source is a problem with its field."""
    for wrong in ("7", "' '", f"'{'a' * 301}'"):
        with pytest.raises(ScenarioError) as caught:
            Scenario.parse(f"[speed]\nsource = {wrong}\n")
        assert caught.value.problems[0].field == "speed.source"
        assert caught.value.problems[0].line == 2


def test_the_count_in_the_sentence_is_that_of_the_rows(quad: Quad) -> None:
    """How many numbers are assumptions is counted, and sources said once for all are those of every row."""
    told = assumed(quad=quad)
    numbers = [n for s in (*told.surfaces, *told.skins) for n in s.numbers]
    without = sum(n.access == "assumption" for n in numbers)
    assert told.summary().startswith(f"{without} of {len(numbers)} numbers")
    data = told.to_json()
    assert "friction: " in data["alike"]
    wood = next(s for s in data["surfaces"] if s["name"] == "wood")
    assert "(read)" in wood["sources"]
    assert "friction" not in wood["sources"]
